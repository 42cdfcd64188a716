"""The starter library: part records by kind and id, read from ``data/*.toml`` on first use of each kind."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from functools import cache, cached_property
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, TypeVar, cast

from subwright.base.errors import PartNotFoundError
from subwright.parts.schema import (
    KINDS,
    Capacitor,
    Comparator,
    Controller,
    Core,
    Driver,
    FastComparator,
    GateDriver,
    Heatsink,
    Insulator,
    Material,
    Mosfet,
    Ntc,
    OpAmp,
    Record,
    Rectifier,
    Reference,
    Relay,
    SchmittInverter,
    Suppressor,
    Transistor,
    Wire,
    Zener,
)
from subwright.parts.tables import library_records

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from subwright.parts.stock import Drawer, ValueStock

__all__ = ["Library", "load_library", "near_ids"]

R = TypeVar("R", bound=Record)

_NAMES = {
    "op_amp": "op-amp",
    "mosfet": "MOSFET",
    "ntc": "NTC thermistor",
    "zener": "zener diode",
    "suppressor": "suppressor diode",
    "fast_comparator": "fast comparator",
    "schmitt_inverter": "Schmitt-trigger inverter",
    "gate_driver": "gate driver",
}


def _holds(stocks: Iterable[ValueStock], value: float, tolerance: float) -> bool:
    return any(s.tolerance <= tolerance * (1 + 1e-9) and s.holds(value) for s in stocks)


class Library:
    """Parts by kind: ``library.cores["R36/23/15-N87"]``, or ``library.core(id)`` with near-miss hints.

    A library is read-only. :meth:`with_drawer` gives a new one that also holds a drawer's own records and
    knows how many of each part are at hand; the drawer's record wins where both have the same id.
    """

    def __init__(self, drawer: Drawer | None = None) -> None:
        self._drawer = drawer

    @property
    def drawer(self) -> Drawer | None:
        """The drawer merged in, or None."""
        return self._drawer

    def with_drawer(self, drawer: Drawer) -> Library:
        """Return this library with a drawer's own records and stock merged in.

        Raises
        ------
        InputError : the drawer counts a part that neither it nor the library knows.
        """
        merged = Library(drawer)
        drawer.check_references(merged)
        return merged

    def with_mosfets_from(self, vds_v: float) -> Library:
        """Return this library without the MOSFETs that stand less.

        Parameters
        ----------
        vds_v : least drain-source rating, V.
        """
        kept = {name: record for name, record in self.mosfets.items() if record.vds_v >= vds_v}
        narrowed = Library(self._drawer)
        vars(narrowed)["mosfets"] = MappingProxyType(kept)
        return narrowed

    @property
    def resistors(self) -> tuple[ValueStock, ...]:
        """Resistor stocks at hand; empty where there is no drawer."""
        return self._drawer.resistors if self._drawer else ()

    @property
    def capacitor_values(self) -> tuple[ValueStock, ...]:
        """Stocks of plain capacitors at hand; empty where there is no drawer."""
        return self._drawer.capacitors if self._drawer else ()

    def has_resistor(self, ohm: float, tolerance: float) -> bool:
        """Whether a resistor of this value, Ω, is at hand, its tolerance (a fraction) no worse than this."""
        return _holds(self.resistors, ohm, tolerance)

    def has_capacitor(self, farad: float, tolerance: float) -> bool:
        """Whether a capacitor of this value, F, is at hand, its tolerance (a fraction) no worse than this."""
        return _holds(self.capacitor_values, farad, tolerance)

    def in_drawer(self, part_id: str) -> int:
        """How many of a part are at hand; 0 where there is no drawer."""
        return self._drawer.quantities.get(part_id, 0) if self._drawer else 0

    def kind(self, name: str) -> Mapping[str, Record]:
        """All records of a kind by id; ``name`` is a key of :data:`subwright.parts.schema.KINDS`."""
        own = self._drawer.records.get(name, {}) if self._drawer else {}
        base = library_records(name)
        return MappingProxyType({**base, **own}) if own else base

    def find(self, name: str, part_id: str) -> Record:
        """Record of a kind by id.

        Raises
        ------
        PartNotFoundError : no such part; carries the ids that look like it.
        """
        records = self.kind(name)
        record = records.get(part_id)
        if record is not None:
            return record
        near = near_ids(part_id, records)
        label = _NAMES.get(name, name)
        elsewhere = next((k for k in KINDS if k != name and part_id in self.kind(k)), "")
        if elsewhere:
            remedy = f"{part_id} is a {_NAMES.get(elsewhere, elsewhere)}; name a {label}."
        elif near:
            remedy = f"Did you mean {' or '.join(near)}? Or add the part to your drawer file."
        else:
            remedy = "Add the part to your drawer file with the values from its sheet."
        raise PartNotFoundError(
            message=f"There is no {label} {part_id!r} in the drawer or the library.",
            quantity=label,
            value=part_id,
            remedy=remedy,
            near=near,
        )

    @cached_property
    def materials(self) -> Mapping[str, Material]:
        """Core materials by grade."""
        return cast("Mapping[str, Material]", self.kind("material"))

    @cached_property
    def cores(self) -> Mapping[str, Core]:
        """Cores and core sets by id, ``size-grade``."""
        return cast("Mapping[str, Core]", self.kind("core"))

    @cached_property
    def wires(self) -> Mapping[str, Wire]:
        """Winding wire, litz, foil and hook-up wire."""
        return cast("Mapping[str, Wire]", self.kind("wire"))

    @cached_property
    def mosfets(self) -> Mapping[str, Mosfet]:
        """Power MOSFETs."""
        return cast("Mapping[str, Mosfet]", self.kind("mosfet"))

    @cached_property
    def rectifiers(self) -> Mapping[str, Rectifier]:
        """Power rectifiers."""
        return cast("Mapping[str, Rectifier]", self.kind("rectifier"))

    @cached_property
    def capacitors(self) -> Mapping[str, Capacitor]:
        """Capacitors that carry current."""
        return cast("Mapping[str, Capacitor]", self.kind("capacitor"))

    @cached_property
    def op_amps(self) -> Mapping[str, OpAmp]:
        """Operational amplifiers."""
        return cast("Mapping[str, OpAmp]", self.kind("op_amp"))

    @cached_property
    def comparators(self) -> Mapping[str, Comparator]:
        """Comparators."""
        return cast("Mapping[str, Comparator]", self.kind("comparator"))

    @cached_property
    def fast_comparators(self) -> Mapping[str, FastComparator]:
        """Fast comparators with ground pins of their own."""
        return cast("Mapping[str, FastComparator]", self.kind("fast_comparator"))

    @cached_property
    def schmitt_inverters(self) -> Mapping[str, SchmittInverter]:
        """Inverters with Schmitt-trigger inputs."""
        return cast("Mapping[str, SchmittInverter]", self.kind("schmitt_inverter"))

    @cached_property
    def gate_drivers(self) -> Mapping[str, GateDriver]:
        """Half-bridge drivers."""
        return cast("Mapping[str, GateDriver]", self.kind("gate_driver"))

    @cached_property
    def controllers(self) -> Mapping[str, Controller]:
        """PWM controllers with two outputs."""
        return cast("Mapping[str, Controller]", self.kind("controller"))

    @cached_property
    def references(self) -> Mapping[str, Reference]:
        """Shunt references."""
        return cast("Mapping[str, Reference]", self.kind("reference"))

    @cached_property
    def transistors(self) -> Mapping[str, Transistor]:
        """Small bipolar transistors."""
        return cast("Mapping[str, Transistor]", self.kind("transistor"))

    @cached_property
    def zeners(self) -> Mapping[str, Zener]:
        """Voltage-regulator diodes."""
        return cast("Mapping[str, Zener]", self.kind("zener"))

    @cached_property
    def ntcs(self) -> Mapping[str, Ntc]:
        """NTC thermistors."""
        return cast("Mapping[str, Ntc]", self.kind("ntc"))

    @cached_property
    def heatsinks(self) -> Mapping[str, Heatsink]:
        """Heatsinks."""
        return cast("Mapping[str, Heatsink]", self.kind("heatsink"))

    @cached_property
    def insulators(self) -> Mapping[str, Insulator]:
        """Insulating pads."""
        return cast("Mapping[str, Insulator]", self.kind("insulator"))

    @cached_property
    def suppressors(self) -> Mapping[str, Suppressor]:
        """Suppressor diodes."""
        return cast("Mapping[str, Suppressor]", self.kind("suppressor"))

    @cached_property
    def relays(self) -> Mapping[str, Relay]:
        """Relays."""
        return cast("Mapping[str, Relay]", self.kind("relay"))

    @cached_property
    def drivers(self) -> Mapping[str, Driver]:
        """Loudspeaker drivers."""
        return cast("Mapping[str, Driver]", self.kind("driver"))

    def material(self, part_id: str) -> Material:
        """Core material by grade; PartNotFoundError with near misses."""
        return cast("Material", self.find("material", part_id))

    def core(self, part_id: str) -> Core:
        """Core by id; PartNotFoundError with near misses."""
        return cast("Core", self.find("core", part_id))

    def wire(self, part_id: str) -> Wire:
        """Wire by id; PartNotFoundError with near misses."""
        return cast("Wire", self.find("wire", part_id))

    def mosfet(self, part_id: str) -> Mosfet:
        """MOSFET by id; PartNotFoundError with near misses."""
        return cast("Mosfet", self.find("mosfet", part_id))

    def rectifier(self, part_id: str) -> Rectifier:
        """Rectifier by id; PartNotFoundError with near misses."""
        return cast("Rectifier", self.find("rectifier", part_id))

    def capacitor(self, part_id: str) -> Capacitor:
        """Capacitor by id; PartNotFoundError with near misses."""
        return cast("Capacitor", self.find("capacitor", part_id))

    def op_amp(self, part_id: str) -> OpAmp:
        """Op-amp by id; PartNotFoundError with near misses."""
        return cast("OpAmp", self.find("op_amp", part_id))

    def comparator(self, part_id: str) -> Comparator:
        """Comparator by id; PartNotFoundError with near misses."""
        return cast("Comparator", self.find("comparator", part_id))

    def fast_comparator(self, part_id: str) -> FastComparator:
        """Fast comparator by id; PartNotFoundError with near misses."""
        return cast("FastComparator", self.find("fast_comparator", part_id))

    def schmitt_inverter(self, part_id: str) -> SchmittInverter:
        """Schmitt-trigger inverter by id; PartNotFoundError with near misses."""
        return cast("SchmittInverter", self.find("schmitt_inverter", part_id))

    def gate_driver(self, part_id: str) -> GateDriver:
        """Gate driver by id; PartNotFoundError with near misses."""
        return cast("GateDriver", self.find("gate_driver", part_id))

    def controller(self, part_id: str) -> Controller:
        """Controller by id; PartNotFoundError with near misses."""
        return cast("Controller", self.find("controller", part_id))

    def reference(self, part_id: str) -> Reference:
        """Shunt reference by id; PartNotFoundError with near misses."""
        return cast("Reference", self.find("reference", part_id))

    def transistor(self, part_id: str) -> Transistor:
        """Transistor by id; PartNotFoundError with near misses."""
        return cast("Transistor", self.find("transistor", part_id))

    def zener(self, part_id: str) -> Zener:
        """Zener diode by id; PartNotFoundError with near misses."""
        return cast("Zener", self.find("zener", part_id))

    def ntc(self, part_id: str) -> Ntc:
        """Thermistor by id; PartNotFoundError with near misses."""
        return cast("Ntc", self.find("ntc", part_id))

    def heatsink(self, part_id: str) -> Heatsink:
        """Heatsink by id; PartNotFoundError with near misses."""
        return cast("Heatsink", self.find("heatsink", part_id))

    def insulator(self, part_id: str) -> Insulator:
        """Insulating pad by id; PartNotFoundError with near misses."""
        return cast("Insulator", self.find("insulator", part_id))

    def suppressor(self, part_id: str) -> Suppressor:
        """Suppressor diode by id; PartNotFoundError with near misses."""
        return cast("Suppressor", self.find("suppressor", part_id))

    def relay(self, part_id: str) -> Relay:
        """Relay by id; PartNotFoundError with near misses."""
        return cast("Relay", self.find("relay", part_id))

    def driver(self, part_id: str) -> Driver:
        """Driver by id; PartNotFoundError with near misses."""
        return cast("Driver", self.find("driver", part_id))

    def core_columns(self, ids: tuple[str, ...] | None = None) -> Mapping[str, NDArray[Any]]:
        """Cores as columns for searches over all of them at once.

        Parameters
        ----------
        ids : cores wanted, in this order; None: all.

        Returns
        -------
        Arrays of one length: "id" and "material" and "shape" (text), "in_drawer" (int), and each float
        field of :class:`Core` (SI, NaN only where the record has None).
        """
        columns = dict(self.columns("core", ids))
        columns["in_drawer"] = _array([self.in_drawer(i) for i in columns["id"]], int)
        return MappingProxyType(columns)

    def columns(self, name: str, ids: tuple[str, ...] | None = None) -> Mapping[str, NDArray[Any]]:
        """Records of a kind as columns: one array per text, number or switch field, in order of ``ids``.

        Parameters
        ----------
        name : kind. ids : records wanted; None: all.

        Raises
        ------
        PartNotFoundError : one of ``ids`` is unknown.
        """
        from subwright.parts.reader import rules_of

        records = self.kind(name)
        chosen = list(records.values()) if ids is None else [self.find(name, i) for i in ids]
        dtypes: dict[str, type] = {"float": float, "int": int, "bool": bool, "str": str, "choice": str}
        out = {
            rule.name: _array([getattr(r, rule.name) for r in chosen], dtypes[rule.form])
            for rule in rules_of(KINDS[name]).values()
            if rule.form in dtypes and rule.name not in ("description", "provenance")
        }
        return MappingProxyType(out)


def _array(values: list[Any], dtype: type) -> NDArray[Any]:
    import numpy as np

    array: NDArray[Any] = np.array(values, dtype=dtype)  # None becomes NaN
    array.flags.writeable = False
    return array


def near_ids(part_id: str, known: Mapping[str, object]) -> tuple[str, ...]:
    """Up to three known ids that look like ``part_id``, compared without case, blanks and dashes."""
    from difflib import get_close_matches

    plain = {_plain(i): i for i in known}
    wanted = _plain(part_id)
    starts = [plain[p] for p in plain if wanted and p.startswith(wanted)]
    close = [plain[p] for p in get_close_matches(wanted, plain, n=3, cutoff=0.6)]
    return tuple(dict.fromkeys([*close, *starts]))[:3]


def _plain(text: str) -> str:
    return re.sub(r"[\s_-]+", "", text).lower()


@cache
def load_library() -> Library:
    """Return the starter library; each kind is read when first asked for, then kept."""
    return Library()
