"""Answers of ``subwright core``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import cast, get_args

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.base.units import parse, show
from subwright.cli.answer import Answer
from subwright.cli.talk import clean
from subwright.stages.transformer_alternatives import AlternativeRow
from subwright.stages.transformer_core import CoreIdentity, CoreReadings, Shape
from subwright.stages.transformer_core_plan import BenchSupply, PulsePlan

__all__ = ["IdentifyOptions", "heat", "identify", "instead", "pulse"]


@dataclass(frozen=True, kw_only=True, slots=True)
class IdentifyOptions:
    """The options of ``core identify`` as typed."""

    outer: str
    inner: str
    height: str
    shape: str
    depth: str
    window: str
    leg: str
    gap: str
    windings: tuple[str, ...]
    coating: str
    calliper: str
    meter: str
    digit: str
    supply: str
    most: str
    loop: str
    switching: str
    drawer: Path | None
    part_id: str
    quantity: int


def _read(option: str, text: str, dimension: str) -> float:
    try:
        return parse(text, dimension)
    except SubwrightError as error:
        raise SubwrightError(message=f"--{option}: {error}") from None


def _winding(text: str) -> tuple[int, float]:
    turns, equals, reading = text.partition("=")
    if not equals or not turns.strip().isdigit():
        raise SubwrightError(
            message=f"--winding {text!r} is no test winding.",
            remedy='Write turns and reading, such as --winding "10=266 uH".',
        )
    return int(turns), _read("winding", reading.strip(), "inductance")


def _shape(options: IdentifyOptions) -> Shape:
    """The shape named, with the sizes that it needs and none that it hasn't."""
    shape = options.shape.strip().lower()
    if shape not in get_args(Shape):
        raise SubwrightError(
            message=f"--shape {options.shape!r} is no shape of core that is known here.",
            quantity="shape",
            value=options.shape,
            limit=f"one of {', '.join(get_args(Shape))}",
            remedy="Choose the nearest: ring, or by the centre leg e (rectangular), etd or pq (round).",
        )
    sizes = {"depth": options.depth, "window": options.window, "leg": options.leg}
    wrong = [name for name, text in sizes.items() if bool(text) == (shape == "ring")]
    if wrong:
        says = "has no" if shape == "ring" else "needs"
        raise SubwrightError(
            message=f"A core of shape {shape} {says} --{', --'.join(wrong)}.",
            quantity=wrong[0],
            value=sizes[wrong[0]] or "absent",
            remedy="Leave it out, or name the shape, such as --shape etd."
            if shape == "ring"
            else 'Measure it, such as --leg "12.5 mm".',
        )
    return cast("Shape", shape)


def identify(options: IdentifyOptions) -> Answer:
    """Identify a core, and perhaps put it into a drawer."""
    shape = _shape(options)
    pair = shape != "ring"
    windings = [_winding(text) for text in options.windings]
    readings = CoreReadings(
        outer_m=_read("outer", options.outer, "length"),
        inner_m=_read("inner", options.inner, "length"),
        height_m=_read("height", options.height, "length"),
        shape=shape,
        depth_m=_read("depth", options.depth, "length") if pair else 0.0,
        window_m=_read("window", options.window, "length") if pair else 0.0,
        leg_m=_read("leg", options.leg, "length") if pair else 0.0,
        gap_m=_read("gap", options.gap, "length"),
        coating_m=_read("coating", options.coating, "length"),
        calliper_m=_read("calliper", options.calliper, "length"),
        turns=tuple(turns for turns, _ in windings),
        inductance_h=tuple(reading for _, reading in windings),
        accuracy=_read("meter", options.meter, "ratio"),
        resolution_h=_read("digit", options.digit, "inductance"),
    )
    supply = BenchSupply(
        volts_v=_read("supply", options.supply, "voltage"),
        limit_a=_read("most", options.most, "current"),
        loop_ohm=_read("loop", options.loop, "resistance"),
        frequency_hz=_read("switching", options.switching, "frequency"),
    )
    identity = service.identify_unmarked_core(readings, supply, name=options.part_id)
    notes: tuple[str, ...] = ()
    if options.drawer is not None:
        service.save_core(options.drawer, identity, quantity=options.quantity)
        notes = (f"{options.drawer}: {options.part_id} added, {options.quantity} at hand",)

    def data() -> Mapping[str, object]:
        return {"core": identity, "drawer": str(options.drawer) if options.drawer is not None else ""}

    return Answer(command="core identify", data=data, text=lambda: _identity_text(identity), notes=notes)


