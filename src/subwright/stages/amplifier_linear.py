"""The linear kinds of power stage: class AB, and class AB on rails that change (class G and H)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import sqrt
from typing import Final

from subwright.base.errors import NoSolutionError
from subwright.parts.library import Library
from subwright.parts.output_stages import BRIDGE_CHIP, OutputStage
from subwright.physics.amplifier_models import ClassABModel
from subwright.physics.amplifiers import class_b_worst_dissipation_w
from subwright.physics.safe_area import hardest_point, reactive_modulus_ohm
from subwright.stages.amplifier_driving import rest_spread_v
from subwright.stages.amplifier_kinds import AB_RESERVE, LOAD_LEAST, Built, rail_swell
from subwright.stages.amplifier_parts import OutputChoice, choose_output_stage
from subwright.stages.amplifier_rails import design_lifting, design_two_pairs
from subwright.stages.amplifier_spec import AmplifierSpec
from subwright.stages.amplifier_voltage_stage_currents import StagePlace, plan_currents
from subwright.stages.common import Corner

__all__ = [
    "REACTIVE_DEG",
    "SIZING_CASE_C",
    "beside",
    "bridge_class_ab",
    "bridge_class_h",
    "class_ab",
    "class_g",
    "try_bridge_class_ab",
]

REACTIVE_DEG: Final = (0.0, 45.0, 60.0)  # load lines that pairs are counted for; common practice
SIZING_CASE_C: Final = 85.0  # of the output transistors, before the heatsink is known


def _class_ab_model(
    spec: AmplifierSpec, stage: OutputStage, parallel: int, legs: int, split: bool, cable_ohm: float
) -> ClassABModel:
    both_sides = stage.form == "bridge chip"
    return ClassABModel(
        legs=legs,
        split_rails=split,
        drop_v=stage.drop_v * (1 if both_sides or legs == 1 else 2),
        bias_a=(spec.bias_current_a if spec.bias_current_a is not None else stage.bias_a * parallel),
        driver_a=stage.driver_a,
        ballast_ohm=stage.ballast_ohm / parallel,
        cable_ohm=cable_ohm,
    )


def _with_currents(
    spec: AmplifierSpec,
    built: Built,
    load: float,
    library: Library,
    *,
    supply_v: float,
    highest_v: float,
    loaded_v: float,
) -> Built:
    """The stage with the voltage stage of its legs planned, and its model drawing what that takes.

    ``supply_v``, ``highest_v`` : one rail or the single supply, nominal and greatest; ``loaded_v`` : the
    greatest at which it plays, V.
    """
    output, model = built.output, built.model
    assert isinstance(model, ClassABModel)
    assert output is not None
    stage = output.stage
    if stage.form != "pair":
        return built
    least = LOAD_LEAST * load
    place = StagePlace(
        stage=stage,
        parallel=output.parallel,
        legs=model.legs,
        split=model.split_rails,
        lift_ratio=model.lift_ratio,
        supply_v=supply_v,
        highest_v=highest_v,
        crest_a=float(model.clip_peak_v(loaded_v, least)) / least,
        bias_a=model.bias_a,
        stage_a=spec.stage_current_a,
        tail_a=spec.pair_current_a,
    )
    lateral = stage.device == "lateral MOSFET"
    spread_v = rest_spread_v(model.bias_a / output.parallel, stage.ballast_ohm, lateral=lateral)
    currents = plan_currents(place, library, spread_v)
    # what a stage draws beside (gates of followers) is in the model already
    driver_a = model.driver_a - stage.driver_a + model.legs * currents.drawn_a
    return replace(built, model=replace(model, driver_a=driver_a), currents=currents)


def _discrete(spec: AmplifierSpec) -> str:
    """Pairs for a leg that no chip drives."""
    return "lateral" if spec.ab_output == "lateral" else "pair"


def beside(stage: OutputStage, side_v: float, least_ohm: float, case_c: float = SIZING_CASE_C) -> float:
    """How many of one transistor's safe operating areas the load lines of a loudspeaker ask for.

    Parameters
    ----------
    stage : whose transistors. side_v : supply on one side of the output's middle, V.
    least_ohm : least resistance of the load, ohm. case_c : of each transistor, °C.

    Returns
    -------
    Real number for the worst of 0, 45 and 60 degrees at any drive; 0 for a chip, infinite beyond a rating.
    """
    area = stage.safe_area
    if area is None:
        return 0.0
    loads = [(reactive_modulus_ohm(least_ohm, phase), phase) for phase in REACTIVE_DEG]
    return hardest_point(area, case_c, side_v, side_v, loads)[0]


def class_ab(
    spec: AmplifierSpec,
    target_w: float,
    load: float,
    corners: Mapping[Corner, float],
    library: Library,
    cable_ohm: float,
    *,
    planned: bool = True,
) -> Built:
    """Class AB on split rails: a chip, or complementary pairs.

    Parameters
    ----------
    spec : the builder's wishes.
    target_w : sine power at the onset of clipping, W.
    load : ohm. corners : open-circuit battery voltages, V.
    library : parts with the drawer merged.
    cable_ohm : speaker cable, out and return, ohm.
    planned : whether to plan the voltage stage of pairs too.

    Returns
    -------
    The stage with its parts.

    Raises
    ------
    NoSolutionError : no part serves.
    """
    peak_v = sqrt(2.0 * target_w * load)
    swell = corners[Corner.CHARGING] / corners[Corner.NOMINAL]

    def device_w(stage: OutputStage) -> float:
        rail_v = _class_ab_model(spec, stage, 1, 1, True, cable_ohm).rail_for_peak_v(peak_v, load) * swell
        return class_b_worst_dissipation_w(rail_v, LOAD_LEAST * load) + 2.0 * rail_v * stage.bias_a

    # 4 V stands for the stage's own drop before the stage is known; the rating is checked on the real one.
    supply_v = 2.0 * (peak_v * (load + cable_ohm) / load + 4.0) * rail_swell(corners) / (1.0 - AB_RESERVE)
    choice = choose_output_stage(
        spec.ab_output,
        supply_v,
        peak_v / (LOAD_LEAST * load),
        device_w,
        lambda stage: beside(
            stage,
            _class_ab_model(spec, stage, 1, 1, True, cable_ohm).rail_for_peak_v(peak_v, load) * swell,
            LOAD_LEAST * load,
        ),
    )
    model = _class_ab_model(spec, choice.stage, choice.parallel, 1, True, cable_ohm)
    built = Built(kind="class_ab", model=model, output=choice, others=choice.others)
    return _on_split_rails(spec, built, peak_v, load, corners, library) if planned else built


def _on_split_rails(
    spec: AmplifierSpec,
    built: Built,
    peak_v: float,
    load: float,
    corners: Mapping[Corner, float],
    library: Library,
) -> Built:
    """The stage with its voltage stage, between the rails that full power needs."""
    rail_v = built.model.rail_for_peak_v(peak_v, load)
    return _with_currents(
        spec,
        built,
        load,
        library,
        supply_v=rail_v,
        highest_v=rail_v * rail_swell(corners),
        loaded_v=rail_v * corners[Corner.CHARGING] / corners[Corner.NOMINAL],
    )


def _on_battery(
    spec: AmplifierSpec, built: Built, load: float, corners: Mapping[Corner, float], library: Library
) -> Built:
    """The same between battery and ground."""
    highest_v = corners[Corner.MAX]
    return _with_currents(
        spec,
        built,
        load,
        library,
        supply_v=corners[Corner.NOMINAL],
        highest_v=highest_v,
        loaded_v=highest_v,
    )


def bridge_class_ab(
    spec: AmplifierSpec, load: float, corners: Mapping[Corner, float], library: Library, cable_ohm: float
) -> Built:
    """Class AB bridge straight from the battery: a bridge chip, or pairs on each leg.

    Parameters
    ----------
    spec : the builder's wishes.
    load : ohm. corners : open-circuit battery voltages, V.
    library : parts with the drawer merged.
    cable_ohm : speaker cable, out and return, ohm.

    Returns
    -------
    The stage with its parts.

    Raises
    ------
    NoSolutionError : no part serves.
    """
    highest_v = corners[Corner.MAX]
    least = LOAD_LEAST * load
    chip_crest_a = (highest_v - BRIDGE_CHIP.drop_v) / least
    if (
        spec.ab_output in ("auto", "chip")
        and highest_v <= BRIDGE_CHIP.supply_max_v
        and chip_crest_a <= BRIDGE_CHIP.peak_a
    ):
        choice = OutputChoice(stage=BRIDGE_CHIP, parallel=1, others=())
    else:
        # The two legs share the load: each swings half the supply into half of it.
        choice = choose_output_stage(
            _discrete(spec),
            highest_v / (1.0 - AB_RESERVE),
            highest_v / least,
            lambda stage: (
                class_b_worst_dissipation_w(0.5 * highest_v, 0.5 * least) + highest_v * stage.bias_a
            ),
            lambda stage: beside(stage, 0.5 * highest_v, 0.5 * least),
        )
    model = _class_ab_model(spec, choice.stage, choice.parallel, 2, False, cable_ohm)
    built = Built(kind="bridge_class_ab", model=model, output=choice, others=choice.others)
    if spec.kind != "bridge_class_ab":  # asked only what it could give: a few milliamperes don't show there
        return built
    return _on_battery(spec, built, load, corners, library)


def try_bridge_class_ab(
    spec: AmplifierSpec, load: float, corners: Mapping[Corner, float], library: Library, cable_ohm: float
) -> Built | None:
    """The class-AB bridge, or None where no output stage serves and the kind doesn't insist on it."""
    try:
        return bridge_class_ab(spec, load, corners, library, cable_ohm)
    except NoSolutionError:
        if spec.kind == "bridge_class_ab":
            raise
        return None


