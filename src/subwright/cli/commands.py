"""The commands and their options; each hands over to a module of its own and gives back an answer."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from subwright import __version__
from subwright.cli.answer import Answer, Session
from subwright.cli.bench_app import bench_app
from subwright.cli.core_app import core_app

if TYPE_CHECKING:
    pass

__all__ = ["PROGRAM", "app"]

PROGRAM = "subwright"

app = typer.Typer(
    name=PROGRAM,
    help="From a loudspeaker driver and a vehicle battery to a finished, checked, buildable subwoofer.",
    epilog="Exit codes: 0 clean, 1 the design has findings at stop, 2 it could not run.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
drawer_app = typer.Typer(help="Look into the drawer of parts at hand, or put one in.", no_args_is_help=True)
app.add_typer(drawer_app, name="drawer")
app.add_typer(core_app, name="core")
app.add_typer(bench_app, name="bench")
driver_app = typer.Typer(help="Measure a driver that has no data sheet.", no_args_is_help=True)
app.add_typer(driver_app, name="driver")
box_app = typer.Typer(help="Search boxes, see what limits the level, write drawings.", no_args_is_help=True)
app.add_typer(box_app, name="box")


def _note_json(context: typer.Context, value: bool) -> bool:
    if value and isinstance(context.obj, Session):
        context.obj.as_json = True
    return value


def _complete_code(incomplete: str) -> list[str]:
    from subwright import service

    return [code for code in service.finding_codes() if code.startswith(incomplete.upper())]


def _complete_kind(incomplete: str) -> list[str]:
    from subwright import service

    return [kind for kind in service.part_kinds() if kind.startswith(incomplete)]


def _complete_experiment(incomplete: str) -> list[str]:
    from subwright.build.experiments import all_experiments

    return [one.name for one in all_experiments() if one.name.startswith(incomplete)]


def _complete_key(incomplete: str) -> list[str]:
    from subwright import service

    return [key for key in service.spec_keys() if key.startswith(incomplete)]


BuildPath = Annotated[Path, typer.Argument(metavar="FILE", help="The build file, *.build.toml.")]
DrawerPath = Annotated[Path, typer.Argument(metavar="FILE", help="The drawer file, *.drawer.toml.")]
AsJson = Annotated[
    bool, typer.Option("--json", callback=_note_json, help="Print the result as JSON, for programmes.")
]


def _show_version(value: bool) -> None:
    if value:
        typer.echo(f"{PROGRAM} {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_show_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    pass


@app.command()
def new(
    file: BuildPath,
    name: Annotated[str, typer.Option(help="What the build is called.")] = "",
    battery: Annotated[str, typer.Option(help="Kind of battery.")] = "",
    system: Annotated[str, typer.Option(help="System voltage: 12, 24, 36 or 48.")] = "",
    driver: Annotated[str, typer.Option(help="Driver, by its id in the library or the drawer.")] = "",
    box: Annotated[str, typer.Option(help="Kind of enclosure.")] = "",
    volume: Annotated[str, typer.Option(help='Net volume, "38 l", or "auto".')] = "",
    power: Annotated[str, typer.Option(help='Power wanted, "200 W", or "auto".')] = "",
    cable: Annotated[str, typer.Option(help='One-way cable run from the battery, "4 m".')] = "",
    drawer: Annotated[str, typer.Option(help="Drawer file with the parts at hand.")] = "",
    set_: Annotated[
        list[str] | None, typer.Option("--set", metavar="KEY=VALUE", help="Any other key; may be repeated.")
    ] = None,
    replace: Annotated[bool, typer.Option(help="Write over a file that is there already.")] = False,
    as_json: AsJson = False,
) -> Answer:
    """Write a new build file, each key explained; asks for what the options leave open."""
    from subwright.cli import start

    options = {
        "name": name,
        "supply.battery": battery,
        "supply.system": system,
        "driver.part": driver,
        "enclosure.kind": box,
        "enclosure.volume": volume,
        "goal.power": power,
        "supply.cable_length": cable,
        "drawer": drawer,
    }
    return start.new(file, {key: text for key, text in options.items() if text}, set_ or [], replace=replace)


@app.command()
def design(file: BuildPath, as_json: AsJson = False) -> Answer:
    """Design the whole build and print it from battery to air, with the tightest margin of each stage."""
    from subwright.cli import show

    return show.design(file)


@app.command()
def findings(
    file: BuildPath,
    all_: Annotated[bool, typer.Option("--all", help="List the checks that passed as well.")] = False,
    as_json: AsJson = False,
) -> Answer:
    """Print what the checks found: what to stop for, what to mind, what to know."""
    from subwright.cli import show

    return show.findings(file, with_passed=all_)


@app.command()
def pack(
    file: BuildPath,
    folder: Annotated[
        Path | None, typer.Option("-o", "--output", metavar="DIR", help="Folder to write; made if missing.")
    ] = None,
    paper: Annotated[str, typer.Option(help="Paper of the PDF in it: a4, letter or none.")] = "a4",
    as_json: AsJson = False,
) -> Answer:
    """Write the build pack: everything that another person needs to build it, and as a PDF to print."""
    from subwright.cli import show

    return show.pack(file, folder, paper)


@app.command("difference")
def difference_(
    old: BuildPath,
    new_file: Annotated[Path, typer.Argument(metavar="OTHER", help="The other version's build file.")],
    as_json: AsJson = False,
) -> Answer:
    """Tell what turns a unit of one version into the other, and what of its bench log stays valid."""
    from subwright.cli import difference_cmd

    return difference_cmd.difference(old, new_file)


@app.command()
def substitute(
    file: BuildPath,
    part: Annotated[str, typer.Argument(metavar="PART", help="The part that can't be had.")],
    most: Annotated[int, typer.Option("-n", min=1, help="How many candidates to show.")] = 6,
    each: Annotated[bool, typer.Option("--each", help="Solve the build again with every candidate.")] = False,
    as_json: AsJson = False,
) -> Answer:
    """Find what would do in place of a part, and solve the build again without it."""
    from subwright.cli import difference_cmd

    return difference_cmd.substitute(file, part, most, each=each)


@app.command(
    "set",
    # a value may begin with a minus, and its unit need not be quoted with it
    context_settings={"ignore_unknown_options": True, "allow_extra_args": True},
)
def set_key(
    context: typer.Context,
    file: BuildPath,
    key: Annotated[
        str, typer.Argument(metavar="KEY", help="supply.cable_length", autocompletion=_complete_key)
    ],
    value: Annotated[str, typer.Argument(metavar="VALUE", help='"5 m", auto, true, 2')],
    as_json: AsJson = False,
) -> Answer:
    """Change one key of the build file; its comments stay. Prints what that does to the design."""
    from subwright.cli import change

    return change.set_key(file, key, " ".join([value, *context.args]))


@drawer_app.command("list")
def drawer_list(
    file: DrawerPath,
    as_json: AsJson = False,
) -> Answer:
    """List the parts at hand."""
    from subwright.cli import parts

    return parts.drawer_list(file)


@drawer_app.command("add")
def drawer_add(
    file: DrawerPath,
    part: Annotated[str, typer.Argument(metavar="PART", help="The part's id in the library.")],
    quantity: Annotated[int, typer.Option("-n", "--quantity", min=1, help="How many to add.")] = 1,
    as_json: AsJson = False,
) -> Answer:
    """Put a part from the library into the drawer file."""
    from subwright.cli import parts

    return parts.drawer_add(file, part, quantity)


@driver_app.command("measure")
def driver_measure(
    free: Annotated[
        Path, typer.Argument(metavar="RUN", help="Run in free air: impedance table, or two-channel WAV.")
    ],
    loaded: Annotated[Path | None, typer.Option(help="Second run, with added mass or on a test box.")] = None,
    mass: Annotated[str, typer.Option(help='Mass on the cone in the second run, "50 g".')] = "",
    test_box: Annotated[
        str, typer.Option(help='Net volume of the test box, the cone\'s hollow included, "30 l".')
    ] = "",
    tolerance: Annotated[str, typer.Option(help="How well that mass or volume is known.")] = "1 %",
    piston: Annotated[str, typer.Option(help='Diameter to the middle of the surround, "250 mm".')] = "",
    re: Annotated[str, typer.Option(help="DC resistance by ohmmeter; else the fit's.")] = "",
    resistor: Annotated[str, typer.Option(help="Known resistor in series, for recordings.")] = "",
    right: Annotated[
        str, typer.Option(help="What a recording's right channel lies over: driver or resistor.")
    ] = "driver",
    right_gain: Annotated[float, typer.Option(min=0.001, help="Gain of right over left input.")] = 1.0,
    low: Annotated[str, typer.Option(help="Lower end of a recorded sweep.")] = "10 Hz",
    high: Annotated[str, typer.Option(help="Upper end of a recorded sweep.")] = "2 kHz",
    fit_to: Annotated[
        str, typer.Option(help="Leave points above out; else 15 times the resonance, at least 400 Hz.")
    ] = "",
    drawer: Annotated[Path | None, typer.Option(help="Drawer file to put the driver into.")] = None,
    part_id: Annotated[str, typer.Option("--id", help="What to call it there.")] = "",
    xmax: Annotated[str, typer.Option(help="Linear displacement, one way; for the drawer.")] = "",
    power: Annotated[str, typer.Option(help="Rated noise power; for the drawer.")] = "",
    xdamage: Annotated[str, typer.Option(help="Displacement that damages, one way.")] = "",
    frame: Annotated[str, typer.Option(help="Outer diameter of the frame.")] = "",
    hole: Annotated[str, typer.Option(help="Diameter of the cut-out.")] = "",
    depth: Annotated[str, typer.Option(help="Depth behind the panel.")] = "",
    weight: Annotated[str, typer.Option(help="Mass of the whole driver.")] = "",
    as_json: AsJson = False,
) -> Answer:
    """Fit measured impedance: the parameters with their intervals, and a record for the drawer."""
    from subwright.cli import driver_cmd

    stated = {
        "xmax": xmax,
        "power": power,
        "xdamage": xdamage,
        "frame": frame,
        "hole": hole,
        "depth": depth,
        "weight": weight,
    }
    options = driver_cmd.MeasureOptions(
        mass=mass,
        test_box=test_box,
        tolerance=tolerance,
        piston=piston,
        re=re,
        resistor=resistor,
        right=right,
        right_gain=right_gain,
        low=low,
        high=high,
        fit_to=fit_to,
        drawer=drawer,
        part_id=part_id,
        stated=stated,
    )
    return driver_cmd.measure(free, loaded, options)


@driver_app.command("sweep-signal")
def driver_sweep_signal(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="WAV file to write.")],
    low: Annotated[str, typer.Option(help="Where it starts.")] = "10 Hz",
    high: Annotated[str, typer.Option(help="Where it ends.")] = "2 kHz",
    length: Annotated[str, typer.Option(help="How long it takes.")] = "10 s",
    rate: Annotated[str, typer.Option(help="Samples per second.")] = "48 kHz",
    peak: Annotated[float, typer.Option(min=0.01, max=1.0, help="Peak, share of full scale.")] = 0.5,
    as_json: AsJson = False,
) -> Answer:
    """Write the sweep to play through a known resistor for a recorded measurement."""
    from subwright.cli import driver_cmd

    return driver_cmd.sweep_signal(file, low, high, length, rate, peak)


@box_app.command("search")
def box_search(
    file: BuildPath,
    most: Annotated[int, typer.Option("-n", "--most", min=1, max=200, help="Boxes to show.")] = 12,
    take: Annotated[int, typer.Option(min=0, help="Write the box of this number into the build file.")] = 0,
    as_json: AsJson = False,
) -> Answer:
    """Search the sealed, vented and band-pass boxes that fit: how low, how loud, how quick, how large."""
    from subwright.cli import box_cmd

    return box_cmd.search(file, most, take)


@box_app.command("limits")
def box_limits(file: BuildPath, as_json: AsJson = False) -> Answer:
    """Show the loudest level at each battery corner, what limits it in which band, and the coil's warming."""
    from subwright.cli import box_cmd

    return box_cmd.limits(file)


