"""Parts list of the class-D modulator and its gate drivers, and plain sentences on what was chosen."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from subwright.base.units import code, show
from subwright.parts.library import Library
from subwright.physics.modulators import loop_suppression_db
from subwright.stages.amplifier_modulator_need import ModulatorNeed
from subwright.stages.amplifier_modulator_records import Modulator
from subwright.stages.amplifier_modulator_supply import clip_on_k_per_w
from subwright.stages.common import PartUse, Rating, diode_use, record_use, resistor_use

__all__ = ["MODULATOR_WORKS", "modulator_sentences", "modulator_uses"]

MODULATOR_WORKS: Final = (
    "cox-mouton2018",
    "horowitz-hill",
    "ir-2110",
    "ir-an978",
    "nxp-hc1g14",
    "onsemi-hc14",
    "ti-lm319",
)
"""Bibliography keys that the modulator rests on."""

_THIRD_HZ: Final = 300.0  # the greatest harmonic of a 100 Hz note with a square-wave error
_PAIRS: Final = frozenset(
    {
        "integrator input",
        "integrator feedback",
        "integrator capacitor",
        "hysteresis input",
        "hysteresis feedback",
        "comparator clamp diode",
        "dead-time diode",
        "dead-time capacitor",
        "mute hold diode",
    }
)
_EACH_LEG: Final = frozenset(
    {
        "bootstrap resistor",
        "bootstrap diode",
        "bootstrap capacitor",
        "bootstrap bypass",
        "bootstrap zener",
        "bootstrap pre-charge",
        "node bleed",
        "driver decoupling",
    }
)
_EACH_SWITCH: Final = frozenset({"gate resistor on", "gate diode off", "gate pull-down"})
_EACH_SIDE: Final = frozenset(
    {"op supply resistor", "op supply dropper", "op supply zener", "op supply capacitor", "op decoupling"}
)
_TIGHT: Final = frozenset({"integrator input", "integrator feedback"})
_DIODES: Final = {
    "1N5819": "Schottky diode 40 V 1 A",
    "BAT85": "small Schottky diode 30 V 0.2 A",
}
_DIODE_V: Final = {"1N5819": 40.0, "UF4004": 400.0, "1N4148": 75.0, "BAT85": 30.0}
_C0G: Final = frozenset({"integrator capacitor", "clock timing capacitor", "dead-time capacitor"})
_ELECTROLYTIC_V: Final = (25.0, 35.0, 50.0)
_FREE_AIR_W: Final = {"TO-92": 0.5, "TO-126": 0.65, "TO-220": 1.04}  # at 60 °C inside, junction at 125 °C
_CLIPPED_W: Final = 5.3  # TO-220 on 8 K/W, the same


def _count(role: str, m: Modulator) -> int:
    if role in _EACH_SWITCH:
        return 2 * m.legs
    if role in _EACH_LEG:
        return m.legs
    if role in _EACH_SIDE:
        return 2 if m.split_rails else 1
    return 2 if role in _PAIRS else 1


def modulator_uses(m: Modulator, need: ModulatorNeed, library: Library) -> Iterator[PartUse]:
    """Parts list.

    Parameters
    ----------
    m : the design. need : what it was designed for. library : with the drawer merged.

    Returns
    -------
    Parts, role unique in each.
    """
    yield from _circuits(m, need, library)
    for role, ohms in m.resistors_ohm.items():
        watts = m.heat_w.get(role, 0.0)
        if role in ("integrator feedback", "hysteresis feedback"):
            watts = need.rail_high_v**2 / ohms
        tolerance = m.resistor_tolerance if role in _TIGHT else 0.01
        yield resistor_use(role, ohms, watts, tolerance=tolerance, quantity=_count(role, m))
    for role, farads in m.capacitors_f.items():
        yield _capacitor(role, farads, m)
    for role, part_id in m.part_ids.items():
        yield _semiconductor(role, part_id, m, need, library)


def _rating(quantity: str, unit: str, applied: float, limit: float, at: str) -> Rating:
    return Rating(quantity=quantity, unit=unit, applied=applied, limit=limit, at=at)


def _circuits(m: Modulator, need: ModulatorNeed, library: Library) -> Iterator[PartUse]:
    op_amp, comparator = library.op_amp(m.op_amp_id), library.fast_comparator(m.comparator_id)
    driver, logic = library.gate_driver(m.driver_id), library.schmitt_inverter(m.logic_id)
    total_v = m.op_supply_v * (2.0 if m.split_rails else 1.0)
    highest = "highest supply"
    yield record_use(
        "modulator op-amp",
        "U",
        op_amp,
        1,
        library,
        _rating("supply voltage", "V", total_v, op_amp.supply_max_v, highest),
        _rating("slew rate needed", "V/s", m.slew_v_per_s, op_amp.slew_v_per_s, "full output"),
    )
    yield record_use(
        "modulator comparator",
        "U",
        comparator,
        1,
        library,
        _rating("supply voltage", "V", total_v, comparator.supply_max_v, highest),
        _rating("positive supply to ground pin", "V", m.op_supply_v, comparator.ground_max_v, highest),
        _rating("voltage between inputs", "V", m.difference_v, comparator.difference_max_v, "clamped"),
    )
    yield record_use(
        "logic inverters",
        "U",
        logic,
        1,
        library,
        _rating("supply voltage", "V", m.logic_supply_v, logic.supply_max_v, highest),
    )
    yield record_use(
        "gate driver",
        "U",
        driver,
        m.legs,
        library,
        _rating(
            "floating supply over ground",
            "V",
            need.bus_v(need.rail_high_v) + m.bootstrap_v,
            driver.offset_max_v,
            "highest rail",
        ),
        _rating("supply voltage", "V", m.gate_supply_high_v, driver.supply_max_v, highest),
    )


def _capacitor(role: str, farads: float, m: Modulator) -> PartUse:
    volts = max(m.gate_supply_high_v, m.op_supply_v)
    ratings: tuple[Rating, ...] = ()
    if role in _C0G:
        what, tolerance = "C0G ceramic capacitor 100 V", 0.05
    elif role == "modulator input capacitor":
        what, tolerance = "film capacitor 63 V", 0.10
    elif farads < 0.5e-6 or role in ("driver decoupling", "bootstrap bypass"):
        what, tolerance = "X7R ceramic capacitor 50 V", 0.10
    else:
        rated = next((v for v in _ELECTROLYTIC_V if volts <= 0.8 * v), _ELECTROLYTIC_V[-1])
        quick = ", low impedance" if role == "bootstrap capacitor" else ""
        what, tolerance = f"electrolytic capacitor {rated:g} V{quick}", 0.20
        ratings = (_rating("voltage", "V", volts, rated, "highest supply"),)
    return PartUse(
        role=role,
        letter="C",
        part_id=code(farads, "capacitance"),
        description=what,
        quantity=_count(role, m),
        value=show(farads, "capacitance"),
        tolerance=tolerance,
        ratings=ratings,
        provenance="IEC 60063 preferred value",
    )


def _semiconductor(role: str, part_id: str, m: Modulator, need: ModulatorNeed, library: Library) -> PartUse:
    count = _count(role, m)
    if part_id in library.zeners:
        zener = library.zener(part_id)
        watts = m.heat_w.get(role, 0.0)
        rating = (_rating("power", "W", watts, zener.power_w, "highest rail"),) if watts else ()
        return record_use(role, "VR", zener, count, library, *rating)
    if part_id in library.references:
        return record_use(role, "U", library.reference(part_id), count, library)
    if part_id in library.transistors:
        return _transistor(role, part_id, m, need, library)
    ratings: tuple[Rating, ...] = ()
    if role == "bootstrap diode":
        bus_v = need.bus_v(need.rail_high_v)
        ratings = (_rating("reverse voltage", "V", bus_v, _DIODE_V[part_id], "highest rail"),)
    if part_id not in _DIODES:
        return replace(diode_use(role, part_id, count), ratings=ratings)
    return PartUse(
        role=role,
        letter="D",
        part_id=part_id,
        description=_DIODES[part_id],
        quantity=count,
        ratings=ratings,
        provenance="memory",
    )


def _transistor(role: str, part_id: str, m: Modulator, need: ModulatorNeed, library: Library) -> PartUse:
    part = library.transistors[part_id]
    across_v = need.rail_high_v
    if role == "driver supply follower" and m.split_rails and m.driver_supply_from == "rail_positive":
        across_v *= 2.0
    watts = m.heat_w.get(role, 0.0)
    ratings = [_rating("collector-emitter voltage", "V", across_v, part.vceo_v, "highest rail")]
    description = part.description
    if watts:
        limit = _FREE_AIR_W[part.package]
        sink = clip_on_k_per_w(watts) if part.package == "TO-220" else None
        if sink is not None:
            limit = _CLIPPED_W
            cooler = f"a clip-on heatsink of {sink:g} K/W" if sink else "the main heatsink, insulated"
            description = f"{description}, on {cooler}"
        ratings.append(_rating("dissipation", "W", watts, limit, "highest rail"))
    use = record_use(role, "Q", part, 1, library, *ratings)
    return replace(use, description=description)


def modulator_sentences(m: Modulator, distortion: float = 0.0) -> tuple[str, ...]:
    """What was chosen and why.

    Parameters
    ----------
    m : the design. distortion : by dead time at full output, before feedback, dimensionless; 0 leaves it out.

    Returns
    -------
    Plain sentences.
    """
    low, high = m.switching_window_hz
    window = f"{show(low, 'frequency')} to {show(high, 'frequency')} over the parts' tolerances"
    if m.clocked:
        how = (
            f"A clock of {show(m.switching_hz, 'frequency')} ({window}) sets the pace; its carrier is "
            f"{m.carrier_slope_v_per_s / m.feedback_slope_v_per_s:.1f} times as steep as the feedback's "
            "ripple at the highest rail, and above twice no output makes a second crossing."
        )
    else:
        how = (
            f"The loop oscillates by itself at {show(m.switching_hz, 'frequency')} at rest ({window}); its "
            f"hysteresis is {100.0 * m.hysteresis:.1f} % of the bus, so that the rail drops out."
        )
    lines = [
        how,
        f"The integrator compares the switched nodes with the input: gain {m.gain:.1f}, wanted "
        f"{m.gain_wanted:.1f}; an error of the output stage is lowered by {m.suppression_db[1]:.0f} dB "
        "at 100 Hz.",
        f"From comparator to node it takes {show(m.delay_s, 'time')}. Dead time gate to gate: "
        f"{show(m.dead_time_s, 'time')}, and {show(m.dead_time_window_s[0], 'time')} to "
        f"{show(m.dead_time_window_s[1], 'time')} with every part at its worst; "
        "measure it before the full rail.",
        f"A bootstrap of {show(m.bootstrap_f, 'capacitance')} holds the upper gate through "
        f"{show(m.hold_s, 'time')} of clipping: {show(m.bootstrap_low_v - m.hold_drop_v, 'voltage')} are "
        f"left, and the driver may lock out at {show(m.lockout_v, 'voltage')}.",
    ]
    if distortion > 0.0:
        left = distortion * 10.0 ** (-loop_suppression_db(_THIRD_HZ, m.loop_hz) / 20.0)
        lines.append(
            f"Dead time would leave {100.0 * distortion:.1f} % of distortion at full output; the loop lowers "
            f"that of a 100 Hz note to about {100.0 * left:.2g} %."
        )
    if m.clocked:
        smooth = 1.0 - 2.0 * m.switching_hz * (m.delay_s + max(m.dead_time_s, 0.0))
        lines.append(
            f"Up to about {100.0 * smooth:.0f} % of the bus every clock period has its pulse; nearer to "
            "clipping the pulses get shorter than delay and dead time together, and some may be left out "
            "or doubled, which the ear doesn't notice in the bass and the switches stand."
        )
    if m.split_rails:
        lines.append(
            "Logic and drivers stand on the negative rail: a grounded-base transistor brings the pulses "
            "down, another the mute line. An earthed probe must not touch their ground."
        )
    if not m.split_rails:
        lines.append(
            "Modulator and drivers hang on the switched control supply, so that the battery rests when "
            "it is off."
        )
    if m.resistor_tolerance < 0.01:
        lines.append(
            f"The integrator's four resistors are {100.0 * m.resistor_tolerance:g} %: with 1 % their "
            "mismatch would lay too much direct voltage on the loudspeaker."
        )
    return tuple(lines)
