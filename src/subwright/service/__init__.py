"""The use cases, as plain functions with typed results: the waist that every front end goes through.

Nothing here prints, asks or exits. Errors are `SubwrightError`s; an unreadable file is an `InputError` with
file, line and key of each problem.
"""

from subwright.build.core_bench import identify_unmarked_core, note_core_heat, note_core_pulse, save_core
from subwright.service.bench import (
    bench_add,
    bench_diagnosis,
    bench_fit,
    bench_log,
    bench_next,
    bench_rows,
    bench_steps,
    bench_units_apart,
    builds_apart,
    substitute,
)
from subwright.service.build_files import (
    Question,
    check,
    check_answer,
    new_build,
    open_build,
    questions,
    set_value,
    spec_keys,
)
from subwright.service.cores import (
    cores_instead,
)
from subwright.service.designs import (
    bring_up,
    finding_rows,
    fitted_protection,
    measurable_parts,
    overview,
    pack_archive,
    pack_pdf,
    render_pack,
    schematic_files,
    sheets,
    solve,
    source_rows,
)
from subwright.service.explaining import (
    Explanation,
    explain,
    finding_codes,
)
from subwright.service.solved import Progress, Solved
from subwright.service.stock import (
    PartRow,
    add_drawer_part,
    list_drawer,
    list_parts,
    open_drawer,
    part_kinds,
)
from subwright.service.verifying import (
    Offered,
    Ran,
    Verification,
    VerifiedRow,
    engines_here,
    experiments,
    run_experiment,
    verified_sheet,
    verify,
)

__all__ = [
    "Explanation",
    "Offered",
    "PartRow",
    "Progress",
    "Question",
    "Ran",
    "Solved",
    "Verification",
    "VerifiedRow",
    "add_drawer_part",
    "bench_add",
    "bench_diagnosis",
    "bench_fit",
    "bench_log",
    "bench_next",
    "bench_rows",
    "bench_steps",
    "bench_units_apart",
    "bring_up",
    "builds_apart",
    "check",
    "check_answer",
    "cores_instead",
    "engines_here",
    "experiments",
    "explain",
    "finding_codes",
    "finding_rows",
    "fitted_protection",
    "identify_unmarked_core",
    "list_drawer",
    "list_parts",
    "measurable_parts",
    "new_build",
    "note_core_heat",
    "note_core_pulse",
    "open_build",
    "open_drawer",
    "overview",
    "pack_archive",
    "pack_pdf",
    "part_kinds",
    "questions",
    "render_pack",
    "run_experiment",
    "save_core",
    "schematic_files",
    "set_value",
    "sheets",
    "solve",
    "source_rows",
    "spec_keys",
    "substitute",
    "verified_sheet",
    "verify",
]