@box_app.command("draw")
def box_draw(
    file: BuildPath,
    folder: Annotated[
        Path | None, typer.Option("-o", "--output", metavar="DIR", help="Folder to write; made if missing.")
    ] = None,
    unit: Annotated[str, typer.Option(help="Unit of the DXF files: mm or inch.")] = "mm",
    as_json: AsJson = False,
) -> Answer:
    """Write the panels and the cut plan as DXF, and the box's views as SVG."""
    from subwright.cli import box_cmd

    return box_cmd.draw(file, folder, unit)


@app.command("schematic")
def schematic(
    file: BuildPath,
    folder: Annotated[
        Path | None, typer.Option("-o", "--output", metavar="DIR", help="Folder to write; made if missing.")
    ] = None,
    resistors: Annotated[str, typer.Option(help="Resistor symbol: iec (box) or us (zigzag).")] = "iec",
    as_json: AsJson = False,
) -> Answer:
    """Write the circuit diagrams as SVG on A4, their netlists as a table and as SPICE text."""
    from subwright.cli import schematic_cmd

    return schematic_cmd.draw(file, folder, resistors)


@app.command("verify")
def verify(
    file: BuildPath,
    experiment: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME",
            help="Run this experiment only; may be repeated.",
            autocompletion=_complete_experiment,
        ),
    ] = None,
    engine: Annotated[
        str, typer.Option(help="Simulator: ngspice, embedded or both; else the first that is installed.")
    ] = "",
    list_: Annotated[bool, typer.Option("--list", help="List the experiments instead.")] = False,
    timeout: Annotated[str, typer.Option(help="Patience for each simulation.")] = "60 s",
    as_json: AsJson = False,
) -> Answer:
    """Simulate the build's own circuits and compare them with its closed forms. 1: a limit is broken."""
    from subwright.cli import verify_cmd

    if list_:
        return verify_cmd.listing(file)
    return verify_cmd.verify(file, experiment or [], engine, timeout)


