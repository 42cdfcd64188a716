"""Currents of the voltage stage, by what drivers or gates ask of it, and the transistors that carry them."""

from __future__ import annotations

from dataclasses import dataclass
from math import log, sqrt
from typing import Final

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import at_most, nearest
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.output_stages import OutputStage
from subwright.parts.schema import Transistor
from subwright.physics.junctions import base_emitter_v
from subwright.physics.stage_loop import follower_share
from subwright.physics.voltage_stage import THERMAL_V, junction_current_a, sine_slew_v_per_s

__all__ = [
    "BIAS_TRANSISTOR",
    "DIODE_A",
    "DIODE_EMISSION",
    "DIODE_V",
    "FULL_OUTPUT_HZ",
    "GATE_A_PER_V2",
    "MILLER_F",
    "SLEW_MARGIN",
    "SMALL_CURRENT_A",
    "StageCurrents",
    "StagePlace",
    "air_limit_w",
    "base_need_a",
    "fin_limit_w",
    "follower_share_of",
    "plan_currents",
    "reference_v",
    "sink_limit_w",
    "strays",
]

FULL_OUTPUT_HZ: Final = 20e3
"""Full output is asked up to here, though a subwoofer plays far below: no crest may find it too slow."""
SLEW_MARGIN: Final = 2.0
DIODE_A: Final = 1e-3
DIODE_V: Final = 0.62
"""Voltage of a 1N4148 at ``DIODE_A``, V, from memory of its curve."""
DIODE_EMISSION: Final = 1.68
"""Its slope over that of an ideal junction: 0.1 V a decade, from memory of its curve."""
GATE_A_PER_V2: Final = 0.25
"""Factor K of a lateral MOSFET, A/V², ``I = K/2 (V_GS - V_T)²``, from memory."""
BIAS_TRANSISTOR: Final = "BD139"
"""Transistor that spreads the bases of the output stage."""
MILLER_F: Final = 100e-12
"""Miller capacitor that the tail's current is reckoned with, F; a smaller one is faster."""
SMALL_CURRENT_A: Final = 10e-3

# Early voltage, V, and collector-base capacitance at some volts, F; from memory.
_STRAYS: Final = {
    "BC546B": (80.0, 3e-12),
    "BC556B": (40.0, 4.5e-12),
    "2N5551": (100.0, 4e-12),
    "2N5401": (60.0, 5e-12),
    "MPSA92": (100.0, 4e-12),
    "BD139": (100.0, 15e-12),
    "BD140": (80.0, 20e-12),
    "TIP41C": (100.0, 80e-12),
    "TIP42C": (80.0, 120e-12),
    "MJE15032": (100.0, 50e-12),
    "MJE15033": (80.0, 70e-12),
}
_MARGIN: Final = 1.5  # voltage stage's current over what the drivers ask at their least gain
_LOADED: Final = 0.9  # of what a mount takes away, at most
_HEAT_MARGIN: Final = 1.15  # preferred values round the current upwards
_LEAST_STAGE_A: Final = 5e-3  # common practice
_LEAST_TAIL_A: Final = 1e-3
_LEAST_REFERENCE_A: Final = 1.5e-3
_COLLECTOR_F: Final = 50e-12  # of the voltage stage's own transistors at its output, about
_BUFFER_OHM: Final = (330.0, 2.2e3)
_BUFFER_V: Final = 0.7  # base of the voltage amplifier above its supply
_OUTPUT_DRIVER_A: Final = 8e-3  # of each driver at rest; it empties the output bases
_HALF_OHM: Final = 20e3  # both resistors of the divider at half the supply
_OP_AMPS: Final = 4  # buffers of half and signal, the difference's integrator, its inverter
_OP_AMP_A: Final = 4e-3  # of each at rest, from memory
_GATE_BEHIND: Final = 0.25  # least share of a lateral's C_GS that is reckoned with, common practice
_SOURCE_ROUNDS: Final = 8  # each leaves a hundredth of the error
_LIFT_DIODE_V: Final = 0.4  # between the battery and a lifted rail at rest, from memory
_VOLTAGE_SHARE: Final = 0.9  # of a transistor's voltage that may be used, common practice
_AIR_C: Final = 60.0  # inside a closed case, common practice
# K/W from junction to air without a heatsink, and with a clip-on fin of 20 K/W; from memory
_FREE_K_PER_W: Final = {"TO-92": 200.0, "TO-126": 100.0, "TO-220": 62.5}
_SINK_C: Final = 85.0
_PAD_K_PER_W: Final = 1.5
_FIN_K_PER_W: Final = {"TO-126": 30.0, "TO-220": 23.0}
_DRIVERS: Final = (("BD139", "BD140"), ("TIP41C", "TIP42C"), ("MJE15032", "MJE15033"))
_AMPLIFIERS: Final = ("BC546B", "2N5551", "BD139", "MJE15032")
_FEEDERS: Final = ("BC556B", "2N5401", "BD140", "MJE15033")
_PAIRS: Final = ("BC556B", "2N5401", "MPSA92")


