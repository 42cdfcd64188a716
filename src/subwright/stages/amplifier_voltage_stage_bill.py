"""Parts list of the voltage stage of discrete class AB, and in sentences what it does."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import log10
from typing import Final

from subwright.base.units import code, show
from subwright.parts.library import Library
from subwright.stages.amplifier_driving import mute_use
from subwright.stages.amplifier_spec import AmplifierResult
from subwright.stages.amplifier_voltage_stage_records import VoltageStage
from subwright.stages.common import PartUse, Rating, diode_use, remembered, resistor_use

__all__ = ["stage_sentences", "voltage_stage_uses"]

_ELECTROLYTIC_F: Final = 4.7e-6  # a larger capacitor is an electrolytic
_CANS_V: Final = (16.0, 25.0, 35.0, 50.0, 63.0, 100.0, 160.0, 250.0)
_FILMS_V: Final = (63.0, 100.0, 250.0, 400.0)
_CERAMICS_V: Final = (100.0, 200.0, 500.0, 1000.0)
_RESERVE: Final = 1.25
_SMALL_SIGNAL: Final = frozenset({"mute capacitor", "input filter", "input coupling"})
# Capacitors with no steady voltage of a fixed sign across them.
_BIPOLAR: Final = frozenset({"voltage feedback capacitor", "input coupling"})


@dataclass(frozen=True, kw_only=True, slots=True)
class _Around:
    """What the ratings of the voltage stage's parts hang on, V; ``half_v`` : 0 on split rails."""

    side_v: float
    bus_v: float
    leg_rms_v: float
    half_v: float


def voltage_stage_uses(result: AmplifierResult, library: Library) -> tuple[PartUse, ...]:
    """Parts list of the voltage stage.

    Parameters
    ----------
    result : the stage's numbers. library : with the drawer merged.

    Returns
    -------
    Parts, role unique in each; none where there is no discrete voltage stage.
    """
    stage, legs = result.voltage_stage, result.model.legs
    if stage is None:
        return ()
    around = _Around(
        side_v=result.rail_expected_v,
        bus_v=result.switch_voltage_v,
        leg_rms_v=result.peak_v / legs / 2.0**0.5,
        half_v=0.0 if result.model.split_rails else 0.5 * result.rail_expected_v,
    )
    return _uses(stage, legs, around, library)


@remembered
def _uses(stage: VoltageStage, legs: int, around: _Around, library: Library) -> tuple[PartUse, ...]:
    return tuple(_each_use(stage, legs, around, library))


def _each_use(stage: VoltageStage, legs: int, around: _Around, library: Library) -> Iterator[PartUse]:
    yield from _transistor_uses(stage, legs, library)
    yield diode_use("reference diode", stage.diode_id, legs * stage.counts["reference diode"])
    if stage.op_amp_id:
        yield _op_amp_use(stage, around, library)
    watts = _resistor_heats(around, stage)
    for role, ohms in stage.resistors_ohm.items():
        count = stage.counts.get(role, 1) * (1 if role in stage.once else legs)
        yield resistor_use(
            role,
            ohms,
            watts.get(role, 0.0),
            tolerance=0.01,
            quantity=count,
            at_hand=library.has_resistor(ohms, 0.01),
        )
    for role, farads in stage.capacitors_f.items():
        across_v = around.bus_v if role in ("Miller capacitor", "half capacitor") else around.side_v
        across_v = max(12.0, around.half_v) if role in _SMALL_SIGNAL else across_v
        count = stage.counts.get(role, 1) * (1 if role in stage.once else legs)
        yield _capacitor(role, farads, across_v, count)


def _transistor_uses(stage: VoltageStage, legs: int, library: Library) -> Iterator[PartUse]:
    for role, used in stage.transistors.items():
        if used.polarity == "p-channel":
            yield mute_use()
            continue
        part, heat = library.transistors[used.part_id], stage.heats[role]
        quantity = used.quantity * legs
        how = "" if heat.mount == "air" else f", {heat.mounted}"
        pair = ", two of one strip, face to face" if role == "input pair" else ""
        yield PartUse(
            role=role,
            letter="Q",
            part_id=part.id,
            description=f"{part.description or part.summary()}{how}{pair}",
            quantity=quantity,
            ratings=heat.ratings(),
            in_drawer=library.in_drawer(part.id) >= quantity,
            provenance=part.provenance.document,
        )


def _op_amp_use(stage: VoltageStage, around: _Around, library: Library) -> PartUse:
    """The cases of op-amps that hold the difference of two legs."""
    part = library.op_amp(stage.op_amp_id)
    cases = stage.counts["difference op-amp"]
    return PartUse(
        role="difference op-amp",
        letter="U",
        part_id=part.id,
        description=part.description or part.summary(),
        quantity=cases,
        ratings=(
            Rating(
                quantity="supply voltage",
                unit="V",
                applied=2.0 * around.half_v,
                limit=part.supply_max_v,
                at="highest battery",
            ),
        ),
        in_drawer=library.in_drawer(part.id) >= cases,
        provenance=part.provenance.document,
    )


