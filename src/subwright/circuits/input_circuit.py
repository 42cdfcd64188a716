"""The inputs: series resistors, radio-frequency capacitors, clamp diodes, pad and difference amplifiers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

from subwright.base.errors import SubwrightError
from subwright.base.units import code
from subwright.circuits.models import JunctionModel, Model, OpAmpModel, ZenerModel
from subwright.circuits.netlist import (
    GROUND,
    Circuit,
    Numbering,
    Part,
    PartKind,
    Ramp,
    Standing,
    Steady,
    TestPoint,
    Value,
)
from subwright.parts.schema import OpAmp
from subwright.stages.input import InputResult

__all__ = ["INPUT_OUTPUTS", "INPUT_PARTS", "InputPlace", "input_circuit"]

INPUT_OUTPUTS: Final = ("receiver_a", "receiver_b")
"""Net at which each channel meets the summing amplifier."""
INPUT_PARTS: Final = ("hot series", "cold series", "R1", "R2", "R3", "R4")
"""The six resistors of a channel, named as in the closed form: R1 and R2 at the - input."""

_HUNDRED: Final = 600
_DC_GAIN: Final = 1e7
_CLAMP_V: Final = 0.6  # of a small-signal diode at 1 mA
_CLAMP_A: Final = 1e-3
_NONE_OFF: Final[Mapping[str, float]] = MappingProxyType({})

_DECOUPLING_F: Final = 100e-9
_ZENER_OHM: Final = 10.0
_ZENER_A: Final = 5e-3

Mode = Literal["differential", "common"]


@dataclass(frozen=True, kw_only=True, slots=True)
class InputPlace:
    """What the inputs share with the filter.

    Attributes
    ----------
    sections : designators of the amplifiers, in the filter's cases; () for cases of their own.
    own : those of them whose case holds no block of the filter. decouplings : such cases.
    upper, lower, middle : nets of the amplifiers' supply and of the signal's ground.
    """

    sections: tuple[str, ...] = ()
    own: frozenset[str] = frozenset()
    decouplings: int = 0
    upper: str = "op_positive"
    lower: str = "op_negative"
    middle: str = GROUND

    @property
    def battery(self) -> bool:
        """Whether ground is the lower supply."""
        return self.lower == GROUND


def input_circuit(
    result: InputResult,
    op_amp: OpAmp,
    *,
    side_v: float,
    summing_ohm: float,
    mode: Mode = "differential",
    source_ohm: float = 0.0,
    resting_v: float = 0.0,
    off: Mapping[str, float] = _NONE_OFF,
    place: InputPlace | None = None,
    signal: Ramp | None = None,
) -> Circuit:
    """Netlist of every channel, with a source for AC on its leads.

    Parameters
    ----------
    result : the design. op_amp : the filter's, a section of which each difference amplifier uses.
    side_v : one side of the op-amps' supply, V. summing_ohm : of the amplifier that follows, Ω.
    mode : 1 V between the leads, or 1 V on both alike. source_ohm : in the hot lead only, Ω.
    resting_v : steady voltage that both leads rest on, V.
    off : by how much of its value a resistor of ``INPUT_PARTS`` is off, in every channel, dimensionless.
    place : amplifiers and supply that it shares with the filter; None for cases and rails of its own.
    signal : between the leads in place of the steady source, V.

    Returns
    -------
    Circuit; responses are those of ``INPUT_OUTPUTS``.

    Raises
    ------
    SubwrightError : ``off`` names a resistor that isn't there.
    """
    there = INPUT_PARTS if result.receiver == "difference" else INPUT_PARTS[:1]
    unknown = sorted(set(off) - set(there))
    if unknown:
        raise SubwrightError(
            message="The inputs have no such resistor.",
            quantity="resistor that is off",
            value=", ".join(unknown),
            limit=", ".join(there),
        )
    at = place or InputPlace()
    build = _Inputs(result, op_amp, off, source_ohm, at, signal)
    if at.battery:
        if result.op_amps or not build.back_to_back:
            whole = Steady(value=2.0 * side_v)
            build.bench("OP_SUPPLY", "voltage source", (at.upper, GROUND), "op-amp supply", whole)
        if result.op_amps:
            half = Steady(value=side_v)
            build.bench("MID", "voltage source", (at.middle, GROUND), "midpoint of the supply", half)
    else:
        for net, sign in ((at.upper, 1.0), (at.lower, -1.0)):
            word = "POSITIVE" if sign > 0.0 else "NEGATIVE"
            supply = Steady(value=sign * side_v)
            build.bench(f"OP_{word}", "voltage source", (net, GROUND), "op-amp supply", supply)
    for name in "ab"[: result.channels]:
        build.channel(name, mode, resting_v)
        out = f"receiver_{name}"
        build.bench(f"SUMMING_{name.upper()}", "resistor", (out, GROUND), "summing amplifier", summing_ohm)
    model = OpAmpModel(name="OPAMP", gbw_hz=op_amp.gbw_hz, dc_gain=_DC_GAIN)
    clamp: Model = JunctionModel(name="CLAMP", forward_v=_CLAMP_V, rated_a=_CLAMP_A)
    if build.back_to_back:
        clamp = ZenerModel(
            name="CLAMP", zener_v=result.clamp_v - _CLAMP_V, slope_ohm=_ZENER_OHM, rated_a=_ZENER_A
        )
    return Circuit(
        name="inputs",
        parts=tuple(build.parts),
        models=(clamp, model) if result.receiver == "difference" else (clamp,),
        test_points=tuple(
            TestPoint(designator=f"TP{_HUNDRED + k}", net=f"receiver_{name}", what=f"input {name.upper()}")
            for k, name in enumerate("ab"[: result.channels], 1)
        ),
    )


class _Inputs:
    """Collects the parts of all channels; roles are those of the bill."""

    def __init__(
        self,
        result: InputResult,
        op_amp: OpAmp,
        off: Mapping[str, float],
        source_ohm: float,
        place: InputPlace,
        signal: Ramp | None,
    ) -> None:
        self.parts: list[Part] = []
        self._result, self._op_amp, self._off, self._source_ohm = result, op_amp, off, source_ohm
        self._place, self._signal = place, signal
        self._number = Numbering(_HUNDRED)
        self._ids = {part.role: part.part_id for part in result.parts}
        self._sections = iter(place.sections or self._number.sections("U", result.op_amps, op_amp.channels))
        self.back_to_back = "input clamp zener" in self._ids
        for _ in range(place.decouplings):
            for net in (place.upper,) if place.battery else (place.upper, place.lower):
                self._decoupling(net)

    def _decoupling(self, net: str) -> None:
        """A capacitor at a case that holds nothing but receivers; it is on the filter's bill."""
        self.parts.append(
            Part(
                designator=self._number.next("C"),
                kind="capacitor",
                nets=(net, GROUND),
                value=_DECOUPLING_F,
                role="op-amp decoupling",
                part_id=code(_DECOUPLING_F, "capacitance"),
            )
        )

    def bench(self, name: str, kind: PartKind, nets: tuple[str, ...], role: str, value: Value) -> None:
        """Add what stands for the rest of the world."""
        standing: Standing = "bench"
        self.parts.append(
            Part(designator=f"BENCH_{name}", kind=kind, nets=nets, value=value, role=role, standing=standing)
        )

    def bought(
        self,
        letters: str,
        kind: PartKind,
        nets: tuple[str, ...],
        role: str,
        value: Value = None,
        model: str = "",
    ) -> None:
        """Add a part of the bill."""
        if role not in self._ids:
            raise SubwrightError(message=f"The inputs' bill has no '{role}'.")
        self.parts.append(
            Part(
                designator=self._number.next(letters),
                kind=kind,
                nets=nets,
                value=value,
                model=model,
                role=role,
                part_id=self._ids[role],
            )
        )

    def channel(self, name: str, mode: Mode, resting_v: float) -> None:
        """One channel from its source to ``receiver_…``."""
        r = self._result
        difference = r.receiver == "difference"
        out = f"receiver_{name}"
        hot = f"hot_{name}"
        self._lead(name, "hot", mode, resting_v, hot if difference else out)
        if not difference:
            self.bought("J", "connector", (f"lead_hot_{name}", GROUND), "line input")
            return
        cold = f"cold_{name}"
        self._lead(name, "cold", mode, resting_v, cold)
        nets = (f"lead_hot_{name}", f"lead_cold_{name}")
        if r.source == "speaker":
            self.bought("J", "connector", nets, "loudspeaker-level terminal")
        else:
            self.bought("J", "connector", nets, "line input")
        if r.shunt_ohm is not None:
            self.bought("R", "resistor", (hot, cold), "input pad shunt", r.shunt_ohm)
        if r.difference_in_ohm is None or r.difference_out_ohm is None:
            raise SubwrightError(message="The difference amplifier lacks its resistors.")
        minus, plus = f"minus_{name}", f"plus_{name}"
        for part, ends, role, value in (
            ("R1", (cold, minus), "difference amplifier in", r.difference_in_ohm),
            ("R2", (minus, out), "difference amplifier out", r.difference_out_ohm),
            ("R3", (hot, plus), "difference amplifier in", r.difference_in_ohm),
            ("R4", (plus, self._place.middle), "difference amplifier out", r.difference_out_ohm),
        ):
            self.bought("R", "resistor", ends, role, value * (1.0 + self._off.get(part, 0.0)))
        section = next(self._sections)
        own = section in self._place.own
        self.parts.append(
            Part(
                designator=section,
                kind="op-amp",
                nets=(plus, minus, out, self._place.upper, self._place.lower),
                model="OPAMP",
                role="filter op-amp",
                part_id=self._op_amp.id,
                standing="bought" if own else "elsewhere",
            )
        )

    def _lead(
        self, name: str, side: Literal["hot", "cold"], mode: Mode, resting_v: float, after: str
    ) -> None:
        """Source, series resistor, capacitor and clamp diodes of one lead."""
        r = self._result
        shares = {"hot": 0.5, "cold": -0.5} if r.receiver == "difference" else {"hot": 1.0}
        signal: Value = Steady(value=resting_v, ac=1.0 if mode == "common" else shares[side])
        if self._signal is not None:
            share = shares[side]
            signal = Ramp(points=tuple((t, resting_v + share * v) for t, v in self._signal.points))
        lead = f"lead_{side}_{name}"
        tag = f"{side}_{name}".upper()
        if side == "hot" and self._source_ohm > 0.0:
            inner = f"source_{name}"
            self.bench(f"SOURCE_{tag}", "voltage source", (inner, GROUND), "source", signal)
            self.bench(f"SOURCE_OHM_{tag}", "resistor", (inner, lead), "source resistance", self._source_ohm)
        else:
            self.bench(f"SOURCE_{tag}", "voltage source", (lead, GROUND), "source", signal)
        series = r.series_ohm * (1.0 + self._off.get(f"{side} series", 0.0))
        self.bought("R", "resistor", (lead, after), "input series", series)
        self.bought("C", "capacitor", (after, GROUND), "input RF capacitor", r.rf_f)
        if self.back_to_back:
            between = f"clamp_{side}_{name}"
            self.bought("VR", "zener", (between, after), "input clamp zener", model="CLAMP")
            self.bought("VR", "zener", (between, GROUND), "input clamp zener", model="CLAMP")
            return
        for ends in ((after, self._place.upper), (self._place.lower, after)):
            self.bought("D", "diode", ends, "input clamp diode", model="CLAMP")