@dataclass(frozen=True, kw_only=True, slots=True)
class StagePlace:
    """What the voltage stage of a leg stands between.

    Attributes
    ----------
    stage, parallel : output devices of a leg. legs : 1 or 2. split : whether there are two rails.
    lift_ratio : class H: what the lifting adds to the supply, over it; else 0.
    supply_v, highest_v : one rail, or the single supply unlifted, nominal and greatest, V.
    crest_a : greatest output current, A. bias_a : of the leg's outputs at rest, A.
    stage_a, tail_a : of voltage amplifier and pair as stated, A; None: by need.
    """

    stage: OutputStage
    parallel: int
    legs: int
    split: bool
    lift_ratio: float
    supply_v: float
    highest_v: float
    crest_a: float
    bias_a: float
    stage_a: float | None = None
    tail_a: float | None = None

    @property
    def lifted(self) -> bool:
        """Whether the lower leg of the bridge stands still over the crests: class H."""
        return self.lift_ratio > 0.0

    @property
    def side_v(self) -> float:
        """Greatest supply on one side of the output at rest, V."""
        return self.highest_v * (1.0 if self.split else 0.5)

    @property
    def bus_v(self) -> float:
        """Greatest supply between both terminals, V."""
        return self.highest_v * (2.0 if self.split else 1.0 + self.lift_ratio)

    @property
    def peak_v(self) -> float:
        """Greatest way of the output from its rest, V."""
        return self.bus_v - self.side_v


@dataclass(frozen=True, kw_only=True, slots=True)
class StageCurrents:
    """Currents of one leg's voltage stage at the nominal supply, and who carries them.

    Attributes
    ----------
    place : where it stands. driver_ids : NPN and PNP; () for MOSFETs. driver_transit_hz : of the slower, Hz.
    driver_ohm : between the drivers' emitters, Ω, with driver_rest_a through it, A; 0 without drivers.
    pair_id, amplifier_id, source_id : input pair and tail source, voltage amplifier, its current source.
    need_a : greatest current of the drivers' bases, or of the gates, A. stage_a, stage_ohm : of the voltage
        amplifier, A, and the resistor that sets it, Ω. tail_a, tail_ohm : of the pair.
    reference_a, reference_ohm : through the reference diodes, A, and the two resistors in series, Ω each.
    buffer_a, buffer_ohm : of the follower before the voltage amplifier.
    half_ohm : of a single supply, each of the divider's; 0 without.
    bias_gain : least current gain of the transistor that spreads the bases.
    drawn_a : from rail to rail, A; what flows from a rail to ground counts half.
    """

    place: StagePlace
    driver_ids: tuple[str, ...]
    driver_transit_hz: float
    driver_ohm: float
    driver_rest_a: float
    pair_id: str
    amplifier_id: str
    source_id: str
    need_a: float
    stage_a: float
    stage_ohm: float
    tail_a: float
    tail_ohm: float
    reference_a: float
    reference_ohm: float
    buffer_a: float
    buffer_ohm: float
    half_ohm: float
    bias_gain: float
    drawn_a: float


def strays(part_id: str) -> tuple[float, float]:
    """Early voltage, V, and collector-base capacitance, F, of a transistor by its id, from memory."""
    return _STRAYS[part_id]


def reference_v(reference_a: float) -> float:
    """Voltage of the two reference diodes, V: 0.62 V each at 1 mA, 0.1 V more at ten times that."""
    return 2.0 * (DIODE_V + DIODE_EMISSION * THERMAL_V * log(reference_a / DIODE_A))


def air_limit_w(part: Transistor) -> float:
    """Heat that a transistor loses to the air in the case without a heatsink, W."""
    free = (part.tj_max_c - _AIR_C) / _FREE_K_PER_W.get(part.package, 62.5)
    return min(free, part.pd_w)


