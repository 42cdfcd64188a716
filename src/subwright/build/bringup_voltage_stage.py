"""Steps of the first power-up of discrete class AB: currents behind resistors, then the bias."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from subwright.base.preferred import nearest
from subwright.base.units import show
from subwright.build.bringup_numbers import rating_w, supply_limit
from subwright.build.bringup_rails import POWER_STOPS
from subwright.build.bringup_records import BenchSupply, Cause, Reading, Step
from subwright.build.result import Design
from subwright.circuits.amplifier_values import ClassABValues, class_ab_values
from subwright.circuits.voltage_stage_circuit import REFERENCE, stage_points
from subwright.stages.amplifier_voltage_stage_records import VoltageStage
from subwright.stages.common import Corner, Level

__all__ = ["bench_values", "series_ohm", "voltage_stage_steps"]

_DROP: Final = 0.2  # of the rail, across each series resistor at rest; common practice
_OVERLOAD: Final = 5.0  # times its rating that a wirewound resistor stands for five seconds; common practice
_CURRENTS: Final = 0.15  # diodes, base-emitter voltages, the rail at the bench; common practice
_BIAS: Final = 0.1  # how well a trimmer is set by hand; common practice
_SPREAD: Final = 0.15  # base-emitter voltages of parts and temperatures; common practice
_HALF: Final = 0.06  # divider of 1 % resistors, base currents, supply; common practice
_RESTS_ON: Final = ("amplifier",)


def voltage_stage_steps(design: Design, bench_v: float, links: str) -> Iterator[Step]:
    """Voltage stage with the bias at its least behind resistors, then the bias set, warm.

    Nothing for an amplifier without a voltage stage.

    Parameters
    ----------
    design : of the unit. bench_v : supply voltage, V. links : state of the protections' links.
    """
    stage = design.amplifier.voltage_stage
    if stage is None:
        return
    values = bench_values(design, bench_v)
    yield _currents(design, stage, values, bench_v, links)
    yield _bias(design, stage, values, bench_v, links)


def bench_values(design: Design, bench_v: float) -> ClassABValues:
    """The output stage on the rail that it gets from a supply of ``bench_v``, V."""
    amplifier = design.amplifier
    fed = amplifier.from_battery and design.boost is None
    rail_v = bench_v if fed else design.point(Corner.CHARGING, Level.IDLE).rail_mean_v
    return class_ab_values(amplifier, rail_v=rail_v, switched=amplifier.rail_switching is not None)


def series_ohm(stage: VoltageStage, values: ClassABValues) -> float:
    """Resistor in each lead to the amplifier for the first step, preferred value, Ω."""
    return nearest(_DROP * values.rail_v / (values.legs * (stage.drawn_a + values.bias_a)), "E12")


def _names(stage: VoltageStage, values: ClassABValues) -> dict[str, str]:
    """Test points of the stage, by net."""
    legs = "ab"[: values.legs]
    points = stage_points(stage, legs, split_rails=values.split_rails, supply_v=values.rail_v)
    return {point.net: point.designator for point in points}


def _reading(
    key: str, name: str, where: str, dimension: str, expected: float, spread: float, basis: str
) -> Reading:
    return Reading(
        key=key,
        name=name,
        where=where,
        dimension=dimension,
        expected=expected,
        low=(1.0 - spread) * expected,
        high=(1.0 + spread) * expected,
        basis=basis,
        customary=True,
        rests_on=_RESTS_ON,
    )


def _currents(design: Design, stage: VoltageStage, values: ClassABValues, bench_v: float, links: str) -> Step:
    point = design.point(Corner.CHARGING, Level.IDLE)
    points, ohms = _names(stage, values), stage.resistors_ohm
    rail_v = values.rail_v
    idle_a = values.legs * (stage.drawn_a + 0.2 * values.bias_a)
    ohm = series_ohm(stage, values)
    short_w = rail_v**2 / ohm
    left_v = rail_v - idle_a * ohm
    # the references hang on the rails, whose resistors have taken a little
    slack = _CURRENTS + 0.5 * (1.0 - left_v / rail_v)
    readings: list[Reading] = []
    for leg in "ab"[: values.legs]:
        of = "" if values.legs == 1 else f", leg {leg.upper()}"
        end = "" if values.legs == 1 else f"-{leg}"
        emitter = points[f"vas_emitter_{leg}"]
        low = "the negative supply" if values.split_rails else "0 V"
        readings += [
            _reading(
                f"stage-current{end}",
                f"voltage amplifier's emitter resistor{of}",
                f"{emitter} to {low}",
                "voltage",
                stage.stage_a * ohms["voltage amplifier emitter"],
                slack,
                "reference diodes and base-emitter voltages; series resistors in the supply",
            ),
            _reading(
                f"tail-current{end}",
                f"tail resistor of the pair{of}",
                "from end to end of the resistor",
                "voltage",
                stage.tail_a * ohms["tail resistor"],
                slack,
                "reference diodes and base-emitter voltages; series resistors in the supply",
            ),
        ]
    offset = Reading(
        key="stage-offset",
        name="steady voltage at the output, input at rest",
        where="speaker terminal to ground" if values.legs == 1 else "from one speaker terminal to the other",
        dimension="voltage",
        expected=0.0,
        low=-stage.offset_v,
        high=stage.offset_v,
        basis="5 mV in the pair, base currents, emitter and mirror resistors, all with one sign",
        customary=True,
        rests_on=_RESTS_ON,
    )
    readings.append(offset)
    drop_v = idle_a * ohm
    readings.append(
        Reading(
            key="stage-drop",
            name="across each of the series resistors",
            where="from end to end of the resistor",
            dimension="voltage",
            expected=drop_v,
            low=0.2 * drop_v,
            high=2.5 * drop_v,
            basis="currents of the voltage stage, and the output devices nearly off",
            customary=True,
            rests_on=_RESTS_ON,
        )
    )
    if not values.split_rails:
        readings.append(
            Reading(
                key="half-supply",
                name="half of the supply",
                where=f"{points['half']} to 0 V",
                dimension="voltage",
                expected=0.5 * left_v,
                low=(1.0 - _HALF) * 0.5 * left_v,
                high=(1.0 + 0.5 * _HALF) * 0.5 * rail_v,
                basis="two resistors of 1 %, the drop of the series resistor",
                customary=True,
                rests_on=_RESTS_ON,
            )
        )
    if stage.bridge == "difference":
        readings += _difference(points, left_v, rail_v)
    each = "each rail" if values.split_rails else "the supply"
    return Step(
        number=0,
        key="voltage-stage",
        title="Voltage stage, output devices at their least bias, behind resistors",
        fitted=(f"{show(ohm, 'resistance')} in the lead from {each} to the amplifier",),
        absent=("plain leads from the supply to the amplifier", "driver", "dummy load"),
        links=links,
        supply=BenchSupply(voltage_v=bench_v, limit_a=supply_limit(2.0 * point.battery_a)),
        load="nothing on the output",
        actions=(
            f"Discharge. In the lead from {each} to the amplifier fit {show(ohm, 'resistance')} of "
            f"{rating_w(short_w / _OVERLOAD):.0f} W: a reversed transistor then heats a resistor for the "
            "seconds until you switch off. An incandescent lamp of the rail's voltage does the same.",
            "Compare every transistor's pins with its maker's sheet: small types with one outline differ.",
            "Turn every bias trimmer to its largest resistance, measured out of power between base and "
            "emitter of the bias transistor. Bolt bias transistor and output devices to the heatsink first.",
            "FILTER OUT to ground by a clip lead, level at zero. Turn the voltage up slowly; read in the "
            "order of the list.",
        ),
        readings=tuple(readings),
        causes=(
            Cause(
                sign="output at a rail",
                cause="the feedback is open, or one transistor of the pair or the mirror is turned round",
                remedy="measure from the speaker terminal to the second base; compare the pair's emitters",
                fault="stage-loop-open",
            ),
            Cause(
                sign="no current in the voltage amplifier, the pair in order",
                cause="its source is open or turned round; or the limiter holds its base down, or the buffer "
                "is open",
                remedy="its source's emitter resistor first; then the base of the buffer: two junctions and "
                "the emitter resistor above the lower supply",
                fault="stage-source-open",
            ),
            Cause(
                sign="a steady voltage of volts, both currents in order",
                cause="half of the pair or of the mirror carries nothing",
                remedy="compare the drops across both emitter resistors of the pair",
                fault="stage-loop-open",
            ),
            Cause(
                sign="both currents off by the same share",
                cause="a reference diode is reversed or shorted, or a wrong reference resistor",
                remedy=f"read {points['source_bias_a']}: two junctions below the upper supply",
                fault="stage-reference-wrong",
            ),
            Cause(
                sign="a steady voltage of some hundred millivolts",
                cause="unlike resistors at the two bases, or a leaking capacitor at the feedback's foot",
                remedy="short the input coupling's far end to its middle; then lift the foot capacitor",
            ),
            Cause(
                sign="the series resistors get hot",
                cause="the bias is too high, its transistor is turned round, or a driver is shorted",
                remedy="voltage between both DRIVE lines: it must be below what the next step sets",
            ),
        ),
        stops=(*POWER_STOPS, "A series resistor smells, or drops more than half the rail."),
    )


def _difference(points: dict[str, str], left_v: float, rail_v: float) -> list[Reading]:
    """What the op-amps before both legs hold at rest."""
    return [
        Reading(
            key=key,
            name=name,
            where=where,
            dimension="voltage",
            expected=0.5 * left_v,
            low=(1.0 - _HALF) * 0.5 * left_v,
            high=(1.0 + 0.5 * _HALF) * 0.5 * rail_v,
            basis="half of the supply; offsets of op-amps and pairs, the drop of the series resistor",
            customary=True,
            rests_on=_RESTS_ON,
        )
        for key, name, where in (
            ("amp-reference", "half of the supply behind its buffer", f"{points[REFERENCE]} to 0 V"),
            ("leg-drive-a", "drive of leg A", f"{points['steer_a']} to 0 V"),
            ("leg-drive-b", "drive of leg B", f"{points['steer_b']} to 0 V"),
            ("leg-rest-a", "output of leg A at rest", "SPEAKER + to 0 V"),
            ("leg-rest-b", "output of leg B at rest", "SPEAKER \u2212 to 0 V"),
        )
    ]


def _bias(design: Design, stage: VoltageStage, values: ClassABValues, bench_v: float, links: str) -> Step:
    idle_a = design.point(Corner.CHARGING, Level.IDLE).battery_a
    each_a = values.bias_a / values.pairs
    readings: list[Reading] = []
    for leg in "ab"[: values.legs]:
        of = "" if values.legs == 1 else f", leg {leg.upper()}"
        end = "" if values.legs == 1 else f"-{leg}"
        if values.ballast_ohm > 0.0:
            readings.append(
                _reading(
                    f"bias{end}",
                    f"across both emitter resistors of one pair, warm{of}",
                    "emitter to emitter of a pair of output devices",
                    "voltage",
                    2.0 * each_a * values.ballast_ohm,
                    _BIAS,
                    "set by the trimmer",
                )
            )
        readings.append(
            _reading(
                f"bias-spread{end}",
                f"between the ends of the bias{of}",
                f"DRIVE {leg.upper()} + to DRIVE {leg.upper()} \u2212",
                "voltage",
                values.spread_v,
                _SPREAD,
                "base-emitter or gate voltages of parts and temperatures",
            )
        )
    return Step(
        number=0,
        key="bias",
        title="Bias of the output devices",
        fitted=("plain leads from the supply to the amplifier",),
        absent=("driver", "dummy load", "series resistors of the step before"),
        links=links,
        supply=BenchSupply(voltage_v=bench_v, limit_a=supply_limit(2.0 * idle_a)),
        load="nothing on the output",
        actions=(
            "Discharge, take the series resistors out, fit the leads. Trimmers as they were.",
            "Set half of the stated voltage cold, wait ten minutes, set all of it warm. Turn slowly: the "
            "last tenth of a turn doubles the current.",
            "Touch no case: it is live, and hot. Let it run another ten minutes and read again: "
            "it may fall, but must not climb.",
            "Oscilloscope at the output, both probes short: no oscillation, with and without the lead to the "
            "speaker.",
        ),
        readings=tuple(readings),
        causes=(
            Cause(
                sign="the bias climbs by itself while it warms",
                cause="the bias transistor doesn't feel the heatsink",
                remedy="bolt it beside an output device, with paste; set it again",
                fault="bias-runaway",
            ),
            Cause(
                sign="the trimmer doesn't raise the bias",
                cause="the trimmer or a resistor of the bias is wrong, or its transistor is shorted",
                remedy="measure between both DRIVE lines while you turn",
                fault="bias-lowest",
            ),
            Cause(
                sign="no current, the spread in order",
                cause="a driver's or an output device's emitter is open, or types are swapped",
                remedy="half of the spread must lie on either side of the output",
            ),
            Cause(
                sign="one pair carries far less than the others",
                cause="a wrong emitter resistor, or another gain group",
                remedy="measure each emitter resistor; pair devices of one batch",
            ),
            Cause(
                sign="a fringe of some hundred kilohertz or more on the output",
                cause="long leads at the Miller capacitor, a missing output Zobel, or no decoupling at the "
                "output devices",
                remedy="shorten them; check the Zobel's resistor: it warms when the stage oscillates",
            ),
        ),
        stops=(*POWER_STOPS, "The bias climbs without end.", "The Zobel resistor gets hot."),
    )
