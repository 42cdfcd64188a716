"""Every kind on offer for inputs, filter and amplifier ends in a design, or in an error with a remedy."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from itertools import cycle, product
from typing import TypeVar, get_args

import numpy as np
import pytest
from pydantic import BaseModel

from subwright.base.errors import SubwrightError
from subwright.base.preferred import is_member
from subwright.parts.library import load_library
from subwright.stages.amplifier import AmplifierResult, AmplifierSpec, design_amplifier
from subwright.stages.common import Corner
from subwright.stages.filter import FilterInput, FilterResult, FilterSpec, design_filter
from subwright.stages.input import InputNeed, InputResult, InputSpec, design_input, takes_op_amps
from subwright.stages.supply import SupplySpec, supply_corners

T = TypeVar("T", AmplifierResult, FilterResult, InputResult)
LIBRARY = load_library()
TOPOLOGIES = ("unity", "equal", "multiple-feedback", "state-variable")
ALIGNMENTS = ("butterworth", "linkwitz-riley", "bessel", "chebyshev")
SUPPLIES = ("auto", "zener", "follower", "regulator", "battery")
BOX = FilterInput(
    full_input_v=1.0,
    rail_low_v=30.0,
    rail_high_v=42.0,
    battery_low_v=9.5,
    battery_high_v=16.0,
    box_hz=62.0,
    box_q=0.9,
    draws=100,
)
_TWELVE = supply_corners(SupplySpec())[0]
BATTERIES = {
    "12 V": _TWELVE,
    "24 V": supply_corners(SupplySpec(system_v=24))[0],
    "tools": {corner: volts * 18.0 / _TWELVE[Corner.NOMINAL] for corner, volts in _TWELVE.items()},
}


def literals(model: type[BaseModel], field: str) -> set[object]:
    """What the build file offers for a field."""
    return set(get_args(model.model_fields[field].annotation))


def ends(make: Callable[[], T]) -> tuple[str, T | None]:
    """Either "design" and the result, or the quantity that the refusal names; a refusal says what to do."""
    try:
        result = make()
    except SubwrightError as error:
        clear = error.message.endswith(".") and error.remedy and error.quantity and error.value
        return (error.quantity if clear else f"unclear: {error.message}"), None
    for part in result.parts:
        assert part.quantity > 0.0, part.role
    for reason in result.reasons:
        assert not {"nan", "inf"} & set(reason.split()), reason
    return "design", result


def test_the_sweep_knows_all_that_is_offered() -> None:
    assert literals(FilterSpec, "topology") == set(TOPOLOGIES)
    assert literals(FilterSpec, "alignment") == set(ALIGNMENTS)
    assert literals(FilterSpec, "op_amp_supply") == set(SUPPLIES)
    assert literals(InputSpec, "source") == {"line", "speaker"}
    assert literals(InputSpec, "receiver") == {"auto", "single-ended", "difference"}
    assert literals(AmplifierSpec, "ab_output") == {"auto", "chip", "pair", "lateral"}
    assert literals(AmplifierSpec, "modulator") == {"clocked", "self-oscillating"}


@pytest.mark.parametrize("topology", TOPOLOGIES)
def test_low_passes(topology: str) -> None:
    """Alignment × order × fixed or swept, the op-amps' supplies in turn."""
    found: Counter[str] = Counter()
    supplies = cycle(SUPPLIES)
    for alignment, order, swept in product(ALIGNMENTS, (2, 4), (False, True)):
        sweep = {"sweep_low_hz": 50.0, "sweep_high_hz": 120.0} if swept else {}
        spec = FilterSpec(
            topology=topology,
            alignment=alignment,
            order=order,
            op_amp_supply=next(supplies),
        ).model_copy(update=sweep)
        found[ends(partial(design_filter, spec, BOX, LIBRARY))[0]] += 1
    can_sweep = topology in ("unity", "state-variable")
    assert found == ({"design": 16} if can_sweep else {"design": 8, "filter.topology": 8})


@pytest.mark.parametrize("supply", SUPPLIES)
def test_knobs_boost_and_transform(supply: str) -> None:
    """Phase, boost, box transform, level, gain, channels and coupling together; with rails and without."""
    found: Counter[str] = Counter()
    no_rails = replace(BOX, rail_low_v=None, rail_high_v=None)
    others = cycle(product(("auto", "capacitor", "none"), ("stereo", "mono")))
    for knobs, boost, transform, need in product((False, True), (None, 3.0), (None, 35.0), (BOX, no_rails)):
        coupling, channels = next(others)
        spec = FilterSpec(
            op_amp_supply=supply,
            inputs=channels,
            phase_switch=not knobs,
            phase_control=knobs,
            level_control=not knobs,
            boost_db=boost,
            boost_peak_hz=None if boost is None else 35.0,
            transform_hz=transform,
            sensitivity_most_v=4.0 if knobs else None,
            output_coupling=coupling,
        )
        found[ends(partial(design_filter, spec, need, LIBRARY))[0]] += 1
    assert found["design"] >= 4, found
    assert not any(end.startswith("unclear") for end in found), found


def test_inputs() -> None:
    """Source × receiver × channels × op-amps' ground × resistors."""
    found: Counter[str] = Counter()
    for source, receiver, channels, reference, series in product(
        ("line", "speaker"), ("auto", "single-ended", "difference"), (1, 2), (0.0, 7.0), ("E12", "E24", "E96")
    ):
        spec = InputSpec(source=source, receiver=receiver, resistor_series=series)
        need = InputNeed(
            channels=channels,  # type: ignore[arg-type]
            sensitivity_v=1.0,
            summing_ohm=22e3,
            side_v=5.5 if reference else 12.0,
            battery_max_v=14.8,
            reference_v=reference,
            draws=100,
        )
        end, result = ends(partial(design_input, spec, need, LIBRARY))
        found[end] += 1
        if result is not None:
            assert result.op_amps == takes_op_amps(spec, channels)
            assert is_member(result.series_ohm, series)
    assert found["design"] >= 60, found


@pytest.mark.parametrize("battery", list(BATTERIES))
@pytest.mark.parametrize("kind", sorted(set(get_args(AmplifierSpec.model_fields["kind"].annotation))))
def test_amplifiers(kind: str, battery: str) -> None:
    """Kind × output devices or modulator × power × load, at every battery."""
    found: Counter[str] = Counter()
    ways: list[dict[str, object]] = (
        [{"modulator": m, "snubber": s} for m in ("clocked", "self-oscillating") for s in ("none", "auto")]
        if "class_d" in kind
        else [{"ab_output": o} for o in ("auto", "chip", "pair", "lateral")]
    )
    fed = BATTERIES[battery]
    for way, power_w, load_ohm in product(ways, (None, 30.0, 300.0), (2.0, 8.0)):
        spec = AmplifierSpec.model_validate({"kind": kind, **way})
        end, result = ends(
            partial(design_amplifier, spec, power_w, load_ohm, fed, LIBRARY, source_resistance_ohm=0.02)
        )
        found[end] += 1
        if result is not None:
            assert kind in ("auto", result.kind)
            assert np.isfinite(result.idle_w)
            assert 0.0 < result.efficiency[-1] < 1.0
    assert not any(end.startswith("unclear") for end in found), found
    if kind != "bridge_class_h" or battery == "12 V":
        assert found["design"] > 0, found
    else:  # the lifting switches' gates stand no more
        assert found["design"] == 0, found
