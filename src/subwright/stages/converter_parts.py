"""Choosing switches, rectifiers and capacitors for the converter from the drawer and the library."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import ceil, inf

from subwright.base.errors import NoSolutionError
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import Capacitor, Mosfet, Rectifier
from subwright.physics.gate_drive import negative_charge_coul, turn_off_charge_coul
from subwright.physics.switching import recovery_loss_w
from subwright.stages.converter_drive import plateau_v

__all__ = [
    "CapacitorBank",
    "RectifierChoice",
    "SwitchChoice",
    "choose_bank",
    "choose_rectifier",
    "choose_switch",
    "hot_resistance",
]

_MOST_PARALLEL = 4
_MOST_CANS = 12


def hot_resistance(mosfet: Mosfet, junction_c: float) -> float:
    """On resistance at a junction temperature, exponential through the record's 25 and 100 °C values.

    Parameters
    ----------
    mosfet : the record.
    junction_c : junction temperature, °C.

    Returns
    -------
    resistance, ohm.
    """
    return float(mosfet.rds_on_ohm * mosfet.rds_hot_ratio ** ((junction_c - 25.0) / 75.0))


@dataclass(frozen=True, kw_only=True, slots=True)
class SwitchChoice:
    """A MOSFET and how many of it work in parallel on each side."""

    mosfet: Mosfet
    per_side: int
    loss_w: float  # of the whole converter, at the currents that it was chosen for
    candidates: tuple[str, ...]  # next best ids


def choose_switch(
    library: Library,
    wanted: str,
    per_side: int | None,
    voltage_v: float,
    rms_a: float,
    switching_hz: float,
    drive_v: float,
    off_v: float,
    end_a: float,
    drive_a: float,
    junction_c: float,
    loss_limit_w: float,
    legs: int = 2,
) -> SwitchChoice:
    """Choose the N-channel switch of a push-pull side by voltage first, then by loss.

    Parameters
    ----------
    library : parts, with the drawer merged.
    wanted : "auto" or a part id.
    per_side : devices in parallel per side, or None to choose 1 to 4.
    voltage_v : drain voltage to stand, spike included, V.
    rms_a : rms current of one side, A.
    switching_hz : full cycle, Hz. drive_v : gate drive, V. off_v : drain voltage at turn-off, V.
    end_a : current at turn-off, A. drive_a : peak gate current available for one side's gates, A.
    junction_c : junction temperature assumed, °C.
    loss_limit_w : the loss of one device must stay below this, W.
    legs : groups of devices, 2 for a push-pull, 4 for a full bridge.

    Returns
    -------
    SwitchChoice : from the drawer where one there will do, else the least total loss with a small charge
        for each further device.

    Raises
    ------
    NoSolutionError : no device stands the voltage or carries the current.
    """
    if wanted != "auto":
        pool: Iterable[Mosfet] = (library.mosfet(wanted),)
    else:
        pool = (m for m in library.mosfets.values() if m.channel == "n" and m.vds_v >= voltage_v)
    ranked: list[tuple[bool, float, str, Mosfet, int, float]] = []
    for mosfet in pool:
        hot_ohm, have = hot_resistance(mosfet, junction_c), library.in_drawer(mosfet.id)
        sink_a = drive_a * min(1.0, plateau_v(mosfet) / drive_v)
        charge = turn_off_charge_coul(mosfet.qgs_coul, mosfet.qgd_coul)
        # A bridge's gates hang on a transformer, which takes them below their sources as well.
        below = negative_charge_coul(mosfet.qgs_coul, plateau_v(mosfet), drive_v) if legs > 2 else 0.0
        for count in range(1, _MOST_PARALLEL + 1) if per_side is None else (per_side,):
            device_rms = rms_a / count
            conduction = legs * count * device_rms**2 * hot_ohm
            overlap = 0.5 * legs * switching_hz * off_v * end_a * charge * count / sink_a
            gate = legs * count * (mosfet.qg_coul + below) * drive_v * switching_hz
            loss = conduction + overlap + gate
            fits = loss / (legs * count) <= loss_limit_w and device_rms <= 0.6 * mosfet.id_a
            if not fits and wanted == "auto" and per_side is None:
                continue
            at_hand = have >= legs * count
            # Each further pair costs board, heatsink and drive: charged as 1.5 W.
            ranked.append((not at_hand, loss + 3.0 * count, mosfet.id, mosfet, count, loss))
    if not ranked:
        best = max((m.vds_v for m in library.mosfets.values() if m.channel == "n"), default=0.0)
        raise NoSolutionError(
            message="No MOSFET in the drawer or library can switch this primary.",
            quantity="drain voltage and current",
            value=f"{show(voltage_v, 'voltage')} at {show(rms_a, 'current')} rms a side",
            limit=f"highest rating at hand {show(best, 'voltage')}, at most {_MOST_PARALLEL} in parallel",
            source="parts library and drawer",
            remedy=_switch_remedy(voltage_v, best, legs),
            code="CNV-03",
        )
    ranked.sort(key=lambda row: row[:3])
    _, _, _, mosfet, count, loss = ranked[0]
    others = tuple(dict.fromkeys(row[2] for row in ranked if row[2] != mosfet.id))[:4]
    return SwitchChoice(mosfet=mosfet, per_side=count, loss_w=loss, candidates=others)


def _switch_remedy(voltage_v: float, best_v: float, legs: int) -> str:
    """What would have to change, and by how much."""
    if voltage_v > best_v:
        short = f"The rating is {show(voltage_v - best_v, 'voltage')} short: "
        if legs == 2:
            return (
                short + 'set converter.topology = "full-bridge", lower converter.spike_allowance, or add '
                "such a MOSFET to the drawer."
            )
        return short + "add such a MOSFET to the drawer."
    return "Lower goal.power, add a MOSFET of less resistance to the drawer, or use a higher battery voltage."


@dataclass(frozen=True, kw_only=True, slots=True)
class RectifierChoice:
    """The diodes of the rail bridge: four legs in ``packages`` cases."""

    rectifier: Rectifier
    packages: int
    partner: Rectifier | None  # common-anode twin where two dual cases form the bridge
    candidates: tuple[str, ...]


def choose_rectifier(
    library: Library, wanted: str, reverse_v: float, average_a: float, peak_a: float, switching_hz: float
) -> RectifierChoice:
    """Choose the rail rectifier by reverse voltage, current and loss.

    Parameters
    ----------
    library : parts, with the drawer merged.
    wanted : "auto" or a part id.
    reverse_v : reverse voltage to stand, ringing included, V.
    average_a : mean current of one leg at full sine, A.
    peak_a : crest of the leg's pulse current, A. switching_hz : full cycle, Hz.

    Returns
    -------
    RectifierChoice.

    Raises
    ------
    NoSolutionError : none stands the voltage and current.
    """
    pool: Iterable[Rectifier]
    if wanted != "auto":
        pool = (library.rectifier(wanted),)
    else:
        pool = (r for r in library.rectifiers.values() if r.vrrm_v >= reverse_v and r.if_a >= 1.5 * average_a)
    ranked: list[tuple[bool, float, str, Rectifier, Rectifier | None, int]] = []
    for part in pool:
        partner = None
        if part.legs == 2 and part.common == "cathode":
            partner = next(
                (
                    other
                    for other in library.rectifiers.values()
                    if other.legs == 2
                    and other.common == "anode"
                    and other.vrrm_v >= min(part.vrrm_v, reverse_v)
                    and other.if_a >= 1.5 * average_a
                ),
                None,
            )
        if part.legs == 2 and part.common == "anode" and wanted == "auto":
            continue  # reached through its common-cathode twin
        # A dual case without a twin of the other polarity serves one leg pair in parallel.
        packages = 2 if partner is not None else 4
        loss = 4 * (part.vf0_v * average_a + part.rd_ohm * average_a * peak_a)
        # Stored charge goes with the current; it is stated at the rated one.
        recovery = 4 * recovery_loss_w(reverse_v, part.qrr_coul, switching_hz) * 2 * average_a / part.if_a
        at_hand = library.in_drawer(part.id) >= (1 if partner is not None else 4)
        ranked.append((not at_hand, loss + recovery + 0.5 * packages, part.id, part, partner, packages))
    if not ranked:
        raise NoSolutionError(
            message="No rectifier in the drawer or library stands these rails.",
            quantity="reverse voltage",
            value=f"{show(reverse_v, 'voltage')} at {show(average_a, 'current')} mean a leg",
            limit="the highest-rated rectifier at hand",
            source="parts library and drawer",
            remedy=_rectifier_remedy(library, reverse_v, average_a),
            code="CNV-06",
        )
    ranked.sort(key=lambda row: row[:3])
    _, _, _, part, partner, packages = ranked[0]
    others = tuple(row[2] for row in ranked[1:5])
    return RectifierChoice(rectifier=part, packages=packages, partner=partner, candidates=others)


def _rectifier_remedy(library: Library, reverse_v: float, average_a: float) -> str:
    """What would have to change, and by how much."""
    best_v = max((r.vrrm_v for r in library.rectifiers.values()), default=0.0)
    rating = f"{show(reverse_v, 'voltage')} and {show(1.5 * average_a, 'current')}"
    asked = f"Add a rectifier of {rating} to the drawer"
    if reverse_v > best_v:
        return (
            f"{asked}, or lower goal.power to {100 * (best_v / reverse_v) ** 2:.0f} %: the rail goes with it."
        )
    best_a = max(r.if_a for r in library.rectifiers.values() if r.vrrm_v >= reverse_v)
    return f"{asked}, or lower goal.power to {100 * best_a / (1.5 * average_a):.0f} %."


@dataclass(frozen=True, kw_only=True, slots=True)
class CapacitorBank:
    """Equal capacitors in parallel."""

    capacitor: Capacitor
    count: int
    candidates: tuple[str, ...]

    @property
    def capacitance_f(self) -> float:
        """Nominal capacitance of the bank, F."""
        return self.count * self.capacitor.capacitance_f

    @property
    def esr_ohm(self) -> float:
        """Series resistance of the bank, ohm."""
        return self.capacitor.esr_ohm / self.count

    @property
    def ripple_limit_a(self) -> float:
        """Ripple current that the bank stands at its rated temperature, A rms."""
        return self.count * (self.capacitor.ripple_a or inf)


def choose_bank(
    library: Library,
    wanted: str,
    role: str,
    capacitance_f: float,
    voltage_v: float,
    ripple_a: float,
) -> CapacitorBank:
    """Choose equal electrolytics in parallel for capacitance, voltage and ripple current.

    Parameters
    ----------
    library : parts, with the drawer merged.
    wanted : "auto" or a part id.
    role : for the error text ("input capacitors").
    capacitance_f : least capacitance with the parts' minus tolerance counted, F.
    voltage_v : least rated voltage, V.
    ripple_a : ripple current of the bank, A rms.

    Returns
    -------
    CapacitorBank : from the drawer where enough are there, else the least can volume.

    Raises
    ------
    NoSolutionError : no bank of up to ten cans will do.
    """
    pool: Iterable[Capacitor]
    if wanted != "auto":
        pool = (library.capacitor(wanted),)
    else:
        pool = (
            c
            for c in library.capacitors.values()
            if c.technology == "electrolytic" and c.voltage_v >= voltage_v and c.ripple_a is not None
        )
    ranked: list[tuple[bool, float, str, Capacitor, int]] = []
    for part in pool:
        by_value = capacitance_f / (part.capacitance_f * (1.0 - part.tolerance))
        by_ripple = ripple_a / (part.ripple_a or inf)
        count = max(1, ceil(max(by_value, by_ripple) - 1e-9))
        if count > _MOST_CANS and wanted == "auto":
            continue
        at_hand = library.in_drawer(part.id) >= count
        volume = count * (part.diameter_m**2 * part.height_m * 1e6 + 2.0)
        ranked.append((not at_hand, volume, part.id, part, count))
    if not ranked:
        raise _no_bank(library, role, capacitance_f, voltage_v, ripple_a)
    ranked.sort(key=lambda row: row[:3])
    _, _, _, part, count = ranked[0]
    return CapacitorBank(capacitor=part, count=count, candidates=tuple(row[2] for row in ranked[1:5]))


def _no_bank(
    library: Library, role: str, capacitance_f: float, voltage_v: float, ripple_a: float
) -> NoSolutionError:
    """What the largest bank at hand lacks, and what would do instead."""
    high = [
        c
        for c in library.capacitors.values()
        if c.technology == "electrolytic" and c.voltage_v >= voltage_v and c.ripple_a is not None
    ]
    asked = (
        f"{show(capacitance_f, 'capacitance')}, {show(voltage_v, 'voltage')}, {show(ripple_a, 'current')} rms"
    )
    if not high:
        best = max(
            (c.voltage_v for c in library.capacitors.values() if c.technology == "electrolytic"), default=0.0
        )
        limit = f"{show(best, 'voltage')}, the highest rating at hand"
        remedy = (
            f"Add an electrolytic of at least {show(voltage_v, 'voltage')} to the drawer, or lower the "
            f"voltage to {100 * best / voltage_v:.0f} %."
        )
    else:
        most_f = _MOST_CANS * max(c.capacitance_f * (1.0 - c.tolerance) for c in high)
        most_a = _MOST_CANS * max(c.ripple_a or 0.0 for c in high)
        share = min(most_f / capacitance_f, most_a / ripple_a)
        limit = (
            f"{_MOST_CANS} cans: {show(most_f, 'capacitance')} of the largest, {show(most_a, 'current')} rms "
            "of the strongest"
        )
        remedy = (
            f"Add a capacitor of at least {show(capacitance_f / _MOST_CANS, 'capacitance')} and "
            f"{show(ripple_a / _MOST_CANS, 'current')} rms to the drawer, use a higher battery voltage, or "
            f"lower goal.power to {100 * share:.0f} % or less."
        )
    return NoSolutionError(
        message=f"No bank of up to {_MOST_CANS} electrolytics will do for the {role}.",
        quantity="capacitance, voltage, ripple",
        value=asked,
        limit=limit,
        source="parts library and drawer",
        remedy=remedy,
        code="CNV-08" if role == "input capacitors" else "CNV-09",
    )