@app.command("boards")
def boards(
    file: BuildPath,
    block: Annotated[
        list[str] | None,
        typer.Option(metavar="KEY", help="Make this block's board only; may be repeated."),
    ] = None,
    folder: Annotated[
        Path | None, typer.Option("-o", "--output", metavar="DIR", help="Where; else beside the build file.")
    ] = None,
    paper: Annotated[str, typer.Option(help="Paper of the true-size print: a4 or letter.")] = "a4",
    again: Annotated[bool, typer.Option(help="Make boards anew that this design has already.")] = False,
    as_json: AsJson = False,
) -> Answer:
    """Make a printed board for each low-power block: Gerber, drill files, true-size print, stuffing list."""
    from subwright.cli import boards_cmd

    return boards_cmd.boards(file, block or [], folder, paper, again=again)


@app.command("parts")
def list_parts(
    kind: Annotated[
        str, typer.Argument(metavar="KIND", help="core, mosfet, driver …", autocompletion=_complete_kind)
    ],
    query: Annotated[str, typer.Argument(metavar="QUERY", help="Words that the part must match.")] = "",
    drawer: Annotated[Path | None, typer.Option(help="Drawer file; its parts are marked.")] = None,
    as_json: AsJson = False,
) -> Answer:
    """List the parts of one kind with their main values and where those come from."""
    from subwright.cli import parts

    return parts.list_parts(kind, query, drawer)