def fin_limit_w(part: Transistor) -> float:
    """The same with a clip-on fin where the case takes one, W."""
    if part.package not in _FIN_K_PER_W:
        return air_limit_w(part)
    return (part.tj_max_c - _AIR_C) / _FIN_K_PER_W[part.package]


def sink_limit_w(part: Transistor) -> float:
    """The same, insulated on the output devices' heatsink where the case takes screws, W."""
    if part.package not in _FIN_K_PER_W:
        return air_limit_w(part)
    junction = (part.tj_max_c - 25.0) / part.pd_w
    return (part.tj_max_c - _SINK_C) / (junction + _PAD_K_PER_W)


def follower_share_of(place: StagePlace, load_ohm: float) -> float:
    """Share of a lateral MOSFET's gate voltage that its source follows about the rest, both of a pair on.

    Parameters
    ----------
    place : where it stands. load_ohm : of the leg, Ω.
    """
    conducts_s = sqrt(2.0 * GATE_A_PER_V2 * place.bias_a / place.parallel)
    inner = (1.0 / conducts_s + place.stage.ballast_ohm) / (2.0 * place.parallel)
    return follower_share(load_ohm, inner)


def base_need_a(part: Transistor, current_a: float) -> float:
    """Base current of a transistor at a collector current, A.

    Parameters
    ----------
    part : its least gain holds up to the sheet's current; above, the gain falls with the current (common
        practice). current_a : A.
    """
    return current_a / part.hfe_min * max(1.0, current_a / part.hfe_ic_a)


def plan_currents(place: StagePlace, library: Library, spread_v: float) -> StageCurrents:
    """Choose currents and their transistors.

    Parameters
    ----------
    place : where it stands. library : with the drawer merged.
    spread_v : between the drivers' emitters at rest, V.

    Returns
    -------
    StageCurrents.

    Raises
    ------
    NoSolutionError : no driver stands the supply or the base current.

    Source
    ------
    [self-apad]; sizes of the currents common practice.
    """
    stage, supply_v, split = place.stage, place.supply_v, place.split
    bus_v, side_v, crest_a = place.bus_v, place.side_v, place.crest_a
    needed_slew = sine_slew_v_per_s(place.peak_v, FULL_OUTPUT_HZ)
    drivers: tuple[str, ...] = ()
    driver_ohm = rest_a = 0.0
    if stage.device == "bipolar":
        base_a = crest_a / stage.gain_at(crest_a / place.parallel)
        drivers = _drivers(library, bus_v, base_a)
        need_a = max(base_need_a(library.transistors[part], base_a) for part in drivers)
        driver_ohm = float(nearest(spread_v / _OUTPUT_DRIVER_A, "E12"))
        rest_a = spread_v / driver_ohm
    else:
        # the source follows the gate: what it stays behind has to be charged of C_GS, and all of C_GD
        behind = 1.0 - follower_share_of(place, place.peak_v / crest_a) if crest_a > 0.0 else 1.0
        gates_f = 2.0 * place.parallel * (stage.reverse_f + max(_GATE_BEHIND, behind) * stage.input_f)
        need_a = (gates_f + MILLER_F + _COLLECTOR_F) * needed_slew
    wanted_a = place.stage_a or max(_LEAST_STAGE_A, _MARGIN * need_a)
    heat_w = _HEAT_MARGIN * side_v * wanted_a
    # the voltage amplifier sinks what its source gives and the lower driver's base current, its limiter more
    amplifier = _standing(library, _AMPLIFIERS, bus_v, heat_w, 2.5 * wanted_a)
    source = _standing(library, _FEEDERS, bus_v, heat_w, 1.5 * wanted_a)
    pair = _standing(library, _PAIRS, place.peak_v, 0.0, 0.0)
    reference_a = max(_LEAST_REFERENCE_A, 4.0 * base_need_a(source, wanted_a))
    feed_v = supply_v - reference_v(reference_a)
    reference_ohm = float(nearest(0.5 * feed_v / reference_a, "E12"))
    reference_a = 0.5 * (feed_v - (_LIFT_DIODE_V if place.lifted else 0.0)) / reference_ohm
    tail_wanted_a = place.tail_a or max(_LEAST_TAIL_A, SLEW_MARGIN * needed_slew * MILLER_F)

    def diodes(stage_a: float, tail_a: float) -> float:
        # what flows out of the sources' bases passes the diodes by
        return reference_v(reference_a - stage_a / source.hfe_min - tail_a / pair.hfe_min)

    diodes_v = diodes(wanted_a, tail_wanted_a)
    stage_ohm = float(at_most((diodes_v - base_emitter_v(wanted_a)) / wanted_a, "E24"))
    tail_ohm = float(at_most((diodes_v - base_emitter_v(tail_wanted_a)) / tail_wanted_a, "E24"))
    stage_a, tail_a = wanted_a, tail_wanted_a
    for _ in range(_SOURCE_ROUNDS):
        diodes_v = diodes(stage_a, tail_a)
        stage_a, tail_a = junction_current_a(diodes_v, stage_ohm), junction_current_a(diodes_v, tail_ohm)
    # what the voltage amplifier's own capacitance brings while it rises has no other way than this resistor
    least_ohm, most_ohm = _BUFFER_OHM
    brought_a = tail_wanted_a / MILLER_F * strays(amplifier.id)[1]
    buffer_ohm = float(at_most(min(max(_BUFFER_V / brought_a, least_ohm), most_ohm), "E12"))
    buffer_a = _BUFFER_V / buffer_ohm
    half_a = 0.0 if split else supply_v / _HALF_OHM
    op_amps_a = _OP_AMPS * _OP_AMP_A if place.lifted else 0.0
    grounded = (reference_a + buffer_a) * (0.5 if split else 1.0)
    return StageCurrents(
        place=place,
        driver_ids=drivers,
        driver_transit_hz=min((library.transistors[part].ft_hz for part in drivers), default=0.0),
        driver_ohm=driver_ohm,
        driver_rest_a=rest_a,
        pair_id=pair.id,
        amplifier_id=amplifier.id,
        source_id=source.id,
        need_a=need_a,
        stage_a=stage_a,
        stage_ohm=stage_ohm,
        tail_a=tail_a,
        tail_ohm=tail_ohm,
        reference_a=reference_a,
        reference_ohm=reference_ohm,
        buffer_a=buffer_a,
        buffer_ohm=buffer_ohm,
        half_ohm=0.0 if split else 0.5 * _HALF_OHM,
        bias_gain=library.transistors[BIAS_TRANSISTOR].hfe_min,
        drawn_a=stage_a + tail_a + rest_a + grounded + (half_a + op_amps_a) / place.legs,
    )


