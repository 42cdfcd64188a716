"""Heatsink or chassis plate, junction temperatures at each level, and how long until the thermal trip."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from subwright.base.errors import NoSolutionError, RangeError
from subwright.base.fields import Celsius, KelvinDifference, Length, StageSpec, choice, quantity
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import Heatsink
from subwright.physics.bounds import require
from subwright.physics.surfaces import PlateFinish, plate_area_m2, plate_rise_k, plate_rth_k_per_w
from subwright.physics.thermal import (
    ALUMINIUM_DENSITY_KG_PER_M3,
    ThermalDevice,
    heatsink_at_rise_k_per_w,
    junction_temperature_c,
    thermal_capacity_j_per_k,
    time_to_reach_s,
)
from subwright.stages.common import Contributor, Level, Loss, PartUse, Rating

__all__ = ["DeviceHeat", "HeatDemand", "HeatResult", "HeatSpec", "design_heat", "sink_rise_k"]

_TRIP_RESERVE_K: Final = 5.0  # programme must stay this far below the trip, common practice
_TOUCH_AMBIENT_C: Final = 25.0  # air at which touch temperatures are judged
_PLATE_STEP_M: Final = 5e-3
_EMISSIVITY: Final[Mapping[str, float]] = {"black": 0.85, "bright": 0.05}


class HeatSpec(StageSpec):
    """The builder's wishes for getting rid of heat."""

    heatsink: str = choice("auto", why="A heatsink's part id, 'plate' for a flat aluminium plate, or auto.")
    basis: Literal["programme", "full"] = choice(
        "programme",
        why="What the sink must hold without end: programme (a continuous sine then ends at the thermal "
        "trip) or the full sine.",
    )
    junction_reserve_k: KelvinDifference = quantity(
        "25 K", low="0 K", high="80 K", why="How far junctions stay below their limit."
    )
    air_rise_k: KelvinDifference = quantity(
        "0 K",
        low="0 K",
        high="40 K",
        why="Air at the sink above the vehicle's air: 0 K outside, about 15 K inside a closed housing.",
    )
    plate_thickness_m: Length = quantity("3 mm", low="1 mm", high="5 mm", why="Thickness of a flat plate.")
    plate_finish: PlateFinish = choice("black vertical", why="Surface and position of a flat plate.")
    touch_limit_c: Celsius = quantity(
        "70 °C",
        low="40 °C",
        high="100 °C",
        why="Highest temperature of metal that is touched briefly, in 25 °C air (IEC 62368-1, from memory).",
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class HeatDemand:
    """What heats the sink.

    Attributes
    ----------
    devices : every kind of device on it.
    ambient_c : hottest air in the vehicle, °C.
    trip_c : thermal trip, sensed on the sink, °C.
    """

    devices: tuple[ThermalDevice, ...]
    ambient_c: float
    trip_c: float


@dataclass(frozen=True, kw_only=True, slots=True)
class DeviceHeat:
    """Junction temperatures of one kind of device, °C.

    Attributes
    ----------
    name, count : as in the demand.
    junction_c : steady, at each level. worst_c : steady at the least favourable sine.
    trip_c : at the least favourable sine while the sink is at its trip temperature.
    limit_c : highest allowed by the data sheet. reserve_k : how far to stay below it, K.
    """

    name: str
    count: int
    junction_c: Mapping[Level, float]
    worst_c: float
    trip_c: float
    limit_c: float
    reserve_k: float


@dataclass(frozen=True, kw_only=True, slots=True)
class HeatResult:
    """The sink and all temperatures, in the hottest air unless it says otherwise.

    Attributes
    ----------
    form, sink_id, description : what it is.
    air_c : air at the sink, °C. power_w : into the sink at each level, W; worst_w : W.
    needed_k_per_w : highest resistance that each level allows, K/W, None without heat or without any sink
        that would do; worst_needed_k_per_w : the same for the least favourable sine.
    basis : level that it was chosen for. rth_k_per_w : at that level's rise.
    rth_second_k_per_w : a plate by convection and radiation, K/W; None for a finned sink.
    sink_c : steady sink at each level, °C; sink_worst_c. sink_limit_c : allowed at the basis, °C.
    plate_side_m, plate_thickness_m, plate_area_m2 : of a plate, else None.
    mass_kg, capacity_j_per_k : kg and J/K.
    devices : junction temperatures.
    trip_c : °C. start_c : sink with programme, from which the sine starts, °C.
    time_to_trip_s : least favourable sine from there, s; None where it never trips.
    touch_c : sink with programme in 25 °C air; touch_hot_c : in the hottest air. touch_limit_c : °C.
    """

    form: Literal["heatsink", "plate"]
    sink_id: str
    description: str
    air_c: float
    power_w: Mapping[Level, float]
    worst_w: float
    needed_k_per_w: Mapping[Level, float | None]
    worst_needed_k_per_w: float | None
    basis: Level
    rth_k_per_w: float
    rth_second_k_per_w: float | None
    sink_c: Mapping[Level, float]
    sink_worst_c: float
    sink_limit_c: float
    plate_side_m: float | None
    plate_thickness_m: float | None
    plate_area_m2: float | None
    mass_kg: float
    capacity_j_per_k: float
    devices: tuple[DeviceHeat, ...]
    trip_c: float
    start_c: float
    time_to_trip_s: float | None
    touch_c: float
    touch_hot_c: float
    touch_limit_c: float
    parts: tuple[PartUse, ...]
    losses: tuple[Loss, ...]
    contributors: tuple[Contributor, ...]
    sources: tuple[str, ...]
    reasons: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class _Sink:
    """A finned sink whose resistance falls with its rise, or a plate of constant resistance."""

    form: Literal["heatsink", "plate"]
    id: str
    description: str
    rated_k_per_w: float
    rated_rise_k: float | None
    mass_kg: float
    side_m: float | None = None
    heatsink: Heatsink | None = None

    def rise_k(self, power_w: float) -> float:
        if self.rated_rise_k is None:
            return power_w * self.rated_k_per_w
        return sink_rise_k(self.rated_k_per_w, self.rated_rise_k, power_w)


def sink_rise_k(rated_k_per_w: float, rated_rise_k: float, power_w: float) -> float:
    """Steady rise of a finned heatsink whose resistance falls with the fourth root of its rise.

    Parameters
    ----------
    rated_k_per_w : resistance, K/W, at ``rated_rise_k``, K. power_w : heat, W, >= 0.

    Returns
    -------
    rise, K: ``(P R rise_rated^0.25)^0.8``.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    ``heatsink_at_rise_k_per_w`` solved for the rise [holman].

    >>> round(sink_rise_k(1.0, 50.0, 50.0), 6)
    50.0
    """
    require("heatsink resistance", rated_k_per_w, "K/W", above=0.0)
    require("rated rise", rated_rise_k, "K", above=0.0)
    require("heat into the heatsink", power_w, "W", at_least=0.0)
    return float((power_w * rated_k_per_w * rated_rise_k**0.25) ** 0.8)


def design_heat(spec: HeatSpec, demand: HeatDemand, library: Library, kept: str = "") -> HeatResult:
    """Choose a sink and work out every temperature.

    Parameters
    ----------
    spec : the builder's wishes. demand : devices, air and trip. library : parts with the drawer merged.
    kept : heatsink taken as long as it serves, although a lighter one might, so that rounds come to rest.

    Returns
    -------
    HeatResult.

    Raises
    ------
    RangeError : the air is at or above the trip, or no device is given.
    NoSolutionError : no sink and no plate will do.
    PartNotFoundError : the stated heatsink is unknown.

    Source
    ------
    Series chain [tip31-lecture]; plate [valvo-plate], [holman]; touch [iec-62368-1]; the trip reserve
    [common-practice].
    """
    if not demand.devices:
        raise RangeError(
            message="There is nothing on the heatsink.",
            quantity="heat sources",
            value="none",
            limit="at least one",
        )
    air_c = demand.ambient_c + spec.air_rise_k
    require(
        "air at the heatsink",
        air_c,
        "°C",
        at_least=-40.0,
        below=demand.trip_c - _TRIP_RESERVE_K,
        remedy="Raise the thermal trip, or put the heatsink where the air is cooler.",
    )
    heats = {level: [_heat(d, level) for d in demand.devices] for level in Level}
    heats_worst = [d.worst_w for d in demand.devices]
    power = {level: _total(demand, heats[level]) for level in Level}
    worst_w = _total(demand, heats_worst)
    basis = Level.PROGRAMME if spec.basis == "programme" else Level.FULL
    basis_heats = heats[basis] if basis is Level.PROGRAMME else heats_worst
    basis_w = _total(demand, basis_heats)
    if basis_w <= 0.0:
        raise RangeError(
            message="The devices on the heatsink give no heat.",
            quantity="heat into the heatsink",
            value=f"{basis_w:.3g} W",
            limit="> 0 W",
            remedy="Check the losses of the amplifier and converter.",
        )
    limit_c = _sink_limit_c(spec, demand, basis_heats, sensed=True)
    sink = _choose(spec, library, air_c, limit_c, basis_w, kept)

    rise = {level: sink.rise_k(power[level]) for level in Level}
    rise_worst = sink.rise_k(worst_w)
    basis_rise = sink.rise_k(basis_w)
    capacity = thermal_capacity_j_per_k(sink.mass_kg)
    start_c = air_c + rise[Level.PROGRAMME]
    trip_rth = _rth_at(sink, demand.trip_c - air_c)
    trip_s = time_to_reach_s(demand.trip_c, start_c, air_c, worst_w, trip_rth, capacity)
    second = None
    if sink.side_m is not None:
        emissivity = _EMISSIVITY[spec.plate_finish.split()[0]]
        second_rise = plate_rise_k(basis_w, air_c, 2.0 * sink.side_m**2, sink.side_m, emissivity)
        second = second_rise / basis_w
    result_devices = tuple(
        _device(spec, demand, device, air_c, rise, rise_worst) for device in demand.devices
    )
    touch_rise = rise[Level.PROGRAMME]
    return HeatResult(
        form=sink.form,
        sink_id=sink.id,
        description=sink.description,
        air_c=air_c,
        power_w=power,
        worst_w=worst_w,
        needed_k_per_w={level: _needed(spec, demand, heats[level], air_c) for level in Level},
        worst_needed_k_per_w=_needed(spec, demand, heats_worst, air_c),
        basis=basis,
        rth_k_per_w=basis_rise / basis_w,
        rth_second_k_per_w=second,
        sink_c={level: air_c + rise[level] for level in Level},
        sink_worst_c=air_c + rise_worst,
        sink_limit_c=limit_c,
        plate_side_m=sink.side_m,
        plate_thickness_m=spec.plate_thickness_m if sink.side_m is not None else None,
        plate_area_m2=sink.side_m**2 if sink.side_m is not None else None,
        mass_kg=sink.mass_kg,
        capacity_j_per_k=capacity,
        devices=result_devices,
        trip_c=demand.trip_c,
        start_c=start_c,
        time_to_trip_s=None if math.isinf(trip_s) else trip_s,
        touch_c=_TOUCH_AMBIENT_C + touch_rise,
        touch_hot_c=air_c + touch_rise,
        touch_limit_c=spec.touch_limit_c,
        parts=_parts(demand, sink, library, air_c + basis_rise, limit_c),
        losses=(),
        contributors=(),
        sources=_sources(sink),
        reasons=_reasons(spec, demand, sink, basis_rise, basis_w, air_c, trip_s),
    )


def _heat(device: ThermalDevice, level: Level) -> float:
    return {Level.IDLE: device.idle_w, Level.PROGRAMME: device.programme_w, Level.FULL: device.full_w}[level]


def _total(demand: HeatDemand, heats: list[float]) -> float:
    return sum(device.count * w for device, w in zip(demand.devices, heats, strict=True))


def _sink_limit_c(spec: HeatSpec, demand: HeatDemand, heats: list[float], *, sensed: bool) -> float:
    """Hottest sink that every junction, and with ``sensed`` the trip, allows."""
    limits = [
        d.tj_max_c - spec.junction_reserve_k - w * (d.rth_jc_k_per_w + d.interface_k_per_w)
        for d, w in zip(demand.devices, heats, strict=True)
    ]
    return min(*limits, demand.trip_c - _TRIP_RESERVE_K) if sensed else min(limits)


def _needed(spec: HeatSpec, demand: HeatDemand, heats: list[float], air_c: float) -> float | None:
    """Sink resistance that keeps every junction at its reserve, K/W; None without heat or without hope."""
    total = _total(demand, heats)
    left = _sink_limit_c(spec, demand, heats, sensed=False) - air_c
    return left / total if total > 0.0 and left > 0.0 else None


def _rth_at(sink: _Sink, rise_k: float) -> float:
    if sink.rated_rise_k is None:
        return sink.rated_k_per_w
    return heatsink_at_rise_k_per_w(sink.rated_k_per_w, sink.rated_rise_k, rise_k)


def _choose(
    spec: HeatSpec, library: Library, air_c: float, limit_c: float, power_w: float, kept: str
) -> _Sink:
    allowed_k = limit_c - air_c
    if allowed_k <= 0.0:
        raise NoSolutionError(
            message="The junctions overheat on any heatsink in this air.",
            quantity="sink temperature allowed",
            value=f"{limit_c:.0f} °C",
            limit=f"above the air, {air_c:.0f} °C",
            source="tip31-lecture",
            remedy="Lower goal.power, supply.ambient_max or heat.junction_reserve, or take devices of less "
            "thermal resistance (amplifier.mosfet, converter.mosfet).",
        )
    if spec.heatsink == "plate":
        return _plate(spec, allowed_k / power_w)
    if spec.heatsink != "auto":
        return _finned(library.heatsink(spec.heatsink))
    fits = [
        (record.id != kept, library.in_drawer(record.id) == 0, record.mass_kg, record.id, sink)
        for record in library.heatsinks.values()
        if (sink := _finned(record)).rise_k(power_w) <= allowed_k
    ]
    if fits:
        return min(fits, key=lambda row: row[:4])[4]
    try:
        return _plate(spec, allowed_k / power_w)
    except NoSolutionError as error:
        raise _too_much(spec, library, allowed_k, power_w) from error


def _too_much(spec: HeatSpec, library: Library, allowed_k: float, power_w: float) -> NoSolutionError:
    """The refusal where neither heatsink nor plate will do: what the best of them loses."""
    sinks = [_finned(record) for record in library.heatsinks.values()]
    best = min(sinks, key=lambda sink: _rth_at(sink, allowed_k))
    programme = "" if spec.basis == "programme" else 'size for programme (heat.basis = "programme"), '
    return NoSolutionError(
        message="Neither a heatsink of drawer and library nor a flat plate gets rid of this heat.",
        quantity="heat into the heatsink",
        value=show(power_w, "power"),
        limit=f"at most {show(allowed_k / _rth_at(best, allowed_k), 'power')}, {best.id} at "
        f"{allowed_k:.0f} K above the air",
        source="holman",
        remedy=f"Lower goal.power, take class D (amplifier.kind), {programme}or put a larger heatsink into "
        "the drawer.",
    )


def _finned(record: Heatsink) -> _Sink:
    return _Sink(
        form="heatsink",
        id=record.id,
        description=record.description,
        rated_k_per_w=record.rth_k_per_w,
        rated_rise_k=record.rise_k,
        mass_kg=record.mass_kg,
        heatsink=record,
    )


def _plate(spec: HeatSpec, rth_k_per_w: float) -> _Sink:
    area = plate_area_m2(rth_k_per_w, spec.plate_thickness_m, spec.plate_finish)
    # Sides go up in 5 mm steps, but never past the 1000 cm² where the published formula ends.
    side = min(math.ceil(math.sqrt(area) / _PLATE_STEP_M - 1e-9) * _PLATE_STEP_M, math.sqrt(0.1))
    thickness = show(spec.plate_thickness_m, "length")
    return _Sink(
        form="plate",
        id=f"plate {side * 1e3:.0f} × {side * 1e3:.0f} × {spec.plate_thickness_m * 1e3:g} mm",
        description=f"aluminium plate {show(side, 'length')} square, {thickness}, {spec.plate_finish}",
        rated_k_per_w=plate_rth_k_per_w(side**2, spec.plate_thickness_m, spec.plate_finish),
        rated_rise_k=None,
        mass_kg=side**2 * spec.plate_thickness_m * ALUMINIUM_DENSITY_KG_PER_M3,
        side_m=side,
    )


def _device(
    spec: HeatSpec,
    demand: HeatDemand,
    device: ThermalDevice,
    air_c: float,
    rise: Mapping[Level, float],
    rise_worst: float,
) -> DeviceHeat:
    def junction(sink_c: float, watts: float) -> float:
        return junction_temperature_c(sink_c, watts, device.rth_jc_k_per_w, device.interface_k_per_w, 0.0)

    return DeviceHeat(
        name=device.name,
        count=device.count,
        junction_c={level: junction(air_c + rise[level], _heat(device, level)) for level in Level},
        worst_c=junction(air_c + rise_worst, device.worst_w),
        trip_c=junction(demand.trip_c, device.worst_w),
        limit_c=device.tj_max_c,
        reserve_k=spec.junction_reserve_k,
    )


def _parts(
    demand: HeatDemand, sink: _Sink, library: Library, sink_c: float, limit_c: float
) -> tuple[PartUse, ...]:
    rating = Rating(
        quantity="sink temperature", unit="°C", applied=sink_c, limit=limit_c, at="hottest air, basis level"
    )
    record = sink.heatsink
    uses = [
        PartUse(
            role="heatsink",
            letter="MP",
            part_id=sink.id,
            description=sink.description,
            quantity=1,
            value=f"{sink.rated_k_per_w:.2g} K/W",
            ratings=(rating,),
            in_drawer=record is not None and library.in_drawer(record.id) > 0,
            provenance=record.provenance.document if record else "plate formula, Siemens and Valvo handbooks",
        )
    ]
    uses += [
        PartUse(
            role=f"insulating pad, {device.name}",
            letter="MP",
            part_id=f"pad {device.interface_k_per_w:g} K/W",
            description=f"insulating pad with its bush or clip, at most {device.interface_k_per_w:g} K/W",
            quantity=device.count,
            provenance="interface of the device on the heatsink",
        )
        for device in demand.devices
    ]
    return tuple(uses)


def _sources(sink: _Sink) -> tuple[str, ...]:
    return ("tip31-lecture", "valvo-plate" if sink.side_m is not None else "holman", "crc", "iec-62368-1")


def _reasons(
    spec: HeatSpec,
    demand: HeatDemand,
    sink: _Sink,
    rise_k: float,
    power_w: float,
    air_c: float,
    trip_s: float,
) -> tuple[str, ...]:
    level = "programme" if spec.basis == "programme" else "the least favourable sine"
    how = "the lightest that holds" if spec.heatsink == "auto" else "as stated"
    if sink.side_m is not None and spec.heatsink == "auto":
        how = "no finned heatsink at hand holds"
    lines = [
        f"{sink.description} ({how}): {power_w:.1f} W with {level} make it {rise_k:.0f} K warmer than "
        f"{air_c:.0f} °C air."
    ]
    if math.isinf(trip_s):
        lines.append("A continuous full sine stays below the thermal trip even in the hottest air.")
    else:
        lines.append(
            f"A continuous full sine from warm reaches the {demand.trip_c:.0f} °C trip in "
            f"{show(max(trip_s, 0.0), 'time')}."
        )
    return tuple(lines)
