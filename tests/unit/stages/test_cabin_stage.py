"""The cabin stage: corner, leakage, modes, refusals."""

from __future__ import annotations

import numpy as np
import pytest

from subwright.base.errors import NoSolutionError, RangeError
from subwright.physics.acoustics.cabin import corner_from_length_hz, corner_from_volume_hz
from subwright.stages.cabin import CabinSpec, design_cabin

FREQUENCY = np.geomspace(5.0, 200.0, 50)


def test_no_cabin_adds_nothing() -> None:
    found = design_cabin(CabinSpec())
    assert np.all(found.gain_at_db(FREQUENCY) == 0.0)
    assert found.corner_hz is None


def test_corner_by_volume_by_length_and_as_given() -> None:
    volume = design_cabin(CabinSpec.model_validate({"kind": "cabin", "volume": "3 m3", "length": "2.5 m"}))
    assert volume.corner_hz == pytest.approx(corner_from_volume_hz(3.0), rel=1e-12)
    length = design_cabin(CabinSpec.model_validate({"kind": "cabin", "length": "2.5 m"}))
    assert length.corner_hz == pytest.approx(corner_from_length_hz(2.5), rel=1e-12)
    given = design_cabin(CabinSpec.model_validate({"kind": "cabin", "corner": "70 Hz"}))
    assert given.corner_hz == 70.0
    sides = design_cabin(
        CabinSpec.model_validate({"kind": "cabin", "length": "2.5 m", "width": "1.4 m", "height": "1.1 m"})
    )
    assert sides.volume_m3 == pytest.approx(2.5 * 1.4 * 1.1, rel=1e-12)
    assert sides.modes[0].label == "length 1"


def test_gain_falls_with_frequency_and_ends_at_its_greatest() -> None:
    found = design_cabin(CabinSpec.model_validate({"kind": "cabin", "corner": "65 Hz", "leakage": "15 Hz"}))
    gain = found.gain_at_db(FREQUENCY)
    assert np.all(np.diff(gain) < 0.0)
    assert found.greatest_gain_db is not None
    assert gain[0] < found.greatest_gain_db
    assert gain[0] == pytest.approx(found.greatest_gain_db, abs=0.1)


def test_a_tight_cabin_has_no_greatest_gain() -> None:
    found = design_cabin(CabinSpec.model_validate({"kind": "cabin", "corner": "65 Hz", "leakage": "0 Hz"}))
    assert found.greatest_gain_db is None


def test_a_cabin_of_unknown_size_is_refused() -> None:
    with pytest.raises(NoSolutionError) as caught:
        design_cabin(CabinSpec(kind="cabin"))
    assert "cabin.volume" in caught.value.remedy


def test_leakage_above_the_corner_is_refused() -> None:
    with pytest.raises(RangeError):
        design_cabin(CabinSpec.model_validate({"kind": "cabin", "corner": "40 Hz", "leakage": "50 Hz"}))
