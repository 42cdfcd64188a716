"""Logic, dead time and gate drivers of a class-D stage in preferred values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import ceil, log
from types import MappingProxyType
from typing import Final

from subwright.base.preferred import at_least, at_most, nearest
from subwright.parts.library import Library
from subwright.parts.schema import GateDriver, Mosfet, SchmittInverter
from subwright.physics.modulators import bootstrap_charge_coul, discharge_delay_s
from subwright.stages.amplifier_modulator_need import ModulatorNeed, plateau_v
from subwright.stages.amplifier_modulator_supply import Supplies, chips

__all__ = ["Drive", "design_drive", "node_bleed", "shortest_dead_time_s"]

_PULL_DOWN_OHM: Final = 47e3  # holds a gate down while nothing is supplied; common practice
_BOOST_OHM: Final = 1.0  # limits the first charge of the bootstrap capacitor
_SCHOTTKY_MOST_V: Final = 36.0
_DROP_V: Final[Mapping[str, float]] = {
    "1N5819": 0.35,
    "UF4004": 0.85,
}  # at some ten milliamperes, from memory
_CHARGE_RATIO: Final = 20.0  # bootstrap capacitor's charge over the gate's, least; common practice
_LEAST_BOOST_F: Final = 1e-6
_BYPASS_F: Final = 100e-9
_ELECTROLYTIC: Final = 0.20  # tolerance
_LOCKOUT_ROOM_V: Final = 0.1
_LEAST_DROP_V: Final = 0.4
_PRE_CHARGE_A: Final = 0.5e-3
_DIODE_V: Final = 0.3  # of the small Schottky diode: what a short pulse leaves a delay capacitor short of
_FAST_S: Final = 5e-9  # a delay capacitor's charge through the gate and diode
_DELAY_F: Final = (100e-12, 220e-12, 470e-12, 1e-9, 47e-12)
_DELAY_OHM: Final = (330.0, 680.0, 2200.0)  # least with the smallest capacitor, least, most
_RESISTOR: Final = 0.01
_CAPACITOR: Final = 0.05
_ON_SPREAD: Final = 0.15  # of a gate's own time from part to part; common practice, no source
_OFF_SPREAD: Final = 0.25  # the same; the driver's least current over its typical one
_OFF_OHM: Final = 0.5  # of the diode that turns a gate off
_LEAST_GATE_OHM: Final = 1.0
_BLEED_OHM: Final = (470.0, 22e3)
_BLEED_MOST_W: Final = 1.0
_LIFT_SHARE: Final = 0.15  # of the lowest rail, by which the pre-charge may lift a node
_STEP_S: Final = 5e-9
_DEAD_MOST_S: Final = 500e-9
_DEAD_ROUNDS: Final = 8


@dataclass(frozen=True, kw_only=True, slots=True)
class Drive:
    """From the pulse-width signal to the gates.

    Attributes
    ----------
    resistors_ohm, capacitors_f, part_ids, heat_w : by role. gate_current_a : at the plateau, A.
    delays_s : by name, to the switched node, s. dead_time_s, window_s : gate to gate, typical, and least and
        greatest, s. bootstrap_v, hold_s, hold_drop_v : as in Modulator, V, s, V.
    bootstrap_low_v : on the capacitor at the lowest supply, V.
    """

    resistors_ohm: Mapping[str, float]
    capacitors_f: Mapping[str, float]
    part_ids: Mapping[str, str]
    heat_w: Mapping[str, float]
    gate_current_a: float
    delays_s: Mapping[str, float]
    dead_time_s: float
    window_s: tuple[float, float]
    bootstrap_v: float
    bootstrap_low_v: float
    hold_s: float
    hold_drop_v: float


@dataclass(frozen=True, slots=True)
class _GateTimes:
    """From the driver's edge to the channel's, s."""

    on_s: float
    off_s: float


def design_drive(need: ModulatorNeed, supplies: Supplies, library: Library) -> Drive:
    """Choose what turns the pulse-width signal into gate voltages.

    Parameters
    ----------
    need : the wishes. supplies : of drivers and logic. library : with the drawer merged.

    Returns
    -------
    Drive.

    Source
    ------
    Bootstrap [ir-an978]; delays [ir-2110], [onsemi-hc14], [nxp-hc1g14]; gate times from gate charges, first
    order. [derived]
    """
    _, logic, driver = chips(library)
    mosfet, vcc = need.mosfet, supplies.driver_v
    gate_ohm = _gate_ohm(need, driver, vcc)
    times = _gate_times(mosfet, driver, gate_ohm, vcc)
    resistors = {
        "gate resistor on": gate_ohm,
        "gate pull-down": _PULL_DOWN_OHM,
        "bootstrap resistor": _BOOST_OHM,
    }
    capacitors: dict[str, float] = {"bootstrap bypass": _BYPASS_F}
    highest_bus = need.bus_v(need.rail_high_v)
    diode = "1N5819" if highest_bus <= _SCHOTTKY_MOST_V else "UF4004"
    ids = {
        "bootstrap diode": diode,
        "gate diode off": "1N5819",
        "dead-time diode": "BAT85",
        "mute hold diode": "1N4148",
    }
    heat: dict[str, float] = {}

    dead = _dead_times(need, logic, driver, times, supplies.logic_v)
    resistors |= dead.resistors_ohm
    capacitors["dead-time capacitor"] = dead.capacitor_f

    # The gate's charge comes back in about half of the period, through diode and resistor.
    refill_v = _DROP_V[diode] + 2.0 * mosfet.qg_coul * vcc / 10.0 * need.switching_hz * _BOOST_OHM
    boost_v, boost_low_v = vcc - refill_v, supplies.driver_low_v - refill_v
    zeners = sorted(library.zeners.values(), key=lambda z: (z.vz_v, z.id))
    stands = [z for z in zeners if z.vz_v * (1.0 - z.tolerance) >= supplies.driver_high_v - _DROP_V[diode]]
    ids["bootstrap zener"] = (stands or zeners[-1:])[0].id
    leak_a = vcc / _PULL_DOWN_OHM
    if need.split_rails:
        charge_ohm = float(at_most(max(need.rail_low_v - driver.start_max_v, 1.0) / _PRE_CHARGE_A, "E12"))
        resistors["bootstrap pre-charge"] = charge_ohm
        heat["bootstrap pre-charge"] = 0.5 * highest_bus**2 / charge_ohm
        leak_a += vcc / charge_ohm
    hold_s = 0.5 / need.lowest_note_hz
    gate_coul = mosfet.qg_coul * vcc / 10.0
    charge = bootstrap_charge_coul(gate_coul, driver.floating_max_a, hold_s, driver.shift_coul, leak_a)
    allowed_v = max(boost_low_v - driver.stop_max_v - _LOCKOUT_ROOM_V, _LEAST_DROP_V)
    needed_f = max(charge / allowed_v, _CHARGE_RATIO * gate_coul / boost_v, _LEAST_BOOST_F)
    boost_f = float(at_least(needed_f / (1.0 - _ELECTROLYTIC), "E6"))
    capacitors["bootstrap capacitor"] = boost_f
    return Drive(
        resistors_ohm=MappingProxyType(resistors),
        capacitors_f=MappingProxyType(capacitors),
        part_ids=MappingProxyType(ids),
        heat_w=MappingProxyType(heat),
        gate_current_a=min((vcc - plateau_v(mosfet)) / (gate_ohm + driver.output_ohm), driver.source_a),
        delays_s=MappingProxyType(
            {
                "logic": 2.5 * logic.delay_s,
                "gate driver": driver.off_s,
                "gate": times.off_s,
                "node": min(max(dead.typical_s, 0.0), need.node_s),
            }
        ),
        dead_time_s=dead.typical_s,
        window_s=dead.window_s,
        bootstrap_v=boost_v,
        bootstrap_low_v=boost_low_v,
        hold_s=hold_s,
        hold_drop_v=charge / ((1.0 - _ELECTROLYTIC) * boost_f),
    )


def node_bleed(
    need: ModulatorNeed, supplies: Supplies, drive: Drive, node_ohm: float, library: Library
) -> tuple[float, float]:
    """Resistor from each node of a bridge to 0 V, so that the bootstraps charge while nothing switches.

    Parameters
    ----------
    need, supplies, drive : as designed. node_ohm : of all that pulls a node towards the reference, Ω.
    library : with the drawer merged.

    Returns
    -------
    (Ω, heat in W at the highest rail). On split rails it stands in for a half-bridge's load; on one supply it
    takes the current of the floating section and of the feedback down to the bootstrap diode's reach.

    Source
    ------
    Divider at rest. [derived]
    """
    driver = chips(library)[2]
    highest = need.rail_high_v
    # between the rails the node swings about 0 V, on one supply between it and the bus, half of the time
    square = highest**2 if need.split_rails else 0.5 * highest**2
    if need.split_rails:
        room, pulled_a = _LIFT_SHARE * need.rail_low_v, 2.0 * _PRE_CHARGE_A
    else:
        room = drive.bootstrap_low_v - driver.start_max_v - _LOCKOUT_ROOM_V
        pulled_a = driver.floating_max_a + supplies.reference_v / node_ohm
    exact = min(max(room / pulled_a, _BLEED_OHM[0]), _BLEED_OHM[1])
    ohms = float(at_least(max(0.82 * exact, square / _BLEED_MOST_W), "E12"))
    return ohms, square / ohms


def shortest_dead_time_s(need: ModulatorNeed, supplies: Supplies, library: Library) -> float:
    """Shortest typical dead time at which no spread of the parts makes both switches conduct, s.

    Parameters
    ----------
    need : its ``dead_time_s`` is where the search begins, s. supplies : of drivers and logic.
    library : with the drawer merged.

    Returns
    -------
    A multiple of 5 ns, at most 500 ns.

    Source
    ------
    Worst cases of the delays added up, [ir-2110], [onsemi-hc14]. [derived]
    """
    _, logic, driver = chips(library)
    times = _gate_times(need.mosfet, driver, _gate_ohm(need, driver, supplies.driver_v), supplies.driver_v)
    wanted = need.dead_time_s
    for _ in range(_DEAD_ROUNDS):
        low = _dead_times(replace(need, dead_time_s=wanted), logic, driver, times, supplies.logic_v).window_s[
            0
        ]
        if low >= 0.0:
            break
        # The window grows with about 0.6 of the delay; preferred values make it a staircase.
        wanted = min(_STEP_S * ceil((wanted - low / 0.6) / _STEP_S), _DEAD_MOST_S)
    return wanted


def _gate_ohm(need: ModulatorNeed, driver: GateDriver, vcc_v: float) -> float:
    room_v = max(vcc_v - plateau_v(need.mosfet), 0.0)
    exact = max(room_v / need.gate_drive_a - driver.output_ohm, _LEAST_GATE_OHM)
    return float(nearest(exact, "E12"))


def _gate_times(mosfet: Mosfet, driver: GateDriver, gate_ohm: float, vcc_v: float) -> _GateTimes:
    """First-order times to the threshold at turn-on, and past plateau and threshold at turn-off, s."""
    flat_v, threshold_v = plateau_v(mosfet), mosfet.vgs_th_v
    vcc_v = max(vcc_v, flat_v + 0.5)
    gate_f = mosfet.qgs_coul / flat_v
    upper_f = max(mosfet.qg_coul - mosfet.qgs_coul - mosfet.qgd_coul, 0.0) / max(10.0 - flat_v, 1.0)
    on_s = (gate_ohm + driver.output_ohm) * gate_f * log(vcc_v / (vcc_v - threshold_v))
    off_ohm = driver.output_ohm + _OFF_OHM
    off_s = off_ohm * (
        upper_f * log(vcc_v / flat_v) + mosfet.qgd_coul / flat_v + gate_f * log(flat_v / threshold_v)
    )
    return _GateTimes(on_s, off_s)


@dataclass(frozen=True, slots=True)
class _DeadTime:
    resistors_ohm: Mapping[str, float]
    capacitor_f: float
    typical_s: float
    window_s: tuple[float, float]


def _dead_times(
    need: ModulatorNeed, logic: SchmittInverter, driver: GateDriver, times: _GateTimes, logic_v: float
) -> _DeadTime:
    """Both delays, their resistors apart by the inverter that only one path has."""
    scale = logic_v / logic.stated_v
    typical_v, least_v, most_v = (
        scale * v for v in (logic.falling_v, logic.falling_max_v, logic.falling_min_v)
    )
    # Gate to gate without the networks: driver and gates turn on and off with different delays.
    own_s = (driver.on_s - driver.off_s) + (times.on_s - times.off_s) - _FAST_S
    per = log(logic_v / typical_v)
    wanted = {
        "high": need.dead_time_s - own_s + logic.delay_s,
        "low": need.dead_time_s - own_s - logic.delay_s,
    }
    capacitor = next((c for c in _DELAY_F if _fits(wanted["low"] / per / c, c)), _DELAY_F[-1])
    if wanted["low"] / per / _DELAY_F[-2] > _DELAY_OHM[2]:
        capacitor = _DELAY_F[-2]
    ohms = {
        f"dead-time resistor {side}": float(nearest(max(s / per / capacitor, _DELAY_OHM[0]), "E24"))
        for side, s in wanted.items()
    }
    spread_s = driver.match_s + _ON_SPREAD * times.on_s + _OFF_SPREAD * times.off_s
    typical, low, high = [], [], []
    for side, sign in (("high", -1.0), ("low", 1.0)):
        ohm = ohms[f"dead-time resistor {side}"]
        base_s = own_s + sign * logic.delay_s
        typical.append(base_s + discharge_delay_s(ohm, capacitor, logic_v, typical_v))
        slow = (1.0 + _RESISTOR) * (1.0 + _CAPACITOR)
        skew_s = logic.delay_max_s - logic.delay_s
        low.append(
            own_s
            + sign * (logic.delay_s if sign > 0.0 else logic.delay_max_s)
            + discharge_delay_s(ohm, capacitor, max(logic_v - _DIODE_V, least_v), least_v) * (2.0 - slow)
            - spread_s
        )
        high.append(
            base_s
            + max(sign, 0.0) * skew_s
            + slow * discharge_delay_s(ohm, capacitor + logic.input_f, logic_v, most_v)
            + spread_s
        )
    return _DeadTime(ohms, capacitor, 0.5 * sum(typical), (min(low), max(high)))


def _fits(ohm: float, capacitor_f: float) -> bool:
    """Whether a resistor suits its delay capacitor: a gate that mutes must hold its node up through it."""
    least = _DELAY_OHM[0] if capacitor_f == _DELAY_F[-1] else _DELAY_OHM[1]
    return least <= ohm <= _DELAY_OHM[2]
