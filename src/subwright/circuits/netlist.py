"""The one netlist model: parts between nets, from which a block is drawn, simulated and bought.

Designators follow IEEE 315: class letters, a number, and a letter for a section of one case ("U201C"). Each
block numbers from its own hundred, so designators are unique in a whole build. What is no part of its own,
such as a winding's leakage, hangs on its owner's designator ("T101A_LEAK"); what stands in for the rest of
the world in a simulation starts with ``BENCH_``.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from types import MappingProxyType
from typing import Final, Literal, TypeAlias

from subwright.base.errors import SubwrightError
from subwright.circuits.models import Model, ModelKind

__all__ = [
    "BENCH",
    "GROUND",
    "IEEE_315_LETTERS",
    "PINS",
    "Circuit",
    "Coupling",
    "Numbering",
    "Part",
    "PartKind",
    "Pulse",
    "Ramp",
    "Reading",
    "Standing",
    "Steady",
    "TestPoint",
    "Value",
]

GROUND: Final = "0"
BENCH: Final = "BENCH_"

PartKind: TypeAlias = Literal[
    "resistor",
    "potentiometer",
    "thermistor",
    "capacitor",
    "inductor",
    "winding",
    "diode",
    "zener",
    "lamp",
    "mosfet",
    "transistor",
    "junction fet",
    "switch",
    "connector",
    "jumper",
    "fuse",
    "relay",
    "cable",
    "loudspeaker",
    "gate driver",
    "op-amp",
    "comparator",
    "grounded comparator",
    "schmitt inverter",
    "half-bridge driver",
    "shunt reference",
    "regulator",
    "3525 controller",
    "494 controller",
    "3524 controller",
    "3846 controller",
    "384x controller",
    "voltage source",
    "current source",
    "voltage by voltage",
    "current by voltage",
    "current by current",
    "voltage by current",
]

Standing: TypeAlias = Literal["bought", "elsewhere", "inherent", "bench", "analogue"]
"""Why a part is in the netlist: on this block's bill; on another bill or in the vehicle; a property of
another part; test equipment; or an electrical stand-in for a mechanical or acoustical element."""


def _case(pins: str) -> tuple[str, ...]:
    """Pins of a case in the order of their numbers."""
    return tuple(pins.split())


PINS: Final[Mapping[PartKind, tuple[str, ...]]] = MappingProxyType(
    {
        "resistor": ("1", "2"),
        "potentiometer": ("top", "wiper", "bottom"),
        "thermistor": ("1", "2"),
        "capacitor": ("+", "-"),
        "inductor": ("1", "2"),
        "winding": ("start", "finish"),
        "diode": ("anode", "cathode"),
        "zener": ("anode", "cathode"),
        "lamp": ("anode", "cathode"),
        "mosfet": ("drain", "gate", "source"),
        "transistor": ("collector", "base", "emitter"),
        "junction fet": ("drain", "gate", "source"),
        "switch": ("common", "closed", "open"),
        "connector": ("signal", "shell"),
        "jumper": ("1", "2"),
        "fuse": ("1", "2"),
        "cable": ("1", "2"),
        "loudspeaker": ("+", "-"),
        "relay": ("coil +", "coil -", "common", "make", "rest"),
        "gate driver": ("anode", "cathode", "+", "-"),
        "op-amp": ("+", "-", "out", "V+", "V-"),
        "comparator": ("+", "-", "out", "V+", "V-"),
        "grounded comparator": ("+", "-", "out", "V+", "V-", "ground"),
        "schmitt inverter": ("in", "out", "V+", "V-"),
        "half-bridge driver": ("VDD", "HIN", "SD", "LIN", "VSS", "VCC", "COM", "LO", "VB", "VS", "HO"),
        "shunt reference": ("cathode", "reference", "anode"),
        "regulator": ("in", "out", "adjust"),
        "3525 controller": _case("INV NI SYNC OSC CT RT DIS SS COMP SD OUTA GND VC OUTB VIN REF"),
        "494 controller": _case("1IN+ 1IN- FB DTC CT RT GND C1 E1 E2 C2 VCC OC REF 2IN- 2IN+"),
        "3524 controller": _case("INV NI OSC CL+ CL- RT CT GND COMP SD EA CA CB EB VIN REF"),
        "3846 controller": _case("CL REF CS- CS+ EA+ EA- COMP CT RT SYNC OUTA GND VC OUTB VIN SD"),
        "384x controller": ("COMP", "FB", "CS", "RTCT", "GND", "OUT", "VCC", "REF"),
        "voltage source": ("+", "-"),
        "current source": ("from", "into"),
        "voltage by voltage": ("+", "-", "sense +", "sense -"),
        "current by voltage": ("from", "into", "sense +", "sense -"),
        "current by current": ("from", "into"),
        "voltage by current": ("+", "-"),
    }
)
"""Pin names of each kind, in the order of a part's nets."""

