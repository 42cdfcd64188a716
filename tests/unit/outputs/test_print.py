"""The pack as PDF: same bytes, complete, nothing cut off, no missing glyph, no empty page."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from PIL import Image

from subwright import service
from subwright.build.bringup_records import BringUp
from subwright.build.result import Finding
from subwright.outputs.design_view import pack_view
from subwright.outputs.print_code import design_code
from subwright.outputs.print_pdf import PAPERS, Paper, pack_pdf

pytest.importorskip("typst")
EXAMPLES = sorted((Path(__file__).parents[3] / "examples").glob("*.build.toml"))
NAMES = [path.name.split(".")[0] for path in EXAMPLES]


@cache
def solved(path: Path) -> service.Solved:
    return service.solve(path)


@cache
def procedure(path: Path) -> BringUp:
    return service.bring_up(solved(path))


@cache
def pdf(path: Path, paper: Paper = "a4") -> bytes:
    return service.pack_pdf(solved(path), paper)


def pages(content: bytes, folder: Path) -> list[str]:
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed")
    file = folder / "pack.pdf"
    file.write_bytes(content)
    text = subprocess.run(
        ["pdftotext", "-layout", str(file), "-"], capture_output=True, check=True, text=True
    ).stdout
    return text.split("\f")[:-1]


@pytest.mark.parametrize("path", EXAMPLES, ids=NAMES)
def test_the_same_design_gives_the_same_bytes(path: Path) -> None:
    assert service.pack_pdf(service.solve(path)) == pdf(path)


def test_it_repeats_in_another_process(tmp_path: Path) -> None:
    import sys

    path = EXAMPLES[1]
    words = "import sys; from pathlib import Path; from subwright import service\n"
    words += "Path(sys.argv[2]).write_bytes(service.pack_pdf(service.solve(Path(sys.argv[1]))))"
    subprocess.run([sys.executable, "-c", words, str(path), str(tmp_path / "b.pdf")], check=True)
    assert (tmp_path / "b.pdf").read_bytes() == pdf(path)


@pytest.mark.parametrize("path", EXAMPLES, ids=NAMES)
def test_it_holds_each_section_and_each_reading(path: Path, tmp_path: Path) -> None:
    text = "\n".join(pages(pdf(path), tmp_path))
    flat = " ".join(text.split())
    for title in (
        "Findings",
        "How it works",
        "Where the power goes",
        "Parts to buy",
        "Panels and cutting",
        "Wiring and fuse",
        "Heatsink",
        "First power-up",
        "What wrong readings point at",
        "Test points",
        "Acceptance sheet",
        "Tolerance windows",
        "Sources",
        "Words",
        "Before you connect the battery",
        "Before the hand goes in",
    ):
        assert title in flat, title
    assert ("Winding sheet" in flat) == (solved(path).design.transformer is not None)
    assert design_code(solved(path).design) in flat
    for step in procedure(path).steps:
        assert step.title in flat, step.key


def filled(image: Image.Image) -> float:
    """How far down a page is written, as a share of what lies between its head and its foot."""
    width, height = image.size
    top, bottom = int(0.075 * height), int(0.925 * height)
    dark = image.crop((0, top, width, bottom)).point(lambda level: 255 if level < 190 else 0).getbbox()
    return 0.0 if dark is None else dark[3] / (bottom - top)


@pytest.mark.parametrize("path", EXAMPLES, ids=NAMES)
def test_the_fonts_are_inside_and_every_page_carries_the_code(path: Path, tmp_path: Path) -> None:
    if shutil.which("pdffonts") is None:
        pytest.skip("pdffonts is not installed")
    texts = pages(pdf(path), tmp_path)
    code = design_code(solved(path).design)
    assert all(code in text for text in texts)
    told = subprocess.run(
        ["pdffonts", str(tmp_path / "pack.pdf")], capture_output=True, check=True, text=True
    ).stdout.splitlines()
    rows = told[2:]
    assert rows
    assert "emb sub uni" in told[0]
    assert all(re.search(r" yes yes (yes|no) +\d+ +\d+$", row) for row in rows), rows
    assert {row.split()[0].split("+")[1].split("-")[0] for row in rows} <= {
        "LibertinusSerif",
        "DejaVuSansMono",
    }


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("path", EXAMPLES, ids=NAMES)
def test_no_page_is_empty_and_nothing_runs_off_it(path: Path, paper: Paper, tmp_path: Path) -> None:
    if shutil.which("pdftoppm") is None:
        pytest.skip("pdftoppm is not installed")
    texts = pages(pdf(path, paper), tmp_path)
    assert "\ufffd" not in "".join(texts)
    subprocess.run(
        ["pdftoppm", "-r", "30", "-gray", str(tmp_path / "pack.pdf"), str(tmp_path / "p")], check=True
    )
    pictures = sorted(tmp_path.glob("p-*.pgm"))
    assert len(pictures) == len(texts)
    for picture in pictures:
        with Image.open(picture) as image:
            if picture is not pictures[-1]:  # the last page ends where it ends
                assert filled(image) > 0.3, picture.name
            width, height = image.size
            edge = 12  # 10 mm at this resolution; the margin is 18 mm
            for box in (
                (0, 0, edge, height),
                (width - edge, 0, width, height),
                (0, height - edge, width, height),
            ):
                assert image.crop(box).getextrema()[0] > 200, (picture.name, box)


@pytest.mark.parametrize("path", EXAMPLES, ids=NAMES)
def test_every_letter_has_a_glyph(path: Path) -> None:
    """The typesetter's embedded fonts are asked for the letters that the data hold."""
    import json

    import typst

    from subwright.outputs.print_data import print_data

    design = solved(path).design
    data = print_data(design, pack_view(design), procedure(path))
    letters = sorted({c for c in json.dumps(data, ensure_ascii=False) if ord(c) > 126})
    probe = '#set text(font: ("Libertinus Serif", "DejaVu Sans Mono"), fallback: false)\n' + "".join(letters)
    made, warnings = typst.Compiler(ignore_system_fonts=True).compile_with_warnings(
        input=probe.encode(), format="pdf", timestamp=0
    )
    assert made
    assert not [warning for warning in warnings if "glyph" in str(warning) or "font" in str(warning)]


