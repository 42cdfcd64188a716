"""Gate drive and its supply: direct or through a buffer, from the battery or from a follower of its own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product
from typing import Literal

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import at_least, at_most
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import Controller, Mosfet, Transistor, Zener
from subwright.physics.gate_drive import (
    follower_output_v,
    follower_series_ohm,
    gate_current_a,
    negative_charge_coul,
    plateau_current_a,
    turn_off_charge_coul,
)
from subwright.stages.converter_family import open_emitters
from subwright.stages.converter_gate_transformer import GateTransformer

__all__ = [
    "PULSE",
    "SETTLED_V",
    "Driver",
    "DriverKind",
    "GateDrive",
    "GateSupply",
    "design_gate_supply",
    "drivers",
    "fit_gate",
    "plateau_v",
]

_PLATEAU_OVER_THRESHOLD_V = 1.0  # plateau at working current over the largest threshold, from memory
_LEAST_GATE_OHM = 2.2
_BUFFER_LEAST_A = 1.0
_BUFFER_LEAST_HZ = 50e6  # slower transistors would add their own delay
_BASE_V = 0.7
SETTLED_V = 0.5  # drop stated at 100 mA less the drop once the gate is charged, from memory
_LOW_V = 0.1  # of a controller's output, low, at some milliamperes; from memory
_ZENER_WANTED_V = 13.0  # 12.3 V behind the follower
_ZENER_LEAST_A = 2e-3
_COLLECTOR_ROOM_V = 2.0  # left over the transistor at the lowest battery
_FOLLOWER_RESERVE = 1.2  # of the highest battery
PULSE = 1.8  # pulse peak used over the continuous collector rating; twice is the usual pulse rating, memory
_FREE_AIR_K_PER_W = {"TO-92": 200.0, "TO-126": 100.0, "TO-220": 62.0}  # no heatsink, from memory
_CLIP_ON_K_PER_W = (25.0, 15.0)  # usual small heatsinks for a TO-220 case, from memory
_CASE_K_PER_W = 5.0  # junction to such a heatsink, from memory


DriverKind = Literal["direct", "turn-off", "buffer"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Driver:
    """What pulls the gates of one side.

    "direct": the controller's output. "turn-off": a PNP pulls the gate down, a diode bypassed by a resistor
    leads it up; enough here, because the current starts from zero at turn-on. "buffer": complementary emitter
    followers.
    """

    kind: DriverKind
    peak_a: float
    source_a: float  # most that it gives while high
    drop_v: float  # from its supply to the gate when high
    npn: Transistor | None = None
    pnp: Transistor | None = None

    @property
    def bridge_drop_v(self) -> float:
        """What a gate transformer between two drivers loses beyond ``drop_v``, V.

        Its magnetising current passes both: the diode that leads the gate up isn't bypassed, and what pulls
        the other end down stays above 0 V.
        """
        return self.low_v + (_BASE_V if self.kind == "turn-off" else 0.0)

    @property
    def low_v(self) -> float:
        """Where it holds a low end, V: a base-emitter voltage stays under a transistor that pulls down."""
        return _BASE_V + _LOW_V if self.pnp is not None else _LOW_V

    @property
    def buffered(self) -> bool:
        """Whether a transistor of its own pulls the gate down."""
        return self.pnp is not None


@dataclass(frozen=True, kw_only=True, slots=True)
class GateDrive:
    """The drive as built."""

    driver: Driver
    gate_ohm: float
    turn_off_s: float
    gate_v: float  # high level at the gate, nominal battery
    gate_w: float  # the whole drive
    gate_a: float  # mean current that all gates' charge takes
    supply_a: float  # mean supply current of the whole drive
    losses_w: Mapping[DriverKind, float]  # of all switches at full sine, for each kind of drive that would do
    transformer: GateTransformer | None = None
    magnetising_a: float = 0.0  # of the gate transformer, in ``supply_a``; less what comes back
    spared_a: float = 0.0  # of ``gate_a``, what the magnetising current gives in the pauses
    resistors_a: float = 0.0  # pull-downs of gates and outputs, in ``supply_a``


@dataclass(frozen=True, kw_only=True, slots=True)
class GateSupply:
    """Zener and emitter follower that feed controller and gates from a battery too high for them."""

    zener: Zener
    transistor: Transistor
    series_ohm: float
    collector_ohm: float  # takes its share of the heat off the transistor; 0 where that needs no help
    collector_w: float
    output_v: float
    dropout_low_v: float  # output at the lowest battery reckoned with
    load_a: float
    transistor_w: float  # highest battery
    transistor_c: float  # junction, hottest air
    series_w: float
    zener_w: float
    sink_k_per_w: float = 0.0  # heatsink that the transistor needs; 0 for none

    def battery_a(self, battery_v: float) -> float:
        """Current from the battery, A, at a battery voltage, V."""
        return self.load_a + max(battery_v - self.zener.vz_v, 0.0) / self.series_ohm


def plateau_v(mosfet: Mosfet) -> float:
    """Gate plateau reckoned with, V."""
    return mosfet.vgs_th_v + _PLATEAU_OVER_THRESHOLD_V


def drivers(controller: Controller, supply_max_v: float, library: Library) -> tuple[Driver, ...]:
    """The controller alone, a turn-off transistor, and a complementary buffer of the fastest pair at hand.

    Parameters
    ----------
    controller : its record. supply_max_v : highest supply of the drive, V.
    library : parts with the drawer merged.

    Returns
    -------
    the drivers that can be built, the plainest first.
    """
    direct_a = min(controller.output_source_a, controller.output_sink_a)
    static_v = controller.output_drop_v - SETTLED_V
    direct = Driver(kind="direct", peak_a=direct_a, source_a=direct_a, drop_v=static_v)
    pair: dict[str, Transistor] = {}
    for polarity in ("npn", "pnp"):
        fit = [
            t
            for t in library.transistors.values()
            if t.polarity == polarity
            and t.ic_a >= _BUFFER_LEAST_A
            and t.ft_hz >= _BUFFER_LEAST_HZ
            and t.vceo_v >= _FOLLOWER_RESERVE * supply_max_v
        ]
        if fit:
            pair[polarity] = min(fit, key=lambda t: (library.in_drawer(t.id) < 2, t.pd_w, -t.ft_hz, t.id))
    # A bare output transistor as an emitter follower can't pull a gate down by itself.
    found = [] if open_emitters(controller) else [direct]
    pnp, npn = pair.get("pnp"), pair.get("npn")
    if pnp is not None:
        peak = min(PULSE * pnp.ic_a, pnp.hfe_min * direct_a)
        found.append(Driver(kind="turn-off", peak_a=peak, source_a=direct_a, drop_v=static_v, pnp=pnp))
        if npn is not None:
            both = min(peak, PULSE * npn.ic_a, npn.hfe_min * direct_a)
            drop = static_v + _BASE_V
            found.append(Driver(kind="buffer", peak_a=both, source_a=both, drop_v=drop, npn=npn, pnp=pnp))
    return tuple(found)


def fit_gate(
    driver: Driver,
    mosfet: Mosfet,
    per_driver: int,
    gates: int,
    supply_v: float,
    switching_hz: float,
    *,
    both_ways: bool = False,
) -> tuple[float, float, float, float]:
    """Gate resistor of each switch and what follows from it.

    Parameters
    ----------
    driver : direct or buffered. mosfet : the switch. per_driver : gates on one driver. gates : all of them.
    supply_v : supply of the driver, V. switching_hz : Hz.
    both_ways : a transformer takes the gates as far below their sources as above.

    Returns
    -------
    (resistor, ohm; turn-off time, s; high level at the gate, V; mean supply current of all gates, A).

    Raises
    ------
    NoSolutionError : the supply leaves no voltage for the gate.
    """
    gate_v = supply_v - driver.drop_v
    if gate_v <= plateau_v(mosfet):
        raise NoSolutionError(
            message="The drive can't bring this switch beyond its plateau.",
            quantity="gate voltage",
            value=show(max(gate_v, 0.0), "voltage"),
            limit=f"above {show(plateau_v(mosfet), 'voltage')}",
            source=mosfet.provenance.document,
            remedy="Choose a logic-level switch (converter.mosfet), a controller with less drop "
            '(converter.controller), or converter.gate_drive = "direct".',
        )
    own = mosfet.rg_ohm or 0.0
    each_a = driver.peak_a / per_driver
    gate_ohm = at_least(max(gate_v / each_a - own, _LEAST_GATE_OHM), "E12")
    low_v = _BASE_V if driver.buffered else 0.0  # a transistor's base-emitter voltage stays under the gate
    sink_a = plateau_current_a(each_a, plateau_v(mosfet) - low_v, gate_ohm + own)
    turn_off_s = turn_off_charge_coul(mosfet.qgs_coul, mosfet.qgd_coul) / sink_a
    charge = mosfet.qg_coul
    if both_ways:
        charge += negative_charge_coul(mosfet.qgs_coul, plateau_v(mosfet), gate_v)
    return gate_ohm, turn_off_s, gate_v, gate_current_a(charge, switching_hz, gates)


def _followers(
    library: Library, heat_w: float, load_a: float, max_v: float, ambient_c: float, sink_k_per_w: float
) -> list[tuple[bool, float, str, Transistor, float]]:
    """NPN transistors that carry the follower's heat, with rank and junction, °C."""
    fit: list[tuple[bool, float, str, Transistor, float]] = []
    for t in library.transistors.values():
        rth = _FREE_AIR_K_PER_W.get(t.package)
        if sink_k_per_w:
            rth = sink_k_per_w + _CASE_K_PER_W if t.package == "TO-220" else None
        if t.polarity != "npn" or rth is None or t.vceo_v < _FOLLOWER_RESERVE * max_v or t.ic_a < 3 * load_a:
            continue
        junction = ambient_c + heat_w * rth
        if junction <= t.tj_max_c - 10.0:
            fit.append((library.in_drawer(t.id) == 0, t.pd_w, t.id, t, junction))
    return fit


