"""The inputs: series resistors, radio-frequency capacitors, clamp diodes, pad and difference amplifiers."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, Literal

from subwright.base.errors import SubwrightError
from subwright.circuits.models import JunctionModel, OpAmpModel
from subwright.circuits.netlist import (
    GROUND,
    Circuit,
    Numbering,
    Part,
    PartKind,
    Standing,
    Steady,
    TestPoint,
    Value,
)
from subwright.parts.schema import OpAmp
from subwright.stages.input import InputResult

__all__ = ["INPUT_OUTPUTS", "INPUT_PARTS", "input_circuit"]

INPUT_OUTPUTS: Final = ("receiver_a", "receiver_b")
"""Net at which each channel meets the summing amplifier."""
INPUT_PARTS: Final = ("hot series", "cold series", "R1", "R2", "R3", "R4")
"""The six resistors of a channel, named as in the closed form: R1 and R2 at the - input."""

_HUNDRED: Final = 600
_DC_GAIN: Final = 1e7
_CLAMP_V: Final = 0.6  # of a small-signal diode at 1 mA
_CLAMP_A: Final = 1e-3
_NONE_OFF: Final[Mapping[str, float]] = MappingProxyType({})

Mode = Literal["differential", "common"]


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
) -> Circuit:
    """Netlist of every channel, with a source for AC on its leads.

    Parameters
    ----------
    result : the design. op_amp : the filter's, a section of which each difference amplifier uses.
    side_v : one side of the op-amps' supply, V. summing_ohm : of the amplifier that follows, Ω.
    mode : 1 V between the leads, or 1 V on both alike. source_ohm : in the hot lead only, Ω.
    resting_v : steady voltage that both leads rest on, V.
    off : by how much of its value a resistor of ``INPUT_PARTS`` is off, in every channel, dimensionless.

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
    build = _Inputs(result, op_amp, off, source_ohm)
    for name, sign in (("positive", 1.0), ("negative", -1.0)):
        supply = Steady(value=sign * side_v)
        build.bench(f"OP_{name.upper()}", "voltage source", (f"op_{name}", GROUND), "op-amp supply", supply)
    for name in "ab"[: result.channels]:
        build.channel(name, mode, resting_v)
        out = f"receiver_{name}"
        build.bench(f"SUMMING_{name.upper()}", "resistor", (out, GROUND), "summing amplifier", summing_ohm)
    model = OpAmpModel(name="OPAMP", gbw_hz=op_amp.gbw_hz, dc_gain=_DC_GAIN)
    clamp = JunctionModel(name="CLAMP", forward_v=_CLAMP_V, rated_a=_CLAMP_A)
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
        self, result: InputResult, op_amp: OpAmp, off: Mapping[str, float], source_ohm: float
    ) -> None:
        self.parts: list[Part] = []
        self._result, self._op_amp, self._off, self._source_ohm = result, op_amp, off, source_ohm
        self._number = Numbering(_HUNDRED)
        self._ids = {part.role: part.part_id for part in result.parts}
        self._sections = iter(self._number.sections("U", result.op_amps, op_amp.channels))

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
            return
        cold = f"cold_{name}"
        self._lead(name, "cold", mode, resting_v, cold)
        if r.source == "speaker":
            nets = (f"lead_hot_{name}", f"lead_cold_{name}")
            self.bought("J", "connector", nets, "loudspeaker-level terminal")
        if r.shunt_ohm is not None:
            self.bought("R", "resistor", (hot, cold), "input pad shunt", r.shunt_ohm)
        if r.difference_in_ohm is None or r.difference_out_ohm is None:
            raise SubwrightError(message="The difference amplifier lacks its resistors.")
        minus, plus = f"minus_{name}", f"plus_{name}"
        for part, ends, role, value in (
            ("R1", (cold, minus), "difference amplifier in", r.difference_in_ohm),
            ("R2", (minus, out), "difference amplifier out", r.difference_out_ohm),
            ("R3", (hot, plus), "difference amplifier in", r.difference_in_ohm),
            ("R4", (plus, GROUND), "difference amplifier out", r.difference_out_ohm),
        ):
            self.bought("R", "resistor", ends, role, value * (1.0 + self._off.get(part, 0.0)))
        self.parts.append(
            Part(
                designator=next(self._sections),
                kind="op-amp",
                nets=(plus, minus, out, "op_positive", "op_negative"),
                model="OPAMP",
                role="filter op-amp",
                part_id=self._op_amp.id,
                standing="elsewhere",
            )
        )

    def _lead(
        self, name: str, side: Literal["hot", "cold"], mode: Mode, resting_v: float, after: str
    ) -> None:
        """Source, series resistor, capacitor and clamp diodes of one lead."""
        r = self._result
        shares = {"hot": 0.5, "cold": -0.5} if r.receiver == "difference" else {"hot": 1.0}
        signal = Steady(value=resting_v, ac=1.0 if mode == "common" else shares[side])
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
        for ends in ((after, "op_positive"), ("op_negative", after)):
            self.bought("D", "diode", ends, "input clamp diode", model="CLAMP")
