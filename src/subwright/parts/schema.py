"""The part records in one place: one frozen dataclass per kind of part.

Fields are SI with a unit suffix; each carries its plausible range. See :mod:`subwright.parts` on how to add
a record.
"""

from typing import Final

from subwright.parts.integrated import Comparator, Controller, OpAmp, Reference
from subwright.parts.magnetic import Core, Material, MaterialFamily, SteinmetzFit, Wire
from subwright.parts.passive import Capacitor, Driver, Heatsink, Ntc
from subwright.parts.protective import Relay, Suppressor
from subwright.parts.record import Bounds, Provenance, ProvenanceKind, Record
from subwright.parts.semiconductor import Insulator, Mosfet, Rectifier, Transistor, Zener
from subwright.parts.switching import FastComparator, GateDriver, SchmittInverter

__all__ = [
    "KINDS",
    "Bounds",
    "Capacitor",
    "Comparator",
    "Controller",
    "Core",
    "Driver",
    "FastComparator",
    "GateDriver",
    "Heatsink",
    "Insulator",
    "Material",
    "MaterialFamily",
    "Mosfet",
    "Ntc",
    "OpAmp",
    "Provenance",
    "ProvenanceKind",
    "Record",
    "Rectifier",
    "Reference",
    "Relay",
    "SchmittInverter",
    "SteinmetzFit",
    "Suppressor",
    "Transistor",
    "Wire",
    "Zener",
]

KINDS: Final[dict[str, type[Record]]] = {
    "material": Material,
    "core": Core,
    "wire": Wire,
    "mosfet": Mosfet,
    "rectifier": Rectifier,
    "capacitor": Capacitor,
    "op_amp": OpAmp,
    "comparator": Comparator,
    "fast_comparator": FastComparator,
    "schmitt_inverter": SchmittInverter,
    "gate_driver": GateDriver,
    "controller": Controller,
    "reference": Reference,
    "transistor": Transistor,
    "zener": Zener,
    "suppressor": Suppressor,
    "relay": Relay,
    "ntc": Ntc,
    "heatsink": Heatsink,
    "insulator": Insulator,
    "driver": Driver,
}