def _identity_text(identity: CoreIdentity) -> RenderableType:
    geometry = identity.geometry
    facts = (
        f"A_e {geometry.a_e_m2 * 1e6:.1f} mm², l_e {geometry.l_e_m * 1e3:.1f} mm, "
        f"V_e {geometry.v_e_m3 * 1e9:.0f} mm³, window {identity.window_m2 * 1e6:.0f} mm²"
    )
    parts: list[RenderableType] = [Text(identity.verdict.family, style="bold"), Text(facts)]
    parts += [Text(clean(said)) for said in identity.reasons]
    if identity.pulse is not None and identity.heat is not None:
        parts += [Text("\nWhere does it saturate", style="bold")]
        parts += [Text(f"Caution: {caution}") for caution in identity.pulse.cautions]
        parts += _steps(identity.pulse.steps)
        parts += [_pulse_table(identity.pulse)]
        parts += [Text("\nWhat does it lose", style="bold"), *_steps(identity.heat.steps)]
    return Group(*parts)


def _steps(steps: Sequence[str]) -> list[RenderableType]:
    return [Text(f"{number}. {step}") for number, step in enumerate(steps, start=1)]


def _plain_table(*columns: str) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    for column in columns:
        table.add_column(column, justify="right", overflow="fold")
    return table


def _pulse_table(plan: PulsePlan) -> Table:
    table = _plain_table("flux density", "volt-seconds", "pulse", "current")
    for row in plan.rows:
        table.add_row(
            show(row.flux_t, "flux density"),
            f"{row.volt_seconds * 1e6:.3g} µV·s",
            show(row.time_s, "time"),
            f"{show(row.current_low_a, 'current')} to {show(row.current_high_a, 'current')}",
        )
    return table


def pulse(
    drawer: Path, core: str, turns: int, volts: str, time: str, drop: str, temperature: str, error: str
) -> Answer:
    """Note a saturation pulse."""
    reading = service.note_core_pulse(
        drawer,
        core,
        turns=turns,
        volts_v=_read("volts", volts, "voltage"),
        time_s=_read("time", time, "time"),
        drop_v=_read("drop", drop, "voltage"),
        core_c=_read("temperature", temperature, "temperature"),
        reading_error=_read("error", error, "ratio"),
    )

    def text() -> RenderableType:
        limit = f"Peak flux density to use: {show(reading.flux_peak_t, 'flux density')}."
        return Group(*(Text(clean(said)) for said in (*reading.reasons, limit)))

    return Answer(
        command="core pulse", data=lambda: {"file": str(drawer), "core": core, "reading": reading}, text=text
    )


def heat(
    drawer: Path,
    core: str,
    at: str,
    flux: str,
    temperature: str,
    volts: str,
    current: str,
    copper: str,
) -> Answer:
    """Note a heat comparison."""
    reading = service.note_core_heat(
        drawer,
        core,
        frequency_hz=_read("at", at, "frequency"),
        flux_peak_t=_read("flux", flux, "flux density"),
        core_c=_read("temperature", temperature, "temperature"),
        direct_v=_read("volts", volts, "voltage"),
        direct_a=_read("current", current, "current"),
        copper_w=_read("copper", copper, "power"),
    )
    return Answer(
        command="core heat",
        data=lambda: {"file": str(drawer), "core": core, "reading": reading},
        text=lambda: Group(*(Text(clean(said)) for said in reading.reasons)),
    )


def instead(file: Path, cores: tuple[str, ...], count: int) -> Answer:
    """Show a build's transformer on other cores."""
    rows = service.cores_instead(file, named=cores, most=count)
    return Answer(
        command="core instead",
        data=lambda: {"cores": rows},
        text=lambda: _alternatives_text(rows),
        notes=("Each row keeps the need of the build. Take one: subwright set FILE transformer.core CORE",),
    )


def _alternatives_text(rows: Sequence[AlternativeRow]) -> RenderableType:
    table = _plain_table("core", "turns", "heat", "rise", "copper", "flux", "leakage", "regulation")
    table.columns[0].justify = "left"
    for row in rows:
        stack = f"{row.stack} × " if row.stack > 1 else ""
        marks = [
            *(["*"] if row.chosen else []),
            *([f"({row.in_drawer} at hand)"] if row.in_drawer else []),
        ]
        name = Text(clean(" ".join([f"{stack}{row.core_id}", *marks])))
        if row.refused:
            table.add_row(name, Text("–"))
            continue
        table.add_row(
            name,
            f"{row.primary_turns} : {row.secondary_turns}",
            show(row.loss_w, "power"),
            f"{row.rise_low_k:.0f}–{row.rise_high_k:.0f} K",
            f"{row.fill:.0%}",
            show(row.flux_peak_t, "flux density"),
            show(row.leakage_h, "inductance"),
            f"{row.regulation:.1%}",
        )
    said = [
        Text(clean(f"{row.core_id}: {row.refused or 'breaks ' + ', '.join(row.broken)}"))
        for row in rows
        if not row.serves
    ]
    return Group(table, *said, Text("* in the build now"))