def class_g(
    spec: AmplifierSpec,
    target_w: float,
    load: float,
    corners: Mapping[Corner, float],
    library: Library,
    cable_ohm: float,
    note_hz: float,
) -> Built:
    """Class AB on two pairs of rails: the inner pair below the programme's crests, the outer over them.

    Parameters
    ----------
    spec : the builder's wishes.
    target_w : sine power at the onset of clipping, W.
    load : ohm. corners : open-circuit battery voltages, V.
    library : parts with the drawer merged.
    cable_ohm : speaker cable, out and return, ohm. note_hz : lowest note, Hz.

    Returns
    -------
    The stage with its parts.

    Raises
    ------
    NoSolutionError : no part serves.
    """
    plain = class_ab(
        spec.model_copy(update={"ab_output": _discrete(spec)}),
        target_w,
        load,
        corners,
        library,
        cable_ohm,
        planned=False,
    )
    assert isinstance(plain.model, ClassABModel)
    assert plain.output is not None
    peak_v = sqrt(2.0 * target_w * load)
    rails, model = design_two_pairs(
        spec,
        plain.model,
        library,
        peak_v=peak_v,
        load_ohm=load,
        least_ohm=LOAD_LEAST * load,
        swell=rail_swell(corners),
        note_hz=note_hz,
        drop_v=plain.output.stage.drop_v,
    )
    built = replace(plain, kind="class_g", model=model, rails=rails)
    return _on_split_rails(spec, built, peak_v, load, corners, library)


