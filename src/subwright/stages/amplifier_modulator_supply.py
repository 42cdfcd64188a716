"""What a class-D modulator and its gate drivers run on: followers and zeners from the rails, a reference."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal, TypeVar

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import at_most
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.record import Record
from subwright.parts.schema import FastComparator, GateDriver, SchmittInverter, Transistor, Zener

__all__ = [
    "CLOCK_PULL_UP_OHM",
    "LOGIC_PULL_UP_OHM",
    "OP_AMP_A",
    "SHIFT_A",
    "Follower",
    "Supplies",
    "SupplyNeed",
    "chips",
    "clip_on_k_per_w",
    "design_supplies",
]

CLOCK_PULL_UP_OHM: Final = 1e3
LOGIC_PULL_UP_OHM: Final = 1e3
OP_AMP_A: Final = 8e-3
"""Of both amplifiers of the 5532 family, A, from memory."""
SHIFT_A: Final = 4e-3
"""Through the level shifter, A."""
_DIRECT_MOST_V: Final = 17.0  # a supply up to here feeds the drivers without a follower
_FREE_AIR_K_PER_W: Final[Mapping[str, float]] = {"TO-126": 100.0, "TO-220": 62.5}  # no heatsink, from memory
_COOL_C: Final = 125.0  # junction aimed at: leaves 25 K
_AMBIENT_C: Final = 60.0  # inside the case
_CASE_K_PER_W: Final = 4.1  # junction to heatsink of a small TO-220, as for the filter's followers
_CLIP_ON_K_PER_W: Final = (30.0, 20.0, 12.0, 8.0)  # common practice, no source
_BASE_V: Final = 0.65
_BASE_FEED_A: Final = 3e-3  # zener's share at the lowest rail
_DROPPER_MOST_W: Final = 4.0  # of a 5 W resistor; what it can't take is left to the transistor's heatsink
_ROOM_V: Final = 2.0  # left across a follower at the lowest rail
_OP_WANTED_V: Final = 12.0
_LOW_RAIL_V: Final = 12.5  # below this a follower would leave less than a resistor does
_CLOCK_V: Final = 5.1
_LOGIC_V: Final = 5.1
_LOGIC_ZENER_A: Final = 5e-3
_CLOCK_ZENER_A: Final = 3e-3
_CLOCK_LOAD_A: Final = 5.6e-3  # pull-up, timing and thresholds with the output low
_REFERENCE_V: Final = 5.0
_REFERENCE_A: Final = 3e-3
_SWITCH_V: Final = 0.3  # of the control supply's transistor, saturated; from memory
_FILTER_V: Final = 0.2  # dropped by the resistor before a supply that comes straight from the battery
_LEAST_OHM: Final = 1.0
_FOLLOWERS: Final = {"npn": ("BD139", "TIP41C", "MJE15032"), "pnp": ("BD140", "TIP42C", "MJE15033")}
_VOLTAGE_RESERVE: Final = 0.8  # of a transistor's rating
_LOAD_F: Final = 10e-12  # input and track that each gate drives
_GATES_USED: Final = 5

R = TypeVar("R", bound=Record)


@dataclass(frozen=True, kw_only=True, slots=True)
class SupplyNeed:
    """What the supplies must carry.

    Attributes
    ----------
    clocked, legs, split_rails : the modulator. rail_low_v, rail_nominal_v, rail_high_v : one rail, or the
        supply, V. feed_v : lowest, nominal and highest of the switched control supply, V.
    gate_supply_v : wanted, V. gate_a : of all gates together, at ``gate_at_v``, A and V.
    switching_hz : Hz. dead_f : both delay capacitors together, F.
    """

    clocked: bool
    legs: int
    split_rails: bool
    rail_low_v: float
    rail_nominal_v: float
    rail_high_v: float
    feed_v: tuple[float, float, float]
    gate_supply_v: float
    gate_a: float
    gate_at_v: float
    switching_hz: float
    dead_f: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Follower:
    """An emitter follower behind a zener: ids, Ω, output in V, heat at the highest rail in W, feed in A."""

    zener_id: str
    transistor_id: str
    base_ohm: float
    dropper_ohm: float
    output_v: float
    output_low_v: float
    heat_w: Mapping[str, float]
    feed_a: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Supplies:
    """All supplies of the modulator.

    Attributes
    ----------
    resistors_ohm, part_ids, heat_w : by role, Ω, library id, W at the highest rail.
    driver_v, driver_low_v, driver_high_v : VCC nominal, at the lowest and at the highest supply, V.
    driver_a, op_positive_a, op_negative_a : out of each supply, nominal, A. rail_a : what all of it takes
        from the supply, as a current from rail to rail (from the one supply), gates left out, A.
    direct : whether VCC comes through a resistor and not a follower. source : net that feeds it: "ground",
        "rail_positive" or the switched "control". gate_rails, gate_feed_v : what a gate's charge falls
        through, as rails and as a fixed voltage, dimensionless and V.
    control_line_a : what the switched control supply gives, A; 0 on split rails.
    op_v, op_low_v : each side, V. logic_v, clock_v, reference_v : V; the last two 0 where there is none.
    """

    resistors_ohm: Mapping[str, float]
    part_ids: Mapping[str, str]
    heat_w: Mapping[str, float]
    driver_v: float
    driver_low_v: float
    driver_high_v: float
    driver_a: float
    op_positive_a: float
    op_negative_a: float
    rail_a: float
    control_line_a: float
    direct: bool
    source: Literal["ground", "rail_positive", "control"]
    gate_rails: float
    gate_feed_v: float
    op_v: float
    op_low_v: float
    logic_v: float
    clock_v: float
    reference_v: float


def clip_on_k_per_w(watts: float) -> float | None:
    """Small heatsink that a TO-220 follower needs for its heat in W, K/W; None: it needs none, 0: too hot."""
    if watts * _FREE_AIR_K_PER_W["TO-220"] <= _COOL_C - _AMBIENT_C:
        return None
    allowed = (_COOL_C - _AMBIENT_C) / watts - _CASE_K_PER_W
    return next((r for r in _CLIP_ON_K_PER_W if r <= allowed), 0.0)


def chips(library: Library) -> tuple[FastComparator, SchmittInverter, GateDriver]:
    """Comparator, inverters and half-bridge driver: what is at hand first, then in the order of names."""
    return (
        _first(library, library.fast_comparators),
        _first(library, library.schmitt_inverters),
        _first(library, library.gate_drivers),
    )


def _first(library: Library, records: Mapping[str, R]) -> R:
    return min(records.values(), key=lambda r: (library.in_drawer(r.id) == 0, r.id))


def _zener_at(library: Library, wanted_v: float) -> Zener:
    return min(library.zeners.values(), key=lambda z: (abs(z.vz_v - wanted_v), z.id))


def _held_v(zener: Zener, amps: float) -> float:
    """Zener voltage at a current, by its slope from the test current, V."""
    return zener.vz_v + zener.rz_ohm * (amps - zener.iz_test_a)


def _transistor(library: Library, polarity: str, across_v: float, watts: float) -> Transistor:
    """The smallest follower that stands the voltage and stays cool; else the first that takes a heatsink."""
    fit = [
        part
        for part in (library.transistors[name] for name in _FOLLOWERS[polarity])
        if _VOLTAGE_RESERVE * part.vceo_v >= across_v
    ]
    if not fit:
        most = library.transistors[_FOLLOWERS[polarity][-1]]
        raise NoSolutionError(
            message="No small transistor at hand stands these rails as a supply follower of the modulator.",
            quantity="voltage across the follower",
            value=show(across_v, "voltage"),
            limit=f"at most {show(_VOLTAGE_RESERVE * most.vceo_v, 'voltage')}",
            source="parts library",
            remedy="Lower goal.power, or take a full bridge, whose rails are half as high.",
        )
    cool = (t for t in fit if watts * _FREE_AIR_K_PER_W[t.package] <= _COOL_C - _AMBIENT_C)
    return next(cool, next((t for t in fit if t.package == "TO-220"), fit[-1]))


def _follower(
    library: Library,
    polarity: str,
    wanted_v: float,
    load_a: float,
    top: tuple[float, float, float],
    base: tuple[float, float, float] | None = None,
) -> Follower | None:
    """A follower from a supply of (low, nominal, high) V, its zener from that or ``base``; None: no room."""
    low, _, high = top
    zener = _zener_at(library, wanted_v + _BASE_V)
    base_low, base_nominal, base_high = base or top
    if min(low, base_low) < zener.vz_v + _ROOM_V:
        return None
    steady_v = _held_v(zener, _BASE_FEED_A)
    out_v = steady_v - _BASE_V
    most_ohm = min((low - out_v - _ROOM_V) / load_a, _DROPPER_MOST_W / load_a**2)
    dropper = max(float(at_most(max(most_ohm, _LEAST_OHM), "E12")), _LEAST_OHM)
    heat = max(high - out_v - load_a * dropper, 0.0) * load_a
    part = _transistor(library, polarity, high, heat)
    base_a = load_a / part.hfe_min + _BASE_FEED_A
    base_ohm = float(at_most((base_low - zener.vz_v) / base_a, "E12"))
    return Follower(
        zener_id=zener.id,
        transistor_id=part.id,
        base_ohm=base_ohm,
        dropper_ohm=dropper,
        output_v=out_v,
        output_low_v=out_v,
        heat_w={
            "follower": heat,
            "dropper": load_a**2 * dropper,
            "resistor": (base_high - zener.vz_v) ** 2 / base_ohm,
            "zener": zener.vz_v * (base_high - zener.vz_v) / base_ohm,
        },
        feed_a=(base_nominal - zener.vz_v) / base_ohm,
    )


def design_supplies(need: SupplyNeed, library: Library) -> Supplies:
    """Choose all supplies of a modulator in preferred values.

    Parameters
    ----------
    need : what they carry. library : with the drawer merged.

    Returns
    -------
    Supplies.

    Raises
    ------
    NoSolutionError : no follower stands the rails.

    Source
    ------
    Zener followers [horowitz-hill]; currents of the circuits from their data sheets and memory.
    """
    comparator, logic, driver = chips(library)
    resistors: dict[str, float] = {}
    ids: dict[str, str] = {}
    heat: dict[str, float] = {}

    # Logic: what the 5.1 V zener must leave for gates, drivers' inputs and a pull-up.
    logic_zener = _zener_at(library, _LOGIC_V)
    switched_f = _GATES_USED * (logic.dissipation_f + _LOAD_F) + need.dead_f
    logic_a = switched_f * _LOGIC_V * need.switching_hz + need.legs * driver.logic_a
    if not need.split_rails:
        logic_a += _LOGIC_V / LOGIC_PULL_UP_OHM  # the comparator pulls it down half of the time
    fed_a = logic_a + _LOGIC_ZENER_A
    driver_own_a = need.legs * (
        driver.quiescent_a + driver.floating_a + 2.0 * driver.shift_coul * need.switching_hz
    )

    # Drivers' supply: straight from a low supply, else behind a follower from 0 V or from the positive rail.
    wanted_zener = _zener_at(library, need.gate_supply_v + _BASE_V)
    guess_v = _held_v(wanted_zener, _BASE_FEED_A) - _BASE_V
    direct = not need.split_rails and need.feed_v[2] <= _DIRECT_MOST_V
    feed = tuple(v - _SWITCH_V for v in need.feed_v)
    vcc_guess = feed[1] - _FILTER_V if direct else guess_v
    load_a = need.gate_a * vcc_guess / need.gate_at_v + driver_own_a + fed_a
    if not need.split_rails:
        load_a += OP_AMP_A + comparator.positive_a + _REFERENCE_A
        if need.clocked:
            load_a += _CLOCK_LOAD_A + _CLOCK_ZENER_A
    one = (need.rail_low_v, need.rail_nominal_v, need.rail_high_v)
    both = (2.0 * one[0], 2.0 * one[1], 2.0 * one[2])
    source: Literal["ground", "rail_positive", "control"] = "ground" if need.split_rails else "rail_positive"
    behind = None
    if not direct and need.split_rails:
        behind = _follower(library, "npn", need.gate_supply_v, load_a, one)
        if behind is None:
            source, behind = "rail_positive", _follower(library, "npn", need.gate_supply_v, load_a, both)
    elif not direct:
        # The zener hangs on the switched supply, so that the follower draws nothing when switched off.
        behind = _follower(library, "npn", need.gate_supply_v, load_a, one, need.feed_v)
    if behind is not None:
        vcc = vcc_low = vcc_high = behind.output_v
        resistors |= {"driver supply resistor": behind.base_ohm, "driver supply dropper": behind.dropper_ohm}
        ids |= {"driver supply zener": behind.zener_id, "driver supply follower": behind.transistor_id}
        heat |= {f"driver supply {name}": watts for name, watts in behind.heat_w.items()}
        feed_a = behind.feed_a
    else:
        # Too low for a follower: an RC and a clamp, from the whole bus where there are two rails.
        direct, feed_a = True, 0.0
        source = "rail_positive" if need.split_rails else "control"
        top = both if need.split_rails else feed
        series = max(float(at_most(_FILTER_V / load_a, "E12")), _LEAST_OHM)
        resistors["driver supply resistor"] = series
        clamp = _clamp(library, top[2], driver.supply_max_v)
        ids["driver supply zener"] = clamp.id
        heat["driver supply resistor"] = load_a**2 * series
        vcc_low, vcc, vcc_high = (v - load_a * series for v in top)

    resistors["logic supply resistor"] = float(at_most(max(vcc_low - logic_zener.vz_v, 0.5) / fed_a, "E12"))
    logic_v = _held_v(logic_zener, (vcc - logic_zener.vz_v) / resistors["logic supply resistor"] - logic_a)
    logic_v = min(max(logic_v, 0.8 * _LOGIC_V), vcc)
    ids["logic supply zener"] = logic_zener.id
    logic_fed_a = (vcc - logic_v) / resistors["logic supply resistor"]
    heat["logic supply resistor"] = (vcc_high - logic_v) ** 2 / resistors["logic supply resistor"]

    positive_a, negative_a = OP_AMP_A + comparator.positive_a, 0.0
    op_v, op_low_v = vcc - _FILTER_V, vcc_low - _FILTER_V
    if need.split_rails:
        positive_a += SHIFT_A
        negative_a = OP_AMP_A + comparator.negative_a
    if need.clocked:
        positive_a += _CLOCK_LOAD_A + _CLOCK_ZENER_A
    feeds_a = feed_a
    if need.split_rails:
        op_v, op_low_v, more = _op_supplies(library, (positive_a, negative_a), one, resistors, ids, heat)
        feeds_a += more
    else:
        positive_a += _REFERENCE_A
        resistors["op supply resistor"] = max(float(at_most(_FILTER_V / positive_a, "E12")), _LEAST_OHM)

    clock_v = reference_v = 0.0
    if need.clocked:
        clock_zener = _zener_at(library, _CLOCK_V)
        ids["clock supply zener"] = clock_zener.id
        clock_a = _CLOCK_LOAD_A + _CLOCK_ZENER_A
        ohms = float(at_most(max(op_low_v - _CLOCK_V, 0.5) / clock_a, "E12"))
        resistors["clock supply resistor"] = ohms
        # Half of the time the oscillator's output is high and takes little.
        clock_v = _held_v(clock_zener, (op_v - _CLOCK_V) / ohms - 0.5 * _CLOCK_LOAD_A)
        clock_v = min(clock_v, 0.9 * op_v)
        positive_a += (op_v - clock_v) / ohms - clock_a
    if not need.split_rails:
        reference = min(
            (r for r in library.references.values() if r.vref_v > 2.0),
            key=lambda r: (library.in_drawer(r.id) == 0, r.tolerance > 0.01, r.id),
        )
        ids["reference"] = reference.id
        divider = 10e3
        resistors |= {"reference upper": divider, "reference lower": divider}
        reference_v = 2.0 * reference.vref_v
        ohms = float(at_most(max(op_low_v - reference_v, 0.5) / _REFERENCE_A, "E12"))
        resistors["reference resistor"] = ohms
        positive_a += (op_v - reference_v) / ohms - _REFERENCE_A

    driver_a = driver_own_a + logic_fed_a + (0.0 if need.split_rails else positive_a)
    rail_a = driver_a + feed_a
    control_a = driver_a + need.gate_a * vcc / need.gate_at_v
    if direct:  # the drop that the currents really make
        more_v = (load_a - control_a) * resistors["driver supply resistor"]
        vcc, vcc_low, vcc_high = vcc + more_v, vcc_low + more_v, vcc_high + more_v
    if not need.split_rails:
        drop_v = resistors["op supply resistor"] * positive_a
        op_v, op_low_v = vcc - drop_v, vcc_low - drop_v
    if need.split_rails:
        bus = 0.5 if source == "ground" else 1.0
        rail_a = bus * (driver_a + feed_a) + 0.5 * (positive_a + negative_a + feeds_a - feed_a)
    elif source == "control":
        rail_a *= need.feed_v[1] / need.rail_nominal_v  # the same power, out of another voltage
    gate_rails = {"ground": 1.0, "rail_positive": 2.0 if need.split_rails else 1.0, "control": 0.0}[source]
    return Supplies(
        resistors_ohm=MappingProxyType(resistors),
        part_ids=MappingProxyType(ids),
        heat_w=MappingProxyType(heat),
        driver_v=vcc,
        driver_low_v=vcc_low,
        driver_high_v=vcc_high,
        driver_a=control_a,
        op_positive_a=positive_a,
        op_negative_a=negative_a,
        rail_a=rail_a,
        control_line_a=0.0 if need.split_rails else control_a if direct else feed_a,
        direct=direct,
        source=source,
        gate_rails=gate_rails,
        gate_feed_v=need.feed_v[1] if source == "control" else 0.0,
        op_v=op_v,
        op_low_v=op_low_v,
        logic_v=logic_v,
        clock_v=clock_v,
        reference_v=reference_v,
    )


def _clamp(library: Library, highest_v: float, limit_v: float) -> Zener:
    """Zener that stays off at the highest supply and guards the driver's rating as well as it can."""
    zeners = sorted(library.zeners.values(), key=lambda z: (z.vz_v, z.id))
    fit = [z for z in zeners if z.vz_v * (1.0 - z.tolerance) >= highest_v]
    return fit[0] if fit else max((z for z in zeners if z.vz_v <= limit_v), key=lambda z: (z.vz_v, z.id))