@app.command()
def fitted(
    file: BuildPath,
    measured: Annotated[
        list[str] | None,
        typer.Option("-m", "--measured", metavar="PART=VALUE", help="A measured part; may be repeated."),
    ] = None,
    as_json: AsJson = False,
) -> Answer:
    """Tell where one unit will trip, from its parts as measured, and how to centre it; alone: list parts."""
    from subwright.cli import protection_fitted

    return protection_fitted.fitted(file, measured or [])


@app.command()
def explain(
    code: Annotated[
        str,
        typer.Argument(
            metavar="CODE", help="A finding, a build-file key or a source.", autocompletion=_complete_code
        ),
    ] = "",
    as_json: AsJson = False,
) -> Answer:
    """Explain a finding (SUP-01), a build-file key (supply.cable_length) or a source; alone: list them."""
    from subwright.cli import show

    return show.explain(code)


@app.command()
def sources(file: BuildPath, as_json: AsJson = False) -> Answer:
    """List the works, standards and habits that the numbers of a build rest on."""
    from subwright.cli import show

    return show.sources(file)


@app.command()
def serve(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="Where the builds lie; made if missing.")
    ] = Path(),
    host: Annotated[
        str, typer.Option(help="Address to listen on; other machines need SUBWRIGHT_TOKEN.")
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port; 0: the usual one or the next.")] = 0,
    browser: Annotated[bool, typer.Option(help="Open the page.")] = True,
    as_json: AsJson = False,
) -> Answer:
    """Open the workbench: see, change and understand a build on a local page. Alone, subwright does this."""
    from subwright.cli import serve_cmd

    return serve_cmd.serve(folder, host, port, browser=browser)