def _resistor_heats(around: _Around, stage: VoltageStage) -> dict[str, float]:
    """Heat of the resistors that see a supply or the output, highest battery, full output, W."""
    ohms, rms_v, half_v = stage.resistors_ohm, around.leg_rms_v, around.half_v
    heats = {
        "reference feed": (0.5 * around.side_v) ** 2 / ohms["reference feed"],
        "voltage feedback": (rms_v**2 + half_v**2) / ohms["voltage feedback"],
    }
    # across the inverter's input lie both outputs' halves, across the difference's feedback leg and middle
    for role in ("inverter input", "difference feedback", "half upper", "half lower"):
        if role in ohms:
            across = half_v**2 if role in ("half upper", "half lower") else rms_v**2
            heats[role] = across / ohms[role]
    return heats


def _capacitor(role: str, farads: float, across_v: float, quantity: int) -> PartUse:
    ceramic = farads < 1e-9
    can = farads > _ELECTROLYTIC_F
    sizes = _CERAMICS_V if ceramic else _CANS_V if can else _FILMS_V
    rated = next((v for v in sizes if v >= _RESERVE * across_v), sizes[-1])
    kind = "C0G ceramic capacitor" if ceramic else "electrolytic capacitor" if can else "film capacitor"
    if can and role in _BIPOLAR:
        kind = f"bipolar {kind}"
    at = "output stuck at a rail" if role == "voltage feedback capacitor" else "highest battery"
    return PartUse(
        role=role,
        letter="C",
        part_id=code(farads, "capacitance"),
        description=f"{kind} {rated:g} V",
        quantity=quantity,
        value=show(farads, "capacitance"),
        tolerance=0.05 if ceramic else 0.20 if can else 0.10,
        ratings=(Rating(quantity="voltage", unit="V", applied=across_v, limit=rated, at=at),),
        provenance="IEC 60063 preferred value",
    )


def stage_sentences(result: AmplifierResult) -> tuple[str, ...]:
    """What the voltage stage was designed for.

    Parameters
    ----------
    result : the stage's numbers.

    Returns
    -------
    Plain sentences, of a chip about its pins; () for class D.
    """
    stage = result.voltage_stage
    if stage is None:
        return _chip_sentences(result)
    asked = "output gates" if result.driving is None or not result.driving.driver_ids else "drivers' bases"
    limit, unity = show(stage.limit_a, "current"), show(stage.unity_hz, "frequency")
    miller = show(stage.capacitors_f["Miller capacitor"], "capacitance")
    degeneration = show(stage.resistors_ohm["pair degeneration"], "resistance")
    lines = [
        f"Voltage stage: the {asked} ask for {show(stage.need_a, 'current')} at most, so "
        f"{show(stage.stage_a, 'current')} flow in it. Its limiter stops at {limit}, and with its output "
        "shorted no base gets more. What the short draws through the output devices the speaker guard and "
        "the fuse end.",
        f"Compensation: {miller} and {degeneration} at each emitter put the loop's unity gain at {unity}, "
        f"with a phase margin of {stage.phase_margin_deg:.0f}°. Loop gain {stage.loop_gain_50hz_db:.0f} dB "
        f"at 50 Hz, {stage.loop_gain_1khz_db:.0f} dB at 1 kHz.",
        f"Slew rate {show(stage.slew_v_per_s, 'slew rate')}; a full sine of 20 kHz would ask for "
        f"{show(stage.slew_needed_v_per_s, 'slew rate')}.",
        f"Gain {stage.gain:.1f} ({20.0 * log10(stage.gain):.1f} dB) from the filter's output to the load. "
        f"Steady voltage at the load at most {show(stage.offset_v, 'voltage')}.",
        f"Mute: two shunts leave {stage.mute_db:.0f} dB and step the load by at most "
        f"{show(stage.mute_thump_v, 'voltage')}. Unpowered, or with MUTE low, they conduct.",
    ]
    if stage.bridge == "follows":
        lines.append(
            "Leg B inverts leg A's output about half the supply: no second input, and both legs idle alike."
        )
    elif stage.bridge == "difference":
        held = show(stage.difference_hz, "frequency")
        lines.append(
            "The lower leg stands still over the crests. An op-amp holds the difference of the outputs, its "
            f"loop fast up to {held}: where one leg can't follow, it drives the other further. No capacitor "
            "refers a leg to half the supply, so a leg that stands leaves no charge behind."
        )
    return tuple(lines)


def _chip_sentences(result: AmplifierResult) -> tuple[str, ...]:
    """What a chip's pins get, and that they are from memory."""
    driving = result.driving
    if driving is None:
        return ()
    read = "Pins and levels are those of the multi-sourced family, from memory: read the maker's sheet first."
    gain = (driving.fixed_gain or driving.gain) * driving.input_share
    if driving.fixed_gain:
        return (
            f"The chip's gain of {driving.fixed_gain:g} is set inside; the divider before it makes it "
            f"{gain:.1f}. It feeds its second half itself: nothing has to be inverted for it. MUTE low "
            f"holds its mute and stand-by pins low. {read}",
        )
    play = show(driving.resistors_ohm["chip play resistor"], "resistance")
    return (
        f"The chip is given a gain of {driving.gain:.1f}, above the ten that it is stable from, behind a "
        f"divider that makes it {gain:.1f}. It plays while {play} draw their current out of its mute pin; "
        f"the signal itself is muted before it. {read}",
    )