IEEE_315_LETTERS: Final[Mapping[PartKind, str]] = MappingProxyType(
    {
        "resistor": "R",
        "potentiometer": "R",
        "thermistor": "RT",
        "capacitor": "C",
        "inductor": "L",
        "winding": "T",
        "diode": "D",
        "zener": "VR",
        "lamp": "DS",
        "mosfet": "Q",
        "transistor": "Q",
        "junction fet": "Q",
        "switch": "S",
        "connector": "J",
        "jumper": "J",
        "fuse": "F",
        "relay": "K",
        "cable": "W",
        "loudspeaker": "LS",
        "gate driver": "U",
        "op-amp": "U",
        "comparator": "U",
        "grounded comparator": "U",
        "schmitt inverter": "U",
        "half-bridge driver": "U",
        "shunt reference": "U",
        "regulator": "U",
        "3525 controller": "U",
        "494 controller": "U",
        "3524 controller": "U",
        "3846 controller": "U",
        "384x controller": "U",
        "voltage source": "BT",
    }
)
"""Class letters; a voltage source that is no bench equipment is a battery."""

_MODELLED: Final[Mapping[PartKind, tuple[ModelKind, ...]]] = MappingProxyType(
    {
        "diode": ("diode", "junction"),
        "zener": ("zener",),
        "lamp": ("junction",),
        "mosfet": ("switch", "square law"),
        "transistor": ("bipolar",),
        "junction fet": ("junction fet",),
        "relay": ("relay",),
        "gate driver": ("photovoltaic",),
        "op-amp": ("op-amp",),
        "comparator": ("comparator",),
        "grounded comparator": ("grounded comparator",),
        "schmitt inverter": ("schmitt inverter",),
        "half-bridge driver": ("half-bridge driver",),
        "shunt reference": ("shunt reference",),
        "regulator": ("regulator",),
        "3525 controller": ("controller",),
        "494 controller": ("controller",),
        "3524 controller": ("controller",),
        "3846 controller": ("controller",),
        "384x controller": ("current mode",),
    }
)
_PLAIN: Final[tuple[PartKind, ...]] = ("switch", "connector", "jumper")  # nothing but contacts
_SENSING: Final[tuple[PartKind, ...]] = ("current by current", "voltage by current")
_DESIGNATOR: Final = re.compile(r"([A-Z]{1,2})([1-9][0-9]*)([A-Z]?)(_[A-Z0-9]+)?")
_BENCH_NAME: Final = re.compile(r"BENCH_[A-Z0-9_]+")
_NET: Final = re.compile(r"0|[a-z][a-z0-9_]*")


@dataclass(frozen=True, kw_only=True, slots=True)
class Steady:
    """A source that stands still, with the amplitude that it takes part with in an AC analysis."""

    value: float  # V or A
    ac: float = 0.0  # V or A


@dataclass(frozen=True, kw_only=True, slots=True)
class Pulse:
    """``first`` until ``delay_s``, then ``then`` for ``then_s`` of every period; V or A.

    ``then_s`` is measured between the middles of the edges.
    """

    first: float
    then: float
    delay_s: float
    edge_s: float
    then_s: float
    period_s: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Ramp:
    """Straight lines through (time in s, value) points, times ascending from 0."""

    points: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        times = [time for time, _ in self.points]
        if len(times) < 2 or times[0] != 0.0 or any(b <= a for a, b in pairwise(times)):
            raise SubwrightError(
                message="A ramp's times must start at 0 and ascend.",
                quantity="times",
                value=", ".join(f"{time:g} s" for time in times),
            )