def design_gate_supply(
    library: Library, low_v: float, nominal_v: float, max_v: float, load_a: float, ambient_c: float
) -> GateSupply:
    """Zener, series resistor and follower transistor for controller and gates.

    Parameters
    ----------
    library : parts with the drawer merged.
    low_v, nominal_v, max_v : lowest battery under load, nominal and highest, V.
    load_a : controller and gates, A. ambient_c : air, °C.

    Returns
    -------
    GateSupply; a transistor that needs no heatsink where there is one, from the drawer first.

    Raises
    ------
    NoSolutionError : no zener or no transistor serves.

    Source
    ------
    Emitter follower behind a zener [derived]; thermal resistances without heatsink from memory.
    """
    zeners = [z for z in library.zeners.values() if abs(z.vz_v - _ZENER_WANTED_V) <= 2.0]
    if not zeners:
        raise NoSolutionError(
            message="No zener diode for the gate supply.",
            quantity="zener voltage",
            value=show(_ZENER_WANTED_V, "voltage"),
            limit="11 V to 15 V",
            source="parts library and drawer",
            remedy="Add one to the drawer.",
        )
    zener = min(zeners, key=lambda z: (library.in_drawer(z.id) == 0, abs(z.vz_v - _ZENER_WANTED_V), z.id))
    output_v = follower_output_v(zener.vz_v, nominal_v, _BASE_V)
    most_drop_v = max_v - (zener.vz_v * (1.0 - zener.tolerance) - _BASE_V)
    fit: list[tuple[bool, float, str, Transistor, float]] = []
    spare_v = low_v - zener.vz_v * (1.0 + zener.tolerance) - _COLLECTOR_ROOM_V
    dropping = at_most(spare_v / load_a, "E12") if spare_v > 1.0 else 0.0
    sink, collector, heat = 0.0, 0.0, most_drop_v * load_a
    for sink, collector in product((0.0, *_CLIP_ON_K_PER_W), dict.fromkeys((0.0, dropping))):
        heat = (most_drop_v - collector * load_a) * load_a
        fit = _followers(library, heat, load_a, max_v, ambient_c, sink)
        if fit:
            break
    if not fit:
        raise NoSolutionError(
            message="No transistor at hand carries the gate supply on a small heatsink.",
            quantity="heat in the follower at the highest battery",
            value=show(heat, "power"),
            limit=f"what a TO-220 case sheds in this air by a heatsink of {_CLIP_ON_K_PER_W[-1]:g} K/W",
            source="parts library and drawer",
            remedy="Lower converter.switching or converter.mosfets_per_side, or add an NPN transistor of "
            f"at least {show(_FOLLOWER_RESERVE * max_v, 'voltage')} to the drawer.",
        )
    _, _, _, transistor, junction = min(fit, key=lambda row: row[:3])
    top_v = zener.vz_v * (1.0 + zener.tolerance)
    series = at_most(
        follower_series_ohm(max(low_v, top_v + 1.0), top_v, _ZENER_LEAST_A, load_a, transistor.hfe_min), "E12"
    )
    least_z = zener.vz_v * (1.0 - zener.tolerance)
    return GateSupply(
        zener=zener,
        transistor=transistor,
        series_ohm=series,
        collector_ohm=collector,
        collector_w=collector * load_a**2,
        output_v=output_v,
        dropout_low_v=follower_output_v(zener.vz_v, low_v, _BASE_V),
        load_a=load_a,
        transistor_w=heat,
        transistor_c=junction,
        series_w=(max_v - least_z) ** 2 / series,
        zener_w=(max_v - top_v) / series * top_v,
        sink_k_per_w=sink,
    )
