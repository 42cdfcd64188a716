"""Class-AB output stages: integrated amplifiers and complementary pairs, by what the design needs of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from math import log
from types import MappingProxyType
from typing import Final, Literal

from subwright.parts.record import Provenance
from subwright.physics.safe_area import SafeArea

__all__ = ["BRIDGE_CHIP", "OUTPUT_STAGES", "OutputStage"]


@dataclass(frozen=True, kw_only=True, slots=True)
class OutputStage:
    """One kind of class-AB output stage.

    Attributes
    ----------
    id, description : as printed.
    form : "chip" (one case drives one side of the load), "pair" (complementary transistors) or
        "bridge chip" (one case drives both ends of the load).
    supply_max_v : highest voltage between its supply terminals, V.
    drop_v : voltage by which the output stays short of the supply at full current, V; of a bridge chip both
        sides together.
    peak_a : highest output current of one case or pair, A.
    bias_a : quiescent current of one output leg, A. driver_a : the rest of its supply current, A.
    ballast_ohm : emitter resistor of each transistor, ohm.
    cases : cases on the heatsink. rth_jc_k_per_w : junction to case, of one. interface_k_per_w : case to
        sink with insulation, K/W. tj_max_c : °C.
    provenance : where the values come from.
    device_v : voltage rating of one transistor, V; 0 for a chip, which guards itself.
    device_a : steady current rating of one transistor, A. breakdown : second breakdown at 25 °C case, points
        (V, A) of the steady or 1 s curve; () for lateral field-effect transistors, which have none.
    breakdown_left : share of it left at ``tj_max_c``.
    device : "bipolar" or "lateral MOSFET". gain : least current gain at full current, 0 for a MOSFET.
    gains : least current gain at collector currents, rising, (A, gain). transit_hz : transition frequency of
        a bipolar pair, Hz. input_f, reverse_f : of a MOSFET's gate, to source and to drain, F.
    """

    id: str
    description: str
    form: Literal["chip", "pair", "bridge chip"]
    supply_max_v: float
    drop_v: float
    peak_a: float
    bias_a: float
    driver_a: float
    ballast_ohm: float
    cases: int
    rth_jc_k_per_w: float
    interface_k_per_w: float
    tj_max_c: float
    provenance: Provenance
    device_v: float = 0.0
    device_a: float = 0.0
    breakdown: tuple[tuple[float, float], ...] = ()
    breakdown_left: float = 0.4
    device: Literal["bipolar", "lateral MOSFET"] = "bipolar"
    gain: float = 0.0
    gains: tuple[tuple[float, float], ...] = ()
    transit_hz: float = 0.0
    input_f: float = 0.0
    reverse_f: float = 0.0

    def gain_at(self, current_a: float) -> float:
        """Least current gain of one transistor at a collector current in A, between the sheet's points.

        Logarithms of gain and current go in a straight line between points; outside them the nearest holds.
        """
        points = self.gains or ((self.peak_a, self.gain),)
        if current_a <= points[0][0]:
            return points[0][1]
        for (low_a, low), (high_a, high) in pairwise(points):
            if current_a <= high_a:
                return float(low * (current_a / low_a) ** (log(high / low) / log(high_a / low_a)))
        return points[-1][1]

    @property
    def safe_area(self) -> SafeArea | None:
        """What one transistor carries steadily; None for a chip, whose maker's protection decides."""
        if self.device_v == 0.0:
            return None
        return SafeArea(
            current_a=self.device_a,
            voltage_v=self.device_v,
            rth_jc_k_per_w=self.rth_jc_k_per_w,
            tj_max_c=self.tj_max_c,
            breakdown=self.breakdown,
            breakdown_left=self.breakdown_left,
        )


_MEMORY = Provenance(
    document="Data sheets of 11-lead integrated power amplifiers of the ±42 V class",
    condition="25 °C, ±28 V, 4 Ω",
    kind="memory",
)
_BRIDGE = Provenance(
    document="Data sheets of bridged vehicle-radio power amplifiers, 18 V class",
    condition="14.4 V, 4 Ω",
    kind="memory",
)
_TIP35 = Provenance(
    document="STMicroelectronics TIP35C, TIP36C data sheet rev. 5, 2008",
    condition="25 °C case",
    kind="datasheet",
    memory_fields=(
        "drop_v",
        "bias_a",
        "driver_a",
        "ballast_ohm",
        "interface_k_per_w",
        "breakdown",
        "breakdown_left",
        "gains",
        "transit_hz",
    ),
)
_MJL = Provenance(
    document="Motorola and ON Semiconductor MJL21193, MJL21194 data sheet; second breakdown 1 s, one pulse",
    condition="25 °C case",
    kind="datasheet",
    memory_fields=(
        "drop_v",
        "bias_a",
        "driver_a",
        "ballast_ohm",
        "interface_k_per_w",
        "breakdown_left",
        "gains",
        "transit_hz",
    ),
)
_LATERAL = Provenance(
    document="Data sheets of the lateral MOSFET types 2SK1058, 2SJ162",
    condition="25 °C case; drop with drivers on the same rails",
    kind="memory",
)
_C5200 = Provenance(
    document="Data sheets of the multi-sourced types 2SC5200, 2SA1943",
    condition="25 °C case",
    kind="memory",
)