def bridge_class_h(
    spec: AmplifierSpec, load: float, corners: Mapping[Corner, float], library: Library, cable_ohm: float
) -> Built:
    """Class AB bridge from the battery whose rail is lifted over the crests: complementary pairs on each leg.

    Parameters
    ----------
    spec : the builder's wishes.
    load : ohm. corners : open-circuit battery voltages, V.
    library : parts with the drawer merged.
    cable_ohm : speaker cable, out and return, ohm.

    Returns
    -------
    The stage with its parts.

    Raises
    ------
    NoSolutionError : no part serves.
    """
    highest_v = corners[Corner.MAX] * (1.0 + spec.lift)
    least = LOAD_LEAST * load
    # At worst the lifted rail carries all the current: a plain bridge on it bounds the heat.
    choice = choose_output_stage(
        _discrete(spec),
        highest_v / (1.0 - AB_RESERVE),
        highest_v / least,
        lambda stage: class_b_worst_dissipation_w(0.5 * highest_v, 0.5 * least) + highest_v * stage.bias_a,
        lambda stage: beside(stage, 0.5 * highest_v, 0.5 * least),
    )
    plain = _class_ab_model(spec, choice.stage, choice.parallel, 2, False, cable_ohm)
    rails, model = design_lifting(
        spec, plain, library, corners=corners, least_ohm=least, drop_v=choice.stage.drop_v
    )
    built = Built(kind="bridge_class_h", model=model, output=choice, rails=rails, others=choice.others)
    return _on_battery(spec, built, load, corners, library)
