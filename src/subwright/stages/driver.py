"""The driver: a complete, consistent parameter set for one driver or a group that moves as one."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, Final

from subwright.base.errors import NoSolutionError
from subwright.base.quantities import key_of, words_of
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import Driver
from subwright.physics.acoustics.completion import NAMES, complete
from subwright.physics.acoustics.parameters import (
    CoilWiring,
    Connection,
    DriverModel,
    compound_pair,
    efficiency_from_motor,
    grouped,
    piston_area_m2,
    rewired,
    sensitivity_db,
    strings_of,
)
from subwright.physics.acoustics.radiation import air_load_kg, level_from_power_db
from subwright.physics.acoustics.thermal import CoilThermal
from subwright.stages.common import Contributor, Loss, PartUse
from subwright.stages.driver_spec import DriverSpec
from subwright.stages.driver_text import basis_reason, disagreement, driver_part, show_value, word

__all__ = ["DriverResult", "DriverSpec", "Inconsistency", "design_driver"]

_RATED_OHM: Final = (1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 16.0)
_RE_SHARE = 0.75  # the lowest impedance lies a little above Re and must reach 80 % (IEC 60268-5)
_DISPLACEMENT_SHAPE = 0.25  # volume a driver takes over Sd^1.5
_COPPER_J_PER_KG_K = 385.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Inconsistency:
    """A stated value that the other stated values contradict."""

    quantity: str  # field name: "qts"
    stated: float
    implied: float
    relative_difference: float  # (stated − implied)/implied
    suspects: tuple[str, ...]  # field names; leaving out any single one of them settles the matter
    message: str


@dataclass(frozen=True, kw_only=True, slots=True)
class DriverResult:
    """The driver group as the enclosure and the amplifier see it; ``single_`` values are per driver."""

    part_id: str
    name: str
    count: int  # cones that the box sees; a compound pair is one
    pieces: int  # drivers to buy
    connection: Connection
    single_re_ohm: float
    single_power_w: float
    nominal_impedance_ohm: float  # of the group
    re_ohm: float
    fs_hz: float
    qms: float
    qes: float
    qts: float
    vas_m3: float
    sd_m2: float
    bl_tm: float
    mms_kg: float
    cms_m_per_n: float
    rms_kg_per_s: float
    le_h: float | None
    coil_factor: float  # K of K·(jω)ⁿ for the group, Ω·sⁿ
    coil_exponent: float
    efficiency: float  # reference efficiency, half space
    sensitivity_db: float  # at 1 m for 1 W into Re
    xmax_m: float
    xdamage_m: float | None
    vd_m3: float  # displaced volume at xmax, one way
    power_w: float  # rated noise power of the group
    rated_v: float  # rms voltage that is the rated power at the rated impedance
    thermal: CoilThermal | None  # of the group
    coil_max_c: float | None
    hole_m: float | None
    frame_m: float
    depth_m: float | None
    bolt_circle_m: float | None
    bolt_count: int
    bolt_hole_m: float
    outside_m: float  # how far a compound pair's outer driver stands out of the box
    displacement_m3: float  # of the group
    mass_kg: float | None  # of the group
    air_load_kg: float  # of the group, part of mms_kg
    basis: tuple[str, ...]  # stated values that the set is built on
    inconsistencies: tuple[Inconsistency, ...]
    inconsistency_limit: float
    parts: tuple[PartUse, ...]
    losses: tuple[Loss, ...] = ()
    contributors: tuple[Contributor, ...] = ()
    sources: tuple[str, ...]
    reasons: tuple[str, ...]

    @property
    def model(self) -> DriverModel:
        """Lumped elements of the group."""
        return DriverModel(
            re_ohm=self.re_ohm,
            bl_tm=self.bl_tm,
            mms_kg=self.mms_kg,
            cms_m_per_n=self.cms_m_per_n,
            rms_kg_per_s=self.rms_kg_per_s,
            sd_m2=self.sd_m2,
            coil_factor=self.coil_factor,
            coil_exponent=self.coil_exponent,
        )


_LIMIT = 0.03
_RECORD_FIELDS = frozenset(field.name for field in fields(Driver))


def design_driver(spec: DriverSpec, library: Library) -> DriverResult:
    """Complete the driver's parameters, check them against each other, and form the group.

    Values given in the spec go before those of the part's record.

    Parameters
    ----------
    spec : the builder's wishes.
    library : parts, with the drawer merged in.

    Returns
    -------
    DriverResult.

    Raises
    ------
    PartNotFoundError : unknown part id.
    NoSolutionError : parameters missing or impossible.
    RangeError : count and connection don't go together.

    Source
    ------
    [small-1972-direct] for the relations and for groups; [iec-60268-5] for rated impedance and power.
    """
    record = None if spec.part is None else library.driver(spec.part)
    own, known = _gather(spec, record)
    stated = {name: known[name] for name in NAMES if name in known}
    completion = complete(stated, trusted=[name for name in own if name in NAMES], tolerance=_LIMIT)
    values = completion.values
    reasons = [basis_reason(record, own, completion.basis)]

    inconsistencies = []
    for item in completion.disagreements:
        if record is not None and own.keys() & set(NAMES) and item.quantity not in own:
            reasons.append(
                f"Its {word(item.quantity)} of {show_value(item.quantity, item.stated)} no longer agrees "
                f"with the values given here, which imply {show_value(item.quantity, item.implied)}."
            )
            continue
        inconsistencies.append(
            Inconsistency(
                quantity=item.quantity,
                stated=item.stated,
                implied=item.implied,
                relative_difference=item.relative_difference,
                suspects=item.suspects,
                message=disagreement(item.quantity, item.stated, item.implied, item.suspects),
            )
        )

    _refuse_impossible(values, known)
    plain = _single(values, known, reasons)
    single = _unit(plain, spec, reasons)
    pair = 1 if spec.compound == "none" else 2
    power = known["power_w"] * (0.5 if spec.coils == 2 and _wiring(spec) == "one" else 1.0)
    connection: Connection = spec.connection if spec.connection != "auto" else _auto(spec.count)
    group = grouped(single, spec.count, connection)
    in_series, strings = strings_of(spec.count, connection)
    if spec.count > 1:
        reasons.append(
            f"{spec.count} drivers wired {connection}: {show(group.re_ohm, 'resistance')} DC, "
            f"{show(group.vas_m3(), 'volume')} Vas; they share one box and move as one."
        )
    rated_ohm = known.get("nominal_impedance_ohm") or _rated_impedance(plain.re_ohm, reasons)
    nominal = rated_ohm * single.re_ohm / plain.re_ohm * in_series / strings
    gained = efficiency_from_motor(group.bl_tm, group.sd_m2, group.re_ohm, group.mms_kg)
    gained /= efficiency_from_motor(plain.bl_tm, plain.sd_m2, plain.re_ohm, plain.mms_kg)
    frame = known.get("frame_m")
    if frame is None:
        frame = 1.18 * math.sqrt(4.0 * single.sd_m2 / math.pi)
        reasons.append(
            f"Frame diameter unknown: {show(frame, 'length')} by the piston's (common practice); measure."
        )
    return DriverResult(
        part_id=record.id if record is not None else "",
        name=record.id if record is not None else (spec.name or "driver by its parameters"),
        count=spec.count,
        pieces=spec.count * pair,
        connection=connection,
        single_re_ohm=plain.re_ohm,
        single_power_w=power,
        nominal_impedance_ohm=nominal,
        re_ohm=group.re_ohm,
        fs_hz=group.fs_hz,
        qms=group.qms,
        qes=group.qes,
        qts=group.qts,
        vas_m3=group.vas_m3(),
        sd_m2=group.sd_m2,
        bl_tm=group.bl_tm,
        mms_kg=group.mms_kg,
        cms_m_per_n=group.cms_m_per_n,
        rms_kg_per_s=group.rms_kg_per_s,
        le_h=_inductance_h(known, plain, group),
        coil_factor=group.coil_factor,
        coil_exponent=group.coil_exponent,
        efficiency=values["efficiency"] * gained,
        sensitivity_db=sensitivity_db(values["efficiency"] * gained),
        xmax_m=known["xmax_m"],
        xdamage_m=known.get("xdamage_m"),
        vd_m3=group.sd_m2 * known["xmax_m"],
        power_w=power * spec.count * pair,
        rated_v=math.sqrt(power * spec.count * pair * nominal),
        thermal=_thermal(known, power / known["power_w"], spec.count * pair, reasons),
        coil_max_c=known.get("coil_max_c"),
        hole_m=known.get("hole_m"),
        frame_m=frame,
        depth_m=known.get("depth_m"),
        bolt_circle_m=spec.bolt_circle_m,
        bolt_count=spec.bolt_count,
        bolt_hole_m=spec.bolt_hole_m,
        outside_m=0.0 if pair == 1 else _outside_m(known),
        displacement_m3=_displacement(known, single.sd_m2, reasons) * spec.count,
        mass_kg=known["mass_kg"] * spec.count * pair if "mass_kg" in known else None,
        air_load_kg=float(air_load_kg(single.sd_m2)) * spec.count,
        basis=completion.basis,
        inconsistencies=tuple(inconsistencies),
        inconsistency_limit=_LIMIT,
        parts=(driver_part(record, spec, library, spec.count * pair),),
        sources=("small-1972-direct", "beranek-mellow-2012", "iec-60268-5", "leach-2002"),
        reasons=tuple(reasons),
    )


def _gather(spec: DriverSpec, record: Driver | None) -> tuple[dict[str, float], dict[str, float]]:
    """Values of the spec, and the same over those of the record."""
    own: dict[str, float] = {}
    for name in spec.RULES:
        value: Any = getattr(spec, name)
        if value is not None:
            own[name] = float(value)
    if "piston_diameter_m" in own:
        if "sd_m2" in own:
            raise NoSolutionError(
                message="Give sd or piston_diameter, not both: one follows from the other.",
                quantity="sd",
                value=show(own["sd_m2"], "area"),
                remedy="Remove one of the two keys.",
            )
        own["sd_m2"] = piston_area_m2(own.pop("piston_diameter_m"))
    if "sensitivity_db" in own:
        own["efficiency"] = 10.0 ** ((own.pop("sensitivity_db") - float(level_from_power_db(1.0))) / 10.0)
    if ("k_le" in own) != ("n_le" in own):
        raise NoSolutionError(
            message="The lossy inductance K·(jω)ⁿ needs both k_le and n_le.",
            quantity="k_le, n_le",
            value="only one given",
            source="leach-2002",
            remedy="Give both, or le alone.",
        )
    known: dict[str, float] = {}
    if record is not None:
        for name in (*spec.RULES, "impedance_ohm"):
            if name in _RECORD_FIELDS and getattr(record, name) is not None:
                known[name] = float(getattr(record, name))
        known["nominal_impedance_ohm"] = known.pop("impedance_ohm")
        if "le_h" in own:  # a measured inductance replaces the record's other model of the same thing
            known.pop("k_le", None)
            known.pop("n_le", None)
    known.update(own)
    for name, remedy in (
        (
            "xmax_m",
            "Add the linear displacement; roughly (winding height − gap height)/2.",
        ),
        (
            "power_w",
            "Add the rated noise power; without it no limit of level can be given.",
        ),
    ):
        if name not in known:
            raise NoSolutionError(
                message=f"The driver's {words_of(name)} is missing.",
                quantity=f"driver.{key_of(name)}",
                value="none",
                limit="needed for the limits of level and power",
                source="iec-60268-5",
                remedy=remedy,
            )
    return own, known


def _single(values: Mapping[str, float], known: Mapping[str, float], reasons: list[str]) -> DriverModel:
    k, n = known.get("k_le"), known.get("n_le")
    if k is None or n is None:
        k, n = known.get("le_h", 0.0), 1.0
        if k > 0.0:
            reasons.append(
                "The coil's inductance is taken as lossless: no lossy-inductance values are given."
            )
        else:
            reasons.append("No inductance given: the coil is taken as a resistance.")
    return DriverModel(
        re_ohm=values["re_ohm"],
        bl_tm=values["bl_tm"],
        mms_kg=values["mms_kg"],
        cms_m_per_n=values["cms_m_per_n"],
        rms_kg_per_s=values["rms_kg_per_s"],
        sd_m2=values["sd_m2"],
        coil_factor=k,
        coil_exponent=n,
    )


def _wiring(spec: DriverSpec) -> CoilWiring:
    return spec.coils_stated if spec.coils_wired == "auto" else spec.coils_wired


def _unit(plain: DriverModel, spec: DriverSpec, reasons: list[str]) -> DriverModel:
    """What one place on the box holds: a driver with its coils as wired, or a compound pair of them."""
    model = plain
    if spec.coils == 2:
        model = rewired(model, spec.coils_stated, _wiring(spec))
        how = "one coil, the other open" if _wiring(spec) == "one" else f"both coils in {_wiring(spec)}"
        reasons.append(f"Wired with {how}: {show(model.re_ohm, 'resistance')} DC per driver.")
    elif spec.coils_wired != "auto":
        raise NoSolutionError(
            message="A driver with one coil leaves nothing to wire.",
            quantity="driver.coils_wired",
            value=spec.coils_wired,
            limit="a driver with two coils",
            remedy="Write coils = 2, or remove coils_wired.",
        )
    if spec.compound != "none":
        model = compound_pair(model, spec.compound)
        reasons.append(
            f"Compound pair, face to face, coils in {spec.compound}, the outer one reversed: Vas halves to "
            f"{show(model.vas_m3(), 'volume')}, efficiency too."
        )
    return model


def _inductance_h(known: Mapping[str, float], plain: DriverModel, group: DriverModel) -> float | None:
    if "le_h" not in known:
        return None
    if plain.coil_factor == 0.0:
        return 0.0
    return known["le_h"] * group.coil_factor / plain.coil_factor


def _outside_m(known: Mapping[str, float]) -> float:
    if "depth_m" not in known:
        raise NoSolutionError(
            message="The outer driver of a compound pair stands out of the box; its depth is unknown.",
            quantity="driver.depth",
            value="none",
            remedy="Measure the driver from flange to magnet and give driver.depth.",
        )
    return known["depth_m"]


def _refuse_impossible(values: Mapping[str, float], known: Mapping[str, float]) -> None:
    load = float(air_load_kg(values["sd_m2"]))
    if values["mms_kg"] <= load:
        raise NoSolutionError(
            message="The moving mass is below that of the air which the cone must push.",
            quantity="moving mass",
            value=show(values["mms_kg"], "mass"),
            limit=f"above {show(load, 'mass')}",
            source="beranek-mellow-2012",
            remedy="Check fs, Vas and Sd: Sd in m² and Vas in litres are often mixed up.",
        )
    if values["efficiency"] >= 0.25:
        raise NoSolutionError(
            message="The parameters imply an efficiency that no direct radiator reaches.",
            quantity="reference efficiency",
            value=show(values["efficiency"], "share"),
            limit="25 %",
            source="keele-1991",
            remedy="Check fs, Vas and Qes for a slip of a power of ten.",
        )
    damage = known.get("xdamage_m")
    if damage is not None and damage <= known["xmax_m"]:
        raise NoSolutionError(
            message="The displacement that damages must lie above the linear displacement.",
            quantity="xdamage",
            value=show(damage, "length"),
            limit=f"above {show(known['xmax_m'], 'length')}",
            remedy="Both are one way from rest; a figure from edge to edge is twice that.",
        )


def _thermal(known: Mapping[str, float], share: float, pieces: int, reasons: list[str]) -> CoilThermal | None:
    coil, magnet = known.get("rth_coil_k_per_w"), known.get("rth_magnet_k_per_w")
    tau_coil, tau_magnet = known.get("tau_coil_s"), known.get("tau_magnet_s")
    if coil is not None and tau_coil is None and "coil_mass_kg" in known:
        tau_coil = coil * known["coil_mass_kg"] * _COPPER_J_PER_KG_K
    if coil is None or magnet is None or tau_coil is None or tau_magnet is None:
        reasons.append("The coil's thermal data are incomplete: no coil temperature is worked out.")
        return None
    return CoilThermal(
        coil_k_per_w=coil / (share * pieces),  # share: the part of each winding that is in use
        coil_j_per_k=tau_coil / coil * share * pieces,
        magnet_k_per_w=magnet / pieces,
        magnet_j_per_k=tau_magnet / magnet * pieces,
    )


def _displacement(known: Mapping[str, float], sd_m2: float, reasons: list[str]) -> float:
    if "displacement_m3" in known:
        return known["displacement_m3"]
    volume = float(_DISPLACEMENT_SHAPE * sd_m2**1.5)
    reasons.append(
        f"Volume that the driver takes from the box: {show(volume, 'volume')} by its size (common practice)."
    )
    return volume


def _rated_impedance(re_ohm: float, reasons: list[str]) -> float:
    rated = max((z for z in _RATED_OHM if z * _RE_SHARE <= re_ohm), default=_RATED_OHM[0])
    reasons.append(
        f"Rated impedance {show(rated, 'resistance')}, the largest step of which the DC resistance of "
        f"{show(re_ohm, 'resistance')} is {_RE_SHARE:.0%} or more (common practice)."
    )
    return rated


def _auto(count: int) -> Connection:
    return "single" if count == 1 else "parallel"