OUTPUT_STAGES: Final[Mapping[str, OutputStage]] = MappingProxyType(
    {
        stage.id: stage
        for stage in (
            OutputStage(
                id="chip 84 V",
                description="integrated class-AB power amplifier, 11 leads, ±42 V at most",
                form="chip",
                supply_max_v=84.0,
                drop_v=4.0,
                peak_a=10.0,
                bias_a=0.03,
                driver_a=0.03,
                ballast_ohm=0.0,
                cases=1,
                rth_jc_k_per_w=1.0,
                interface_k_per_w=0.6,
                tj_max_c=150.0,
                provenance=_MEMORY,
            ),
            OutputStage(
                id="TIP35C/TIP36C",
                description="complementary pair 100 V 25 A, TO-247",
                form="pair",
                supply_max_v=100.0,
                drop_v=3.0,
                peak_a=15.0,
                bias_a=0.05,
                driver_a=0.02,
                ballast_ohm=0.22,
                cases=2,
                rth_jc_k_per_w=1.0,
                interface_k_per_w=0.6,
                tj_max_c=150.0,
                provenance=_TIP35,
                device_v=100.0,
                device_a=25.0,
                breakdown=((30.0, 4.0), (60.0, 1.0), (100.0, 0.36)),
                gain=10.0,
                gains=((1.5, 25.0), (15.0, 10.0)),
                transit_hz=3e6,
            ),
            OutputStage(
                id="2SC5200/2SA1943",
                description="complementary pair 230 V 15 A, TO-264",
                form="pair",
                supply_max_v=230.0,
                drop_v=3.5,
                peak_a=8.0,
                bias_a=0.05,
                driver_a=0.02,
                ballast_ohm=0.22,
                cases=2,
                rth_jc_k_per_w=0.83,
                interface_k_per_w=0.4,
                tj_max_c=150.0,
                provenance=_C5200,
                device_v=230.0,
                device_a=15.0,
                breakdown=((50.0, 3.0), (100.0, 0.8), (230.0, 0.15)),
                gain=35.0,
                gains=((1.0, 55.0), (7.0, 35.0), (15.0, 12.0)),
                transit_hz=30e6,
            ),
            OutputStage(
                id="MJL21194/MJL21193",
                description="complementary pair 250 V 16 A, TO-264",
                form="pair",
                supply_max_v=250.0,
                drop_v=3.5,
                peak_a=12.0,
                bias_a=0.05,
                driver_a=0.02,
                ballast_ohm=0.22,
                cases=2,
                rth_jc_k_per_w=0.7,
                interface_k_per_w=0.4,
                tj_max_c=150.0,
                provenance=_MJL,
                device_v=250.0,
                device_a=16.0,
                breakdown=((50.0, 4.0), (80.0, 2.25)),
                gain=8.0,
                gains=((8.0, 25.0), (16.0, 8.0)),
                transit_hz=4e6,
            ),
            OutputStage(
                id="2SK1058/2SJ162",
                description="complementary pair of lateral MOSFETs 160 V 7 A, TO-3P",
                form="pair",
                supply_max_v=160.0,
                drop_v=10.0,
                peak_a=6.0,
                bias_a=0.1,
                driver_a=0.02,
                ballast_ohm=0.22,
                cases=2,
                rth_jc_k_per_w=1.25,
                interface_k_per_w=0.6,
                tj_max_c=150.0,
                provenance=_LATERAL,
                device_v=160.0,
                device_a=7.0,
                device="lateral MOSFET",
                input_f=900e-12,
                reverse_f=40e-12,
            ),
        )
    }
)
"""By id, weakest first."""

BRIDGE_CHIP: Final = OutputStage(
    id="bridge chip 18 V",
    description="integrated bridged class-AB amplifier for 12 V systems, 18 V at most while it plays",
    form="bridge chip",
    supply_max_v=18.0,
    drop_v=2.4,
    peak_a=4.5,
    bias_a=0.03,
    driver_a=0.03,
    ballast_ohm=0.0,
    cases=1,
    rth_jc_k_per_w=2.0,
    interface_k_per_w=0.6,
    tj_max_c=150.0,
    provenance=_BRIDGE,
)