def _op_supplies(
    library: Library,
    load_a: tuple[float, float],
    rail: tuple[float, float, float],
    resistors: dict[str, float],
    ids: dict[str, str],
    heat: dict[str, float],
) -> tuple[float, float, float]:
    """Both sides' followers, or only resistors where the rails are low: volts, lowest volts, feeds in A."""
    wanted_v = min(_OP_WANTED_V - _BASE_V, _step_v(library, rail[0] - _ROOM_V) - _BASE_V)
    sides = [
        _follower(library, polarity, wanted_v, amps, rail)
        for polarity, amps in zip(("npn", "pnp"), load_a, strict=True)
    ]
    upper, lower = sides
    if upper is None or lower is None or rail[0] < _LOW_RAIL_V:
        ohms = max(float(at_most(_FILTER_V / load_a[0], "E12")), _LEAST_OHM)
        resistors["op supply resistor"] = ohms
        drop = ohms * load_a[0]
        return rail[1] - drop, rail[0] - drop, 0.0
    # Both sides get the same feed and dropper: one value fewer to buy.
    resistors["op supply resistor"] = min(upper.base_ohm, lower.base_ohm)
    resistors["op supply dropper"] = min(upper.dropper_ohm, lower.dropper_ohm)
    ids |= {
        "op supply zener": upper.zener_id,
        "op supply follower NPN": upper.transistor_id,
        "op supply follower PNP": lower.transistor_id,
    }
    share = resistors["op supply dropper"]
    room = rail[2] - upper.output_v
    heat |= {
        "op supply follower NPN": max(room - load_a[0] * share, 0.0) * load_a[0],
        "op supply follower PNP": max(room - load_a[1] * share, 0.0) * load_a[1],
        "op supply dropper": load_a[0] ** 2 * share,
        "op supply resistor": max(upper.heat_w["resistor"], lower.heat_w["resistor"]),
        "op supply zener": max(upper.heat_w["zener"], lower.heat_w["zener"]),
    }
    feed_a = 2.0 * (rail[1] - upper.output_v - _BASE_V) / resistors["op supply resistor"]
    return upper.output_v, upper.output_low_v, feed_a


def _step_v(library: Library, most_v: float) -> float:
    """Highest zener up to a voltage, or the lowest there is, V."""
    steps = sorted(z.vz_v for z in library.zeners.values())
    return max((v for v in steps if v <= most_v), default=steps[0])
