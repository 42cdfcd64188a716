"""Class G in closed form against integrals, and against the loss model that the chain uses."""

from __future__ import annotations

import numpy as np
import pytest

from subwright.base.errors import RangeError
from subwright.physics.amplifier_models import ClassABModel
from subwright.physics.amplifiers import class_b_input_power_w
from subwright.physics.rail_switching import class_g_efficiency, class_g_input_power_w, gaussian_levels

PHASES = (np.arange(20000) + 0.5) * (np.pi / 40000)


def ideal(**rails: float) -> ClassABModel:
    return ClassABModel(
        legs=1,
        split_rails=True,
        drop_v=0.0,
        bias_a=1e-12,
        driver_a=0.0,
        ballast_ohm=0.0,
        cable_ohm=0.0,
        **rails,
    )


@pytest.mark.parametrize("peak", [3.0, 14.9, 15.1, 25.0, 40.0])
@pytest.mark.parametrize("inner", [10.0, 15.0, 30.0, 40.0])
def test_input_power_by_integration(peak: float, inner: float) -> None:
    v = peak * np.sin(PHASES)
    drawn = float(np.mean(np.where(v > inner, 40.0, inner) * v / 8.0))
    assert class_g_input_power_w(40.0, inner, peak, 8.0) == pytest.approx(drawn, rel=1e-4)


@pytest.mark.parametrize("peak", [10.0, 25.0, 40.0])
def test_the_loss_model_agrees_with_the_closed_form(peak: float) -> None:
    model = ideal(inner_ratio=0.4)
    v = peak * np.sin(PHASES)
    drawn = float(np.mean(model.input_power_w(v, v / 8.0, 40.0)))
    assert drawn == pytest.approx(class_g_input_power_w(40.0, 16.0, peak, 8.0), rel=1e-4)
    heat = float(np.mean(sum(model.losses_w(v, v / 8.0, 40.0).values())))
    assert heat == pytest.approx(drawn - peak**2 / 16.0, rel=1e-4)


def test_with_equal_rails_it_is_class_b() -> None:
    assert class_g_input_power_w(30.0, 30.0, 20.0, 16.0) == pytest.approx(
        class_b_input_power_w(30.0, 20.0, 16.0)
    )
    with pytest.raises(RangeError, match="lower rail"):
        class_g_input_power_w(30.0, 31.0, 20.0, 16.0)
    with pytest.raises(RangeError, match="output peak"):
        class_g_efficiency(30.0, 15.0, 31.0)


def test_every_loss_of_a_real_one_is_positive_and_adds_up() -> None:
    for rails in ({"inner_ratio": 0.5, "inner_head_v": 4.0}, {"lift_ratio": 0.8}):
        model = ClassABModel(
            legs=1 if "inner_ratio" in rails else 2,
            split_rails="inner_ratio" in rails,
            drop_v=5.0,
            bias_a=0.05,
            driver_a=0.02,
            ballast_ohm=0.1,
            cable_ohm=0.05,
            head_v=5.0,
            diode_v=0.5,
            **rails,
        )
        peak = float(model.clip_peak_v(40.0, 4.0))
        v = np.linspace(-peak, peak, 401)
        terms = model.losses_w(v, v / 4.0, 40.0)
        assert all(np.all(watts >= -1e-9) for watts in terms.values()), rails
        drawn = model.input_power_w(v, v / 4.0, 40.0)
        assert drawn == pytest.approx(v * v / 4.0 + sum(terms.values()), rel=1e-12)
        assert model.plain().losses_w(v, v / 4.0, 72.0).keys() < terms.keys()


def test_a_lifting_capacitor_costs_its_charge_twice() -> None:
    """Charge out of the battery while it is lifted, and as much again to fill the capacitor."""
    model = ClassABModel(
        legs=2, split_rails=False, drop_v=2.0, bias_a=1e-12, driver_a=0.0, ballast_ohm=0.0, cable_ohm=0.0,
        lift_ratio=0.9, head_v=2.0,
    )  # fmt: skip
    peak = 20.0
    v = peak * np.sin(PHASES)
    amps = v / 4.0
    lifted = v + 2.0 > 12.0
    charge = np.mean(amps) + np.mean(np.where(lifted, amps, 0.0))
    assert float(np.mean(model.input_power_w(v, amps, 12.0))) == pytest.approx(12.0 * charge, rel=1e-9)


@pytest.mark.parametrize("crest_db", [6.0, 9.0, 12.0, 20.0])
def test_gaussian_programme_has_its_rms(crest_db: float) -> None:
    level, share = gaussian_levels(crest_db, 400)
    assert share.sum() == pytest.approx(1.0, rel=1e-12)
    crest = 10.0 ** (crest_db / 20.0)
    generator = np.random.default_rng(7)
    noise = np.clip(np.abs(generator.standard_normal(400_000)), 0.0, crest) / crest
    assert np.sqrt((share * level**2).sum()) == pytest.approx(np.sqrt(np.mean(noise**2)), rel=5e-3)
    assert (share * level).sum() == pytest.approx(noise.mean(), rel=5e-3)