Value: TypeAlias = float | Steady | Pulse | Ramp | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Part:
    """One part, or one section of a part, between nets.

    Attributes
    ----------
    designator : IEEE 315, or the owner's with a suffix, or ``BENCH_…``.
    kind : what it is; ``nets`` are in the order of ``PINS[kind]``.
    value : in the SI unit of the kind (Ω, F, H, V, A), a waveform for a source or a thermistor, or the gain
        of a controlled source.
    model : name of the model that describes it, "" where the value does.
    role : the same as in the bill of materials.
    part_id : what to buy: library id, or code of the preferred value.
    series_ohm : resistance in series (ESR, copper), Ω.
    initial_v : voltage of a capacitor at the start of a transient, V.
    initial_a : current of an inductor or winding there, from its first pin to its second, A.
    setting : position of a potentiometer, 0 at its bottom to 1 at its top; of a jumper, 1 closed.
    senses : designator of the source whose current a controlled source follows.
    """

    designator: str
    kind: PartKind
    nets: tuple[str, ...]
    value: Value = None
    model: str = ""
    role: str = ""
    part_id: str = ""
    standing: Standing = "bought"
    series_ohm: float = 0.0
    initial_v: float | None = None
    initial_a: float | None = None
    setting: float = 1.0
    senses: str = ""

    @property
    def case(self) -> str:
        """Designator of the whole case: "U201" for the section "U201C"."""
        found = _DESIGNATOR.fullmatch(self.designator)
        return found.group(1) + found.group(2) if found else self.designator

    @property
    def owner(self) -> str:
        """Designator that an inherent element hangs on, "" for every other part."""
        return self.designator.rsplit("_", 1)[0] if self.standing == "inherent" else ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Coupling:
    """Windings on one core, all coupled alike."""

    designator: str  # of the transformer: "T101"
    windings: tuple[str, ...]
    factor: float  # coupling of each pair, dimensionless, below 1


@dataclass(frozen=True, kw_only=True, slots=True)
class Reading:
    """What the bench should find at a test point in one state of the build.

    Attributes
    ----------
    at : the state ("nominal battery, full sine"). dc_v : mean against 0 V, V.
    ripple_v : peak to peak, V; 0 where nothing should move.
    waveform : in words, with its rate ("square wave 0 to 25 V, 50 kHz"); "" for a steady voltage.
    within_v : how far from ``dc_v`` whole parts within their tolerances may put the mean, V; 0: not stated.
    """

    at: str
    dc_v: float
    ripple_v: float = 0.0
    waveform: str = ""
    within_v: float = 0.0


