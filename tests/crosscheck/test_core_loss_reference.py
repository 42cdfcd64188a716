"""The core-loss model against curves of N87 collected by others: the maker's curves and a measured ring.

The set is `materialdatabase` 0.3.0 (Paderborn University, GPL 3): a development aid only, read as a file.
Range: 25 to 100 kHz, 50 to 200 mT, 25 to 100 °C. The distribution of the errors is asserted, not their best
case. The curves' exponent of B falls from 2.9 at 100 °C to 2.4 at 25 °C, and the model's falls with it: that
slope and the two temperature factors were chosen by these curves, so of them this is no independent check.
"""

from __future__ import annotations

import importlib.util
import json
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from subwright.parts.library import load_library
from subwright.physics.core_identity import classify
from subwright.physics.core_loss import loss_factor, steinmetz

MU_0 = 4e-7 * math.pi
GRADE = load_library().material("N87")


@dataclass(frozen=True)
class Point:
    frequency_hz: float
    flux_t: float
    temp_c: float
    loss_w_per_m3: float

    @property
    def error(self) -> float:
        """Ours over theirs less one."""
        fit = GRADE.fit_at(min(self.frequency_hz, 100e3))
        ours = steinmetz(self.frequency_hz, self.flux_t, fit.k, fit.alpha, fit.beta)
        ours = ours * loss_factor(self.temp_c, self.flux_t, GRADE.ct0, GRADE.ct1, GRADE.ct2, GRADE.beta_per_k)
        return float(ours / self.loss_w_per_m3 - 1.0)


@pytest.fixture(scope="module")
def n87() -> dict[str, Any]:
    spec = importlib.util.find_spec("materialdatabase")
    if spec is None or spec.origin is None:
        pytest.skip("pip install --no-deps --require-hashes -r requirements/reference.txt")
    file = Path(spec.origin).parent / "data" / "material_data_base.json"
    body: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))["N87"]
    return body


def in_range(point: Point) -> bool:
    slack = 1e-3  # the curves' 100 kHz reads 100.000 kHz after digitising
    return (
        25e3 <= point.frequency_hz <= 100e3 * (1 + slack)
        and 0.05 <= point.flux_t <= 0.2 * (1 + slack)
        and 25.0 <= point.temp_c <= 100.0
    )


def sheet_points(n87: dict[str, Any]) -> list[Point]:
    sheet = n87["manufacturer_datasheet"]

    def every() -> Iterator[Point]:
        for curve in sheet["relative_core_loss_flux_density"]:
            for b, p in zip(curve["flux_density"], curve["power_loss"], strict=True):
                yield Point(curve["frequency"], b, curve["temperature"], p)
        for curve in sheet["relative_core_loss_temperature"]:
            for t, p in zip(curve["temperature"], curve["power_loss"], strict=True):
                yield Point(curve["frequency"], curve["flux_density"], t, p)
        for curve in sheet["relative_core_loss_frequency"]:
            for f, p in zip(curve["frequency"], curve["power_loss"], strict=True):
                yield Point(f, curve["flux_density"], curve["temperature"], p)

    return [point for point in every() if in_range(point)]


def ring_curves(n87: dict[str, Any]) -> list[dict[str, Any]]:
    curves: list[dict[str, Any]] = n87["measurements"]["complex_permeability"]["LEA_LK"]["measurement_data"]
    return curves


def ring_points(n87: dict[str, Any]) -> list[Point]:
    """Loss density of the measured ring: π f B² sin φ / (μ0 |μ|)."""
    return [
        point
        for c in ring_curves(n87)
        for b, mu, phi in zip(c["flux_density"], c["mu_r_abs"], c["mu_phi_deg"], strict=True)
        if in_range(
            point := Point(
                c["frequency"],
                b,
                c["temperature"],
                math.pi * c["frequency"] * b * b * math.sin(math.radians(phi)) / (MU_0 * mu),
            )
        )
    ]


def spread(points: list[Point]) -> tuple[float, float, float]:
    """(median, 90th percentile) of the size of the error, and the median with its sign."""
    errors = np.array([point.error for point in points])
    size = np.abs(errors)
    return float(np.median(size)), float(np.quantile(size, 0.9)), float(np.median(errors))


def test_the_makers_curves_over_the_whole_range(n87: dict[str, Any]) -> None:
    points = sheet_points(n87)
    assert len(points) > 80
    middle, ninety, bias = spread(points)
    print(f"N87 sheet, {len(points)} points: median {middle:.1%}, 90 % within {ninety:.1%}, bias {bias:+.1%}")
    assert middle <= 0.05
    assert ninety <= 0.17
    assert abs(bias) <= 0.05


def test_the_makers_curves_where_transformers_work(n87: dict[str, Any]) -> None:
    points = [p for p in sheet_points(n87) if p.flux_t >= 0.099 and p.temp_c >= 50.0]
    assert len(points) > 25
    middle, ninety, bias = spread(points)
    print(f"N87 sheet, 100 to 200 mT, 50 to 100 °C: median {middle:.1%}, 90 % within {ninety:.1%}")
    assert middle <= 0.04
    assert ninety <= 0.12
    assert abs(bias) <= 0.03


def test_one_measured_ring_loses_more_than_the_sheet_says(n87: dict[str, Any]) -> None:
    """A ring on the bench loses 40 % more than a typical sheet: what the contributor "core loss" allows."""
    points = ring_points(n87)
    assert len(points) >= 20
    middle, ninety, bias = spread(points)
    print(f"N87 ring, {len(points)} points: median {middle:.1%}, 90 % within {ninety:.1%}, bias {bias:+.1%}")
    assert bias < 0
    assert middle <= 0.32
    assert ninety <= 0.37


def test_permeability_of_the_ring_is_taken_for_power_ferrite(n87: dict[str, Any]) -> None:
    """Small-signal permeability of the measured ring at 30 °C: the grade's 2200 less 25 %, or more."""
    cold = [c["mu_r_abs"][0] for c in ring_curves(n87) if c["temperature"] == 30 and c["frequency"] <= 200e3]
    assert cold
    for mu in cold:
        assert GRADE.mu_i * (1 - GRADE.mu_i_tolerance) <= mu <= GRADE.mu_i * (1 + GRADE.mu_i_tolerance)
        assert classify(mu, 0.05 * mu).family == "power ferrite"


def test_the_set_stays_a_development_aid() -> None:
    root = Path(__file__).parents[2]
    assert "materialdatabase" not in (root / "pyproject.toml").read_text(encoding="utf-8")
    for file in (root / "src").rglob("*.py"):
        assert "materialdatabase" not in file.read_text(encoding="utf-8"), file
