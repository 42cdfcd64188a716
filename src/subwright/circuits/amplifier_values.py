"""What a netlist of the power amplifier holds, as plain numbers, and where they come from."""

from __future__ import annotations

from dataclasses import dataclass

from subwright.base.errors import SubwrightError
from subwright.parts.output_stages import OUTPUT_STAGES
from subwright.physics.amplifier_models import ClassABModel, ClassDModel
from subwright.stages.amplifier import AmplifierResult
from subwright.stages.amplifier_driving import Driving, junction_v, rest_spread_v

__all__ = ["ClassABValues", "ClassDValues", "class_ab_values", "class_d_values"]


@dataclass(frozen=True, kw_only=True, slots=True)
class ClassDValues:
    """A class-D output stage; values of one leg unless it says otherwise.

    Attributes
    ----------
    legs : 1 or 2. split_rails : true when ``rail_v`` is one of two rails. rail_v : rail or battery, V.
    switching_hz, dead_time_s : Hz and s.
    switch_ohm : one switch, hot, Ω. avalanche_v : its drain voltage rating, V.
    inductance_h, inductor_ohm, filter_f, damping_ohm, damping_f : output filter, H, Ω, F.
    snubber_ohm, snubber_f : Ω and F; None and 0 without one.
    lead_ohm : all that is in series with the load, Ω.
    ids : what to buy, by role.
    """

    legs: int
    split_rails: bool
    rail_v: float
    switching_hz: float
    dead_time_s: float
    switch_ohm: float
    avalanche_v: float
    inductance_h: float
    inductor_ohm: float
    filter_f: float
    damping_ohm: float
    damping_f: float
    snubber_ohm: float | None
    snubber_f: float
    lead_ohm: float
    ids: dict[str, str]

    @property
    def bus_v(self) -> float:
        """Voltage across one leg, V."""
        return self.rail_v * (2.0 if self.split_rails else 1.0)

    @property
    def period_s(self) -> float:
        """Switching period, s."""
        return 1.0 / self.switching_hz


@dataclass(frozen=True, kw_only=True, slots=True)
class ClassABValues:
    """A class-AB output stage of complementary followers.

    Attributes
    ----------
    legs : 1, or 2 in a bridge. split_rails : true when ``rail_v`` is one of two rails.
    rail_v : rail or battery, V. bias_a : quiescent current of one leg, all its pairs together, A.
    driver_a : of drivers and input stages from rail to rail, A.
    pairs : in parallel in each leg. ballast_ohm : resistor of each transistor, Ω; 0 for none.
    lead_ohm : all that is in series with the load, Ω.
    ids : what to buy, by role. chip : true where one case holds the pairs of both legs.
    driving : what drives and biases each leg; None for ideal sources in its place.
    lateral : whether the output devices are lateral MOSFETs.
    """

    legs: int
    split_rails: bool
    rail_v: float
    bias_a: float
    driver_a: float
    pairs: int
    ballast_ohm: float
    lead_ohm: float
    ids: dict[str, str]
    chip: bool = False
    driving: Driving | None = None
    lateral: bool = False

    @property
    def gain(self) -> float:
        """From the signal to the output; 1 where the voltage stage follows."""
        return 1.0 if self.driving is None else self.driving.gain

    @property
    def device_id(self) -> str:
        """Pair or chip to buy."""
        return self.ids["output stage"]

    @property
    def inner_v(self) -> float:
        """Voltage between the output bases, or gates, at rest, V."""
        return rest_spread_v(self.bias_a / self.pairs, self.ballast_ohm, lateral=self.lateral)

    @property
    def spread_v(self) -> float:
        """Voltage that the bias transistor holds, V."""
        if self.driving is None or not self.driving.driver_ids:
            return self.inner_v
        return self.inner_v + 2.0 * junction_v(self.driver_rest_a)

    @property
    def driver_rest_a(self) -> float:
        """Current of each driver at rest, A; 0 without drivers."""
        if self.driving is None or not self.driving.driver_ids:
            return 0.0
        return self.inner_v / self.driving.resistors_ohm["driver resistor"]

    @property
    def drawn_a(self) -> float:
        """Current from rail to rail of a leg's bias and drivers, A."""
        return 0.0 if self.driving is None else self.driving.bias_a + self.driver_rest_a


def class_d_values(result: AmplifierResult, *, rail_v: float | None = None) -> ClassDValues:
    """Values of a designed class-D stage.

    Parameters
    ----------
    result : the design. rail_v : one rail, or the battery, V; None for the one that full power needs.

    Returns
    -------
    ClassDValues.

    Raises
    ------
    SubwrightError : it is no class-D stage.
    """
    model = result.model
    if not isinstance(model, ClassDModel) or result.damping_f is None:
        raise _wrong(result, "class-D")
    return ClassDValues(
        legs=model.legs,
        split_rails=model.split_rails,
        rail_v=result.rail_needed_v if rail_v is None else rail_v,
        switching_hz=model.switching_hz,
        dead_time_s=model.dead_time_s,
        switch_ohm=float(model.switch_ohm),
        avalanche_v=result.switch_voltage_limit_v,
        inductance_h=model.inductance_h,
        inductor_ohm=model.inductor_ohm,
        filter_f=model.filter_f,
        damping_ohm=model.damping_ohm,
        damping_f=result.damping_f,
        snubber_ohm=result.snubber_ohm,
        snubber_f=model.snubber_f,
        lead_ohm=model.cable_ohm,
        ids=_ids(result),
    )


def class_ab_values(
    result: AmplifierResult, *, rail_v: float | None = None, switched: bool = False
) -> ClassABValues:
    """Values of a designed class-AB stage.

    Parameters
    ----------
    result : the design. rail_v : one rail, or the battery, V; None for the one that full power needs.
    switched : whether a stage whose rails change is meant.

    Returns
    -------
    ClassABValues.

    Raises
    ------
    SubwrightError : it is no class-AB stage, or its rails change where steady ones are meant.
    """
    model = result.model
    if not isinstance(model, ClassABModel) or model.switched != switched:
        raise _wrong(result, "switched class-AB" if switched else "class-AB")
    use = next(part for part in result.parts if part.role == "output stage")
    chip = use.letter == "U"
    # a bridge chip is one case for both legs
    pairs = max(1, round(use.quantity) // model.legs)
    return ClassABValues(
        legs=model.legs,
        split_rails=model.split_rails,
        rail_v=result.rail_needed_v if rail_v is None else rail_v,
        bias_a=model.bias_a,
        driver_a=model.driver_a,
        pairs=pairs,
        ballast_ohm=model.ballast_ohm * pairs,
        lead_ohm=model.cable_ohm,
        ids=_ids(result),
        chip=chip,
        driving=result.driving,
        lateral=OUTPUT_STAGES[use.part_id].device == "lateral MOSFET" if not chip else False,
    )


def _wrong(result: AmplifierResult, wanted: str) -> SubwrightError:
    return SubwrightError(
        message=f"There is no {wanted} circuit of this amplifier.",
        quantity="kind of amplifier",
        value=result.kind,
        limit=wanted,
    )


def _ids(result: AmplifierResult) -> dict[str, str]:
    """Part to buy of each role; an inductor that is wound is bought as its core."""
    ids = {part.role: part.part_id for part in result.parts}
    if "output inductor core" in ids:
        ids["output inductor"] = ids["output inductor core"]
    return ids
