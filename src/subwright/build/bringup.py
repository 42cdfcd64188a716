"""The first power-up of a design, in order: one step after the other, each with readings and windows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from subwright.base.errors import SubwrightError
from subwright.build.bringup_boost import boost_steps
from subwright.build.bringup_guard import guard_steps
from subwright.build.bringup_modulator import modulator_steps
from subwright.build.bringup_numbers import (
    bench_voltage,
    discharges,
    hysteresis_windows,
    rail_line,
    thermistor_stand_in,
)
from subwright.build.bringup_power import power_steps
from subwright.build.bringup_rails import idle_losses_w
from subwright.build.bringup_records import BringUp, Step
from subwright.build.bringup_sound import sound_steps
from subwright.build.bringup_voltage_stage import voltage_stage_steps
from subwright.build.result import Design
from subwright.parts.library import Library
from subwright.stages.common import Corner, Level

__all__ = ["bring_up"]


def bring_up(design: Design, library: Library) -> BringUp:
    """The ordered procedure for the first power-up of a design.

    Parameters
    ----------
    design : solved. library : the parts it was solved with (thermistor and comparator are looked up).

    Raises
    ------
    PartNotFoundError : the library lacks the thermistor or the comparator.
    SubwrightError : two readings carry one key (a fault of the programme).
    """
    bench_v = bench_voltage(design)
    steps = tuple(
        replace(step, number=number) for number, step in enumerate(_steps(design, library, bench_v), 1)
    )
    keys = [reading.key for step in steps for reading in step.readings]
    doubled = sorted({key for key in keys if keys.count(key) > 1})
    if doubled:
        raise SubwrightError(
            message="two readings of the bring-up carry one key",
            quantity="reading",
            value=", ".join(doubled),
            remedy="this is a fault of the programme; please report it with the build file",
        )
    return BringUp(name=design.spec.name, bench_v=bench_v, steps=steps, discharges=discharges(design))


def _steps(design: Design, library: Library, bench_v: float) -> Iterator[Step]:
    linked = design.protection.isolating_link
    links = "open: the protections show on their lamps but stop nothing" if linked else "no link fitted"
    if design.boost is not None:
        yield from boost_steps(design, bench_v, links)
    else:
        yield from power_steps(design, bench_v, links)
    stand_in, spans = thermistor_stand_in(design, library), hysteresis_windows(design, library)
    if design.boost is not None:
        yield from guard_steps(design, bench_v, stand_in, spans, idle_losses_w(design) / bench_v)
        yield from modulator_steps(design, library, bench_v, "closed")
        yield from voltage_stage_steps(design, bench_v, "closed")
        yield from sound_steps(design, bench_v, "closed")
        return
    if design.converter is not None:
        idle_a = rail_line(design).idle_a
        yield from guard_steps(design, bench_v, stand_in, spans, idle_a)
        yield from modulator_steps(design, library, bench_v, "closed")
        yield from voltage_stage_steps(design, bench_v, "closed")
        yield from sound_steps(design, bench_v, "closed")
        return
    yield from modulator_steps(design, library, bench_v, links)
    yield from voltage_stage_steps(design, bench_v, links)
    at_rest, *rest = sound_steps(design, bench_v, links)
    yield at_rest
    idle_a = design.point(Corner.CHARGING, Level.IDLE).battery_a
    yield from guard_steps(design, bench_v, stand_in, spans, idle_a)
    yield from (replace(step, links="closed") for step in rest)