@dataclass(frozen=True, kw_only=True, slots=True)
class TestPoint:
    """A net that the bench should reach, and what it should find there."""

    __test__ = False  # tells pytest that the name is no test case

    designator: str  # "TP101"
    net: str
    what: str
    readings: tuple[Reading, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Circuit:
    """A block's netlist. Checked when made: nothing dangles, nothing is named twice, every model is known.

    Attributes
    ----------
    name : one line. parts : in drawing order. couplings : of windings.
    models : each used by a part. test_points : for the bench.
    open_nets : nets that may end at a single pin, such as an unused throw of a switch.
    """

    name: str
    parts: tuple[Part, ...]
    models: tuple[Model, ...] = ()
    couplings: tuple[Coupling, ...] = ()
    test_points: tuple[TestPoint, ...] = ()
    open_nets: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        problems = list(_problems(self))
        if problems:
            raise SubwrightError(
                message=f"The netlist '{self.name}' is not sound: {'; '.join(problems)}.",
                remedy="This is an error in subwright, not in the build; please report it.",
            )

    def part(self, designator: str) -> Part:
        """Part of a designator.

        Raises
        ------
        SubwrightError : there is none.
        """
        for part in self.parts:
            if part.designator == designator:
                return part
        raise SubwrightError(message=f"The netlist '{self.name}' has no part '{designator}'.")

    def by_role(self, role: str) -> tuple[Part, ...]:
        """Parts of a role, in order."""
        return tuple(part for part in self.parts if part.role == role)

    @property
    def nets(self) -> tuple[str, ...]:
        """Every net, in the order in which the parts name them."""
        return tuple(dict.fromkeys(net for part in self.parts for net in part.nets))

    def with_readings(self, found: Mapping[str, tuple[Reading, ...]]) -> Circuit:
        """The same netlist, whose test points say what they read.

        Parameters
        ----------
        found : readings by net; test points on other nets keep what they have.

        Raises
        ------
        SubwrightError : no test point is on one of the nets.
        """
        strangers = sorted(found.keys() - {point.net for point in self.test_points})
        if strangers:
            raise SubwrightError(
                message=f"The netlist '{self.name}' has no test point on '{strangers[0]}'.",
                remedy="This is an error in subwright, not in the build; please report it.",
            )
        points = tuple(
            replace(point, readings=found.get(point.net, point.readings)) for point in self.test_points
        )
        return replace(self, test_points=points)

    def bought(self) -> Mapping[str, int]:
        """Cases to buy for each role; sections of one case count once."""
        cases = {(part.role, part.case) for part in self.parts if part.standing == "bought"}
        return MappingProxyType(dict(sorted(Counter(role for role, _ in cases).items())))


class Numbering:
    """Hands out designators of one block, from its own hundred."""

    __slots__ = ("_first", "_used")

    def __init__(self, hundred: int) -> None:
        self._first = hundred
        self._used: Counter[str] = Counter()

    def next(self, letters: str, section: str = "") -> str:
        """Next free designator of a class, with the letter of its section."""
        self._used[letters] += 1
        return f"{letters}{self._first + self._used[letters]}{section}"

    def sections(self, letters: str, count: int, per_case: int) -> tuple[str, ...]:
        """Designators of ``count`` sections that come ``per_case`` to a case."""
        names: list[str] = []
        while len(names) < count:
            case = self.next(letters)
            names += [f"{case}{chr(ord('A') + k)}" if per_case > 1 else case for k in range(per_case)]
        return tuple(names[:count])


def _problems(circuit: Circuit) -> Iterator[str]:
    names = Counter(part.designator.upper() for part in circuit.parts)
    yield from (f"{name} is there {count} times" for name, count in names.items() if count > 1)
    models = {model.name: model for model in circuit.models}
    if len(models) < len(circuit.models):
        yield "two models share a name"
    real = [part for part in circuit.parts if part.standing != "inherent"]
    owners = {part.designator for part in real} | {part.case for part in real}
    for part in circuit.parts:
        yield from _part_problems(part, models)
        if part.kind in _SENSING and part.senses not in names:
            yield f"{part.designator} senses '{part.senses}', which isn't there"
        if part.standing == "inherent" and part.owner not in owners:
            yield f"{part.designator} has no owner"
    used = {part.model for part in circuit.parts}
    yield from (f"no part uses the model '{name}'" for name in models if name not in used)
    pins = Counter(net for part in circuit.parts for net in part.nets)
    if GROUND not in pins:
        yield "no part is grounded"
    for net, count in pins.items():
        if not _NET.fullmatch(net):
            yield f"'{net}' is no net name"
        elif count < 2 and net not in circuit.open_nets:
            yield f"net '{net}' ends at a single pin"
    yield from (f"test point {t.designator} is on no net" for t in circuit.test_points if t.net not in pins)
    windings = {part.designator for part in circuit.parts if part.kind in ("winding", "inductor")}
    for coupling in circuit.couplings:
        if not set(coupling.windings) <= windings or len(set(coupling.windings)) < 2:
            yield f"the coupling of {coupling.designator} names no pair of windings"
        if not 0.0 < coupling.factor < 1.0:
            yield f"the coupling of {coupling.designator} is not between 0 and 1"


def _part_problems(part: Part, models: Mapping[str, Model]) -> Iterator[str]:
    name = part.designator
    if len(part.nets) != len(PINS[part.kind]):
        yield f"{name} has {len(part.nets)} nets for {len(PINS[part.kind])} pins"
    if part.standing == "bench":
        if not _BENCH_NAME.fullmatch(name):
            yield f"{name} is bench equipment, but isn't named so"
    else:
        found = _DESIGNATOR.fullmatch(name)
        if not found:
            yield f"'{name}' is no designator"
        elif (found.group(4) is not None) != (part.standing == "inherent"):
            yield f"{name} should have a suffix exactly if it is inherent in another part"
        elif part.standing in ("bought", "elsewhere") and found.group(1) != IEEE_315_LETTERS.get(part.kind):
            yield f"{name} has the wrong class letters for a {part.kind}"
    if part.standing == "bought" and not (part.role and part.part_id):
        yield f"{name} has no role or no part to buy"
    wanted = _MODELLED.get(part.kind)
    if wanted is not None and (part.model not in models or models[part.model].kind not in wanted):
        yield f"{name} needs a model of kind {' or '.join(wanted)}"
    if wanted is None and part.model:
        yield f"{name} takes no model"
    if wanted is None and part.kind not in _PLAIN:
        yield from _value_problems(part)
    if part.series_ohm < 0.0 or not 0.0 <= part.setting <= 1.0:
        yield f"{name} has a negative series resistance or a setting outside 0 to 1"


def _value_problems(part: Part) -> Iterator[str]:
    value = part.value
    source = part.kind in ("voltage source", "current source")
    if value is None:
        yield f"{part.designator} has no value"
    elif isinstance(value, float):
        controlled = part.kind.startswith(("voltage by", "current by"))
        if source:
            yield f"{part.designator} needs a waveform"
        elif not value > 0.0 and not (controlled and value < 0.0):
            yield f"{part.designator} has the value {value:g}"
        elif value == float("inf"):
            yield f"{part.designator} has an infinite value"
    elif not source and not (part.kind == "thermistor" and isinstance(value, Ramp)):
        yield f"{part.designator} can't follow a waveform"