def _drivers(library: Library, bus_v: float, base_a: float) -> tuple[str, str]:
    """The weakest pair that stands voltage and current and asks little of the voltage stage, else the one
    that asks least."""
    fits = []
    for index, (npn, pnp) in enumerate(_DRIVERS):
        pair = library.transistors[npn], library.transistors[pnp]
        if min(p.vceo_v for p in pair) >= bus_v and min(p.ic_a for p in pair) >= 2.0 * base_a:
            need_a = max(base_need_a(p, base_a) for p in pair)
            fits.append((max(need_a, SMALL_CURRENT_A / _MARGIN), index, (npn, pnp)))
    if fits:
        return min(fits)[2]
    limit = library.transistors[_DRIVERS[-1][0]]
    raise NoSolutionError(
        message="No driver transistor at hand stands these rails and base currents.",
        quantity="voltage between the rails and base current",
        value=f"{show(bus_v, 'voltage')}, {show(base_a, 'current')}",
        limit=f"{show(limit.vceo_v, 'voltage')}, {show(0.5 * limit.ic_a, 'current')}",
        source="parts library",
        remedy='Take amplifier.ab_output = "lateral", lower goal.power, or take class D.',
    )


def _standing(
    library: Library, ids: tuple[str, ...], voltage_v: float, heat_w: float, current_a: float
) -> Transistor:
    """The first that stands it in free air, else with a fin, else on the heatsink, else the strongest."""
    parts = [library.transistors[part] for part in ids]
    strong = [p for p in parts if _VOLTAGE_SHARE * p.vceo_v >= voltage_v and p.ic_a >= current_a]
    for limit in (air_limit_w, fin_limit_w, sink_limit_w):
        for part in strong:
            if _LOADED * limit(part) >= heat_w:
                return part
    return max(strong or parts, key=lambda p: (p.vceo_v, sink_limit_w(p)))