def test_a_stop_stands_on_every_page(tmp_path: Path) -> None:
    made = solved(EXAMPLES[1])
    stop = Finding(
        code="TST-01",
        severity="stop",
        title="A test stop",
        message="m",
        quantity="q",
        value=2.0,
        limit=1.0,
        dimension="ratio",
        margin=-1.0,
        source="",
        remedy="r",
        stage="supply",
    )
    design = replace(made.design, findings=(stop,))
    content = pack_pdf(design, pack_view(design), procedure(EXAMPLES[1]))
    texts = pages(content, tmp_path)
    assert all("NOT READY TO BUILD: TST-01" in text and "A test stop" in text for text in texts)


def test_the_code_follows_what_is_built_and_nothing_else() -> None:
    design = solved(EXAMPLES[0]).design
    code = design_code(design)
    assert code == design_code(replace(design, findings=()))
    use = replace(design.supply.parts[0], part_id="another")
    supply = replace(design.supply, parts=(use, *design.supply.parts[1:]))
    assert design_code(replace(design, supply=supply)) != code


def test_a_name_can_not_write_markup(tmp_path: Path) -> None:
    design = solved(EXAMPLES[1]).design
    evil = '#panic("no") *bold* $x$ <label> \\ " `raw` @ref //'
    spec = design.spec.model_copy(update={"name": evil, "note": evil})
    changed = replace(design, spec=spec)
    content = pack_pdf(changed, pack_view(changed), replace(procedure(EXAMPLES[1]), name=evil))
    assert '#panic("no") *bold* $x$' in " ".join(pages(content, tmp_path)[0].split())


def test_the_archive_holds_the_print_and_check_sums_and_repeats() -> None:
    import hashlib
    import io
    import zipfile

    path = EXAMPLES[0]
    content = service.pack_archive(solved(path))
    assert content == service.pack_archive(solved(path))
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        assert archive.read("pack.pdf") == pdf(path)
        listed = dict(
            reversed(row.split("  ", 1)) for row in archive.read("checksums.txt").decode().splitlines()
        )
        assert set(listed) == set(archive.namelist()) - {"checksums.txt"}
        for name, told in listed.items():
            assert hashlib.sha256(archive.read(name)).hexdigest() == told
    with zipfile.ZipFile(io.BytesIO(service.pack_archive(solved(path), paper=None))) as archive:
        assert "pack.pdf" not in archive.namelist()


def test_letters_on_the_printed_circuits_are_tall_enough(tmp_path: Path) -> None:
    """Capitals of the smallest texts reach 1.8 mm, as ISO 3098-1 has it for the smallest lettering."""
    path = next(path for path in EXAMPLES if "wagon" in path.name)
    (tmp_path / "pack.pdf").write_bytes(pdf(path))
    program = shutil.which("pdftotext")
    if program is None:
        pytest.skip("pdftotext is missing")
    subprocess.run([program, "-bbox", "pack.pdf", "words.html"], cwd=tmp_path, check=True)
    words = (tmp_path / "words.html").read_text()
    found = re.findall(r'xMin="([\d.]+)" yMin="[\d.]+" xMax="([\d.]+)" [^>]*>families&apos;<', words)
    found = found or re.findall(r'xMin="([\d.]+)" yMin="[\d.]+" xMax="([\d.]+)" [^>]*>families\'<', words)
    assert found
    for left, right in found:
        size_pt = (float(right) - float(left)) / (len("families'") * 0.602)  # of the monospaced face
        assert 0.729 * size_pt * 25.4 / 72.0 >= 1.8


def test_readings_name_the_test_points_of_the_schematics() -> None:
    from subwright.outputs.print_points import point_blocks, points_of
    from subwright.outputs.schematics import schematics
    from subwright.service.solved import library_of

    path = next(path for path in EXAMPLES if "van" in path.name)
    drawn = schematics(solved(path).design, library_of(solved(path))).sheets
    points = {point.designator: point for _, _, point in points_of(drawn)}
    tables = [block for block in point_blocks(procedure(path), drawn) if block["kind"] == "table"]
    assert [row[0] for row in tables[0]["rows"] if row[0]] == list(points)
    states = [(p.designator, at) for p in points.values() for at in {r.at for r in p.readings}]
    assert len(tables[0]["rows"]) < len(states)  # batteries stand beside one another
    named = {row[5]: row[3] for row in tables[1]["rows"]}
    assert set(named) == {reading.key for reading in procedure(path).readings}
    assert points[named["rail-positive"]].net == "rail_positive"
    assert points[named["thermistor-node"]].net == "thermal_sense"
    assert points[named["inhibit-line"]].net == "inhibit"
    assert {at for at in named.values() if at} <= set(points)


@pytest.mark.parametrize("path", EXAMPLES, ids=NAMES)
def test_cautions_stand_before_the_hand_acts(path: Path) -> None:
    from subwright.outputs.print_bringup import step_cautions

    steps = procedure(path)
    placed = step_cautions(pack_view(solved(path).design), steps)
    first = next(step for step in steps.steps if step.supply is not None)
    assert "you switch on for the first time" in [row.before for row in placed[first.key]]
    assert "you connect the battery" in [row.before for row in placed["first-sound"]]
    told = [row.before for rows in placed.values() for row in rows]
    assert len(told) == len(set(told))
