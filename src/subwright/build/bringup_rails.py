"""Steps of the first power-up with the transformer in: rails without load, and under a dummy load."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from subwright.base.preferred import at_least
from subwright.base.units import show
from subwright.build.bringup_numbers import dummy_load_ohm, rail_line, rating_w, supply_limit
from subwright.build.bringup_records import BenchSupply, Cause, Reading, Step
from subwright.build.result import Design
from subwright.stages.common import Corner, Level
from subwright.stages.converter import ConverterResult

__all__ = ["POWER_STOPS", "idle_losses_w", "rail_steps"]

_MODEL: Final = 0.5  # loss models without load: half to twice; common practice
_DIODE_V: Final = 0.2  # forward voltage from part to part and with temperature; common practice
POWER_STOPS: Final = (
    "The supply goes into its current limit.",
    "Smoke, a smell of hot varnish, or a hiss.",
    "Any part too hot to keep a finger near, before the step says so.",
)


def rail_steps(design: Design, converter: ConverterResult, bench_v: float, links: str) -> Iterator[Step]:
    """Rails without load, then under the dummy load."""
    yield _unloaded(design, converter, bench_v, links)
    yield _loaded(design, converter, bench_v, links)


def idle_losses_w(design: Design) -> float:
    """Losses of converter and transformer without load at the charging corner, W."""
    point = design.point(Corner.CHARGING, Level.IDLE)
    outside = ("battery", "cable", "fuse and contacts")
    return sum(
        watts
        for name, watts in point.losses_w.items()
        if name not in outside and not name.startswith("amplifier")
    )


def _unloaded(design: Design, converter: ConverterResult, bench_v: float, links: str) -> Step:
    line = rail_line(design)
    expected = line.rail_v(bench_v, 0.0)
    highest = expected * 1.02 if line.ratio is None else line.ratio * bench_v * 1.03
    low = 0.97 * expected - _DIODE_V
    idle_a = idle_losses_w(design) / bench_v
    rests_on = ("transformer", "converter/rail rectifier", "converter/push-pull switch")
    return Step(
        number=0,
        key="rails",
        title="Rails without load",
        fitted=("transformer, after its own readings",),
        absent=("amplifier's supply", "driver"),
        links=links,
        supply=BenchSupply(voltage_v=bench_v, limit_a=supply_limit(2.0 * idle_a)),
        load="bleeders only",
        actions=(
            f"Clip meters to both rails before you switch on: expect {show(expected, 'voltage')} each.",
            "Turn the voltage up slowly. The current rises while the rails charge, then falls back.",
            "If the limit holds it at start, raise the limit for the second that the rails need, no longer.",
            "Switch off and watch the rails fall; discharge them as the box says before you touch anything.",
        ),
        readings=(
            *(
                Reading(
                    key=f"rail-{name}",
                    name=f"{name} rail",
                    where=f"{name} rail to ground (size, without sign)",
                    dimension="voltage",
                    expected=expected,
                    low=low,
                    high=highest,
                    basis="winding ratio; diode drop ±0.2 V, supply and meter 3 %; the peak of the ringing "
                    "lifts an unloaded rail",
                    customary=True,
                    rests_on=rests_on,
                )
                for name in ("positive", "negative")
            ),
            Reading(
                key="idle-current-converter",
                name="supply current",
                where="the supply's own meter",
                dimension="current",
                expected=idle_a,
                low=_MODEL * idle_a,
                high=2.0 * idle_a,
                basis="core, clamp and snubber losses are the least certain of all",
                customary=True,
                rests_on=("transformer", "converter"),
            ),
        ),
        causes=(
            Cause(
                sign="into the limit at once",
                cause="swapped phase: one half-primary reversed shorts the battery through both switches",
                remedy="back to the transformer's readings, end to end",
                fault="half-primary-reversed",
            ),
            Cause(
                sign="one rail near zero, the supply in its limit",
                cause="a reversed diode on that rail: with its neighbour it shorts the winding",
                remedy="compare each package with the parts list; that rail's capacitors may be finished",
                fault="rectifier-reversed",
            ),
            Cause(
                sign="one rail near zero, the current small",
                cause="both diodes of that rail are open or not fitted",
                remedy="look at that rail's two joints of the rectifier",
                fault="rectifier-open",
            ),
            Cause(
                sign="one rail low, current high, its bleeder read low before",
                cause="a capacitor of that rail leaks or is shorted",
                remedy="lift one lead of each in turn",
                fault="rail-capacitor-leaky",
            ),
            Cause(
                sign="both rails low, current high",
                cause="a shorted turn, or too few primary turns: the core saturates",
                remedy="look at the drain current's slope: a straight line must not turn up at its end",
                fault="shorted-turn",
            ),
            Cause(
                sign="polarity of a rail reversed",
                cause="a common-anode rectifier where a common-cathode one belongs",
                remedy="compare the part's marking; its capacitors are finished if they were reversed",
            ),
            Cause(
                sign="both rails high by the same share",
                cause="ringing charges the unloaded rails, or a turn too many on the secondary",
                remedy="load them as in the next step: ringing goes, a turn stays",
                fault="turn-too-many",
            ),
            Cause(
                sign="both rails low by the same share, current normal",
                cause="a turn too few on the secondary",
                remedy="back to the ratio on the transformer's own",
                fault="turn-missing",
            ),
        ),
        stops=(
            *POWER_STOPS,
            f"A rail passes {show(converter.rail_max_v, 'voltage')}.",
            "One switch is hotter than the other: flux is walking.",
        ),
    )


def _loaded(design: Design, converter: ConverterResult, bench_v: float, links: str) -> Step:
    line = rail_line(design)
    open_v = line.rail_v(bench_v, 0.0)
    ohm = dummy_load_ohm(design, open_v)
    # the load's own current decides the rail: V = V0 - R (V / R_load)
    rail_v = open_v / (1.0 + line.rail_ohm / ohm)
    load_a = rail_v / ohm
    input_a = idle_losses_w(design) / bench_v + line.per_a * load_a
    size = rating_w(rail_v**2 / ohm)
    rests_on = ("transformer", "converter/rail rectifier", "converter/push-pull switch")
    return Step(
        number=0,
        key="loaded-rails",
        title="Rails under a dummy load",
        fitted=(),
        absent=("amplifier's supply", "driver"),
        links=links,
        supply=BenchSupply(voltage_v=bench_v, limit_a=at_least(1.3 * input_a, "E24")),
        load=f"{show(ohm, 'resistance')}, {size:.0f} W from each rail to ground",
        actions=(
            f"Discharge, then fit {show(ohm, 'resistance')} of {size:.0f} W from each rail to ground, on a "
            "tile: they get hot.",
            "Short leads; keep the voltage at the unit's terminals as stated while it is loaded.",
            "Run it for a minute at a time and feel heatsink, transformer and clamp resistor between runs.",
        ),
        readings=(
            *(
                Reading(
                    key=f"loaded-rail-{name}",
                    name=f"{name} rail, loaded",
                    where=f"{name} rail to ground (size, without sign)",
                    dimension="voltage",
                    expected=rail_v,
                    low=0.96 * rail_v - _DIODE_V,
                    high=1.03 * rail_v,
                    basis="rail line of the solved chain; load 5 %, supply and meter 3 %",
                    customary=True,
                    rests_on=rests_on,
                )
                for name in ("positive", "negative")
            ),
            Reading(
                key="loaded-current",
                name="supply current",
                where="the supply's own meter",
                dimension="current",
                expected=input_a,
                low=0.85 * input_a,
                high=1.2 * input_a,
                basis="load 5 %, losses without load half to twice",
                customary=True,
                rests_on=("transformer", "converter"),
            ),
        ),
        causes=(
            Cause(
                sign="rails sag far more than stated",
                cause="leakage too high, a bad joint in the primary path, or thin leads from the supply",
                remedy="measure the drop along the primary path with a millivoltmeter",
                fault="windings-apart",
            ),
            Cause(
                sign="both rails sag alike, fine without load",
                cause="one half-secondary is open or reversed: each rail is filled in every other half cycle",
                remedy="oscilloscope on both half-secondaries: same height, opposite phase",
                fault="half-secondary-open",
            ),
            Cause(
                sign="the two rails differ by more than 3 %",
                cause="one half-secondary has a turn less, or one diode leg is open",
                remedy="oscilloscope on both half-secondaries",
            ),
            Cause(
                sign="one switch much hotter than the other",
                cause="halves of unequal turns, or unequal pulses: a missing half-primary, a silent gate",
                remedy="compare the on-times of both gates; then the halves' inductances",
                fault="half-primary-open",
            ),
            Cause(
                sign="current far above stated",
                cause="a wrong timing part (frequency too low): the core saturates in each pulse",
                remedy="check the frequency again, then the core's grade",
                fault="timing-resistor-wrong" if converter.plan.timing.rd_ohm > 0.0 else "timing-part-wrong",
            ),
        ),
        stops=(
            *POWER_STOPS,
            f"Drain peaks above {show(converter.drain_limit_v, 'voltage')}.",
            "The load resistors smell: they are too small.",
        ),
    )
