"""``subwright core``: what an unmarked core is, and what another core would do in a build."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from subwright.cli.answer import Answer, Session

__all__ = ["core_app"]

core_app = typer.Typer(
    help="Find out what an unmarked core is, note what the bench says about it, or try other cores.",
    no_args_is_help=True,
)


def _note_json(context: typer.Context, value: bool) -> bool:
    if value and isinstance(context.obj, Session):
        context.obj.as_json = True
    return value


AsJson = Annotated[
    bool, typer.Option("--json", callback=_note_json, help="Print the result as JSON, for programmes.")
]
DrawerPath = Annotated[Path, typer.Argument(metavar="DRAWER", help="The drawer file, *.drawer.toml.")]
CoreId = Annotated[str, typer.Argument(metavar="CORE", help="The core's id in that file.")]


@core_app.command()
def identify(
    outer: Annotated[
        str, typer.Option(help='Ring: outer diameter over the coating, "42.1 mm". Pair: overall width.')
    ],
    inner: Annotated[
        str,
        typer.Option(help="Ring: inner diameter over the coating. Pair: width between the outer legs."),
    ],
    height: Annotated[str, typer.Option(help="Ring: height over the coating. Pair: both halves together.")],
    winding: Annotated[
        list[str],
        typer.Option(
            metavar="TURNS=READING", help='A test winding and its inductance, "10=266 uH"; may be repeated.'
        ),
    ],
    shape: Annotated[
        str,
        typer.Option(
            help="ring; e: rectangular legs; etd: round centre leg; pq: round centre leg, broad outer legs."
        ),
    ] = "ring",
    depth: Annotated[str, typer.Option(help="Pair: thickness across the legs.")] = "",
    window: Annotated[str, typer.Option(help="Pair: height of the window, both halves together.")] = "",
    leg: Annotated[str, typer.Option(help="Pair: width or diameter of the centre leg.")] = "",
    gap: Annotated[str, typer.Option(help="Pair: what is left between the ground faces.")] = "10 um",
    coating: Annotated[str, typer.Option(help="Thickness of the coating on each face.")] = "0 mm",
    calliper: Annotated[str, typer.Option(help="Limit of error of the calliper.")] = "0.1 mm",
    meter: Annotated[str, typer.Option(help="Limit of error of the inductance meter.")] = "2 %",
    digit: Annotated[str, typer.Option(help="Last digit of the inductance meter.")] = "0 uH",
    supply: Annotated[str, typer.Option(help="Voltage for the saturation pulse.")] = "12 V",
    most: Annotated[str, typer.Option(help="Most current that supply and switch may give.")] = "10 A",
    loop: Annotated[str, typer.Option(help="Resistance of switch, leads and shunt.")] = "0.1 ohm",
    switching: Annotated[str, typer.Option(help="Switching frequency it is meant for.")] = "50 kHz",
    drawer: Annotated[Path | None, typer.Option(help="Drawer file to put the core into.")] = None,
    part_id: Annotated[str, typer.Option("--id", help="What to call the core there.")] = "unmarked core",
    quantity: Annotated[int, typer.Option("-n", min=1, help="How many of them are at hand.")] = 1,
    as_json: AsJson = False,
) -> Answer:
    """Tell what an unmarked ring or pair of halves is, from calliper and test windings, and how to check it.

    Two windings or more, one with twice the turns of the other, find miscounted turns and take the test
    leads out. The result is an inductance factor and a permeability with their uncertainty, the likely
    material, a safe flux density, and two procedures: a pulse that shows where it saturates, and a heat
    comparison that shows what it loses. A core that is only identified is used with a derated flux density.
    """
    from subwright.cli import core_show

    options = core_show.IdentifyOptions(
        outer=outer,
        inner=inner,
        height=height,
        shape=shape,
        depth=depth,
        window=window,
        leg=leg,
        gap=gap,
        windings=tuple(winding),
        coating=coating,
        calliper=calliper,
        meter=meter,
        digit=digit,
        supply=supply,
        most=most,
        loop=loop,
        switching=switching,
        drawer=drawer,
        part_id=part_id,
        quantity=quantity,
    )
    return core_show.identify(options)


@core_app.command()
def pulse(
    drawer: DrawerPath,
    core: CoreId,
    turns: Annotated[int, typer.Option(min=1, help="Turns of the winding that was pulsed.")],
    volts: Annotated[str, typer.Option(help="Voltage during the pulse.")],
    time: Annotated[str, typer.Option(help="Time until the slope of the current had doubled.")],
    drop: Annotated[str, typer.Option(help="Mean drop in switch, leads and shunt.")] = "0 V",
    temperature: Annotated[str, typer.Option(help="Temperature of the core.")] = "25 °C",
    error: Annotated[str, typer.Option(help="Limit of error of voltage and time.")] = "3 %",
    as_json: AsJson = False,
) -> Answer:
    """Note the saturation pulse of a core: how far its flux density was sure to go."""
    from subwright.cli import core_show

    return core_show.pulse(drawer, core, turns, volts, time, drop, temperature, error)


@core_app.command()
def heat(
    drawer: DrawerPath,
    core: CoreId,
    at: Annotated[str, typer.Option(help="Frequency of the sine that heated it.")],
    flux: Annotated[str, typer.Option(help="Peak flux density of that sine.")],
    temperature: Annotated[str, typer.Option(help="Temperature that the core reached.")],
    volts: Annotated[str, typer.Option(help="Direct voltage that made it as warm.")],
    current: Annotated[str, typer.Option(help="Direct current that made it as warm.")],
    copper: Annotated[str, typer.Option(help="Loss of the winding under the sine.")] = "0 W",
    as_json: AsJson = False,
) -> Answer:
    """Note the heat comparison of a core: what it loses against the grade it is taken for."""
    from subwright.cli import core_show

    return core_show.heat(drawer, core, at, flux, temperature, volts, current, copper)


@core_app.command()
def instead(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The build file, *.build.toml.")],
    cores: Annotated[
        list[str] | None, typer.Argument(metavar="CORE…", help="Cores to show whatever they come to.")
    ] = None,
    count: Annotated[int, typer.Option("-c", "--count", min=0, help="How many more of the library.")] = 6,
    as_json: AsJson = False,
) -> Answer:
    """Show the build's transformer on every core at hand, on those named, and on the best of the library."""
    from subwright.cli import core_show

    return core_show.instead(file, tuple(cores or ()), count)
