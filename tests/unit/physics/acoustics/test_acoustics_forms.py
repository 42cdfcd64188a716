"""Properties of the closed forms: alignments, roots, ports, coil heat, panels, cutting, refusals."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from subwright.base.errors import ConvergenceError, NoSolutionError, RangeError
from subwright.physics.acoustics import cabin, closed_box, impedance, ports, thermal, vented_box
from subwright.physics.acoustics._roots import bracketed_root
from subwright.physics.acoustics.air import air_at
from subwright.physics.acoustics.alignments import b4, flat_alignment, flattest_tuning, sbb4, super_c4
from subwright.physics.acoustics.cutting import Piece, plan_cuts
from subwright.physics.acoustics.panels import MATERIALS, clamped_hz, simply_supported_hz
from subwright.physics.acoustics.thermal import CoilThermal

# --- alignments -----------------------------------------------------------------------------------


@given(qts=st.floats(0.15, 0.40), ql=st.one_of(st.floats(5.0, 100.0), st.just(math.inf)))
def test_qb3_is_flat_without_a_peak(qts: float, ql: float) -> None:
    found = flat_alignment(qts, ql)
    assert found.qts == pytest.approx(qts, rel=1e-9)
    ratio = np.geomspace(0.2, 20.0, 2000)
    level = np.abs(vented_box.response(ratio, found.qts, found.alpha, found.h, ql))
    if found.family == "QB3":
        assert level.max() <= 1.0 + 1e-9
    a = vented_box.coefficients(found.qts, found.alpha, found.h, ql)
    if found.family == "QB3":
        assert float(a.a1) ** 2 == pytest.approx(2.0 * float(a.a2), rel=1e-8)
        assert 2.0 * float(a.a1 * a.a3) == pytest.approx(float(a.a2) ** 2 + 2.0, rel=1e-8)


@given(qts=st.floats(0.20, 0.60), ql=st.floats(5.0, 50.0))
def test_cutoff_is_where_the_response_is_down_by_three(qts: float, ql: float) -> None:
    found = flat_alignment(qts, ql)
    at = abs(vented_box.response(found.f3_ratio, found.qts, found.alpha, found.h, ql))
    assert 20.0 * math.log10(float(at)) == pytest.approx(-3.0103, abs=1e-6)


def test_families_join_at_b4() -> None:
    flat = b4(7.0)
    below, above = flat_alignment(flat.qts * 0.9999, 7.0), flat_alignment(flat.qts * 1.0001, 7.0)
    assert (below.family, above.family) == ("QB3", "C4")
    assert below.alpha == pytest.approx(above.alpha, rel=2e-3)


@pytest.mark.parametrize("qts", [0.02, 3.0])
def test_no_alignment_outside_the_families(qts: float) -> None:
    with pytest.raises(RangeError) as caught:
        flat_alignment(qts, 7.0)
    assert caught.value.limit


@pytest.mark.parametrize("call", [lambda: b4(1.0), lambda: sbb4(0.6), lambda: super_c4(0.5, 7.0)])
def test_alignments_refuse_what_they_don_t_cover(call: object) -> None:
    with pytest.raises(RangeError):
        call()  # type: ignore[operator]


@pytest.mark.parametrize(("qts", "alpha"), [(0.30, 3.0), (0.40, 1.0), (0.35, 2.5), (0.25, 4.6)])
def test_flattest_tuning_keeps_its_ripple_and_reaches_lower_than_its_neighbours(
    qts: float, alpha: float
) -> None:
    best = flattest_tuning(qts, alpha, 7.0, ripple_db=0.5)
    assert best.peak_db <= 0.5
    ratio = np.geomspace(0.2, 20.0, 4000)
    for h in np.geomspace(0.62, 2.1, 60):
        level = 20.0 * np.log10(np.abs(vented_box.response(ratio, qts, alpha, h, 7.0)))
        below = np.flatnonzero(level < -3.0103)
        reach = ratio[below[-1]] if below.size else ratio[0]
        if level.max() <= 0.5:
            assert best.f3_ratio <= reach * 1.02


def test_flattest_tuning_of_the_b4_box_is_close_to_b4() -> None:
    flat = b4(7.0)
    best = flattest_tuning(flat.qts, flat.alpha, 7.0, ripple_db=0.05)
    assert best.h == pytest.approx(1.0, rel=0.05)
    assert best.f3_ratio == pytest.approx(1.0, rel=0.02)


def test_cutoff_that_is_never_reached_is_refused() -> None:
    with pytest.raises(RangeError):
        vented_box.cutoff_ratio(0.4, 1.0, 1.0, level_db=40.0)
    with pytest.raises(RangeError):
        closed_box.cutoff_ratio(0.7, 0.0)


@pytest.mark.parametrize("fit", [vented_box.keele_fit, vented_box.margolis_small_fit])
@pytest.mark.parametrize("qts", [0.1, 0.7])
def test_fits_refuse_other_drivers(fit: object, qts: float) -> None:
    with pytest.raises(RangeError):
        fit(qts)  # type: ignore[operator]


# --- roots ----------------------------------------------------------------------------------------


@given(root=st.floats(0.01, 100.0), spread=st.floats(1.5, 50.0), power=st.sampled_from([1, 3, 5]))
def test_root_of_a_power(root: float, spread: float, power: int) -> None:
    found = bracketed_root(lambda x: (x / root) ** power - 1.0, root / spread, root * spread)
    assert found == pytest.approx(root, rel=1e-9)


def test_root_at_an_end() -> None:
    assert bracketed_root(lambda x: x - 1.0, 1.0, 2.0) == 1.0
    assert bracketed_root(lambda x: x - 2.0, 1.0, 2.0) == 2.0


def test_no_root_is_an_error() -> None:
    with pytest.raises(ConvergenceError):
        bracketed_root(lambda x: x * x + 1.0, -1.0, 2.0)


# --- closed box, impedance, air -------------------------------------------------------------------


@given(qtc=st.floats(0.3, 3.0))
def test_closed_cutoff_is_where_the_response_is_down(qtc: float) -> None:
    for level in (-3.0103, -10.0):
        at = abs(closed_box.response(closed_box.cutoff_ratio(qtc, level), qtc))
        assert 20.0 * math.log10(float(at)) == pytest.approx(level, abs=1e-9)


def test_qtc_below_qts_is_refused() -> None:
    with pytest.raises(RangeError):
        closed_box.compliance_ratio_for_q(0.8, 0.7)


@pytest.mark.parametrize(
    "readings", [(6.0, 5.0, 20.0, 40.0), (6.0, 66.0, 40.0, 20.0), (6.0, 66.0, 0.0, 20.0)]
)
def test_impossible_impedance_readings_are_refused(readings: tuple[float, float, float, float]) -> None:
    with pytest.raises(RangeError):
        impedance.q_from_impedance(*readings)


def test_a_box_that_leaks_is_refused_as_a_test_box() -> None:
    with pytest.raises(RangeError):
        impedance.vas_from_known_volume_simple_m3(0.03, 30.0, 29.0)


@pytest.mark.parametrize(("k", "n"), [(-1.0, 0.5), (0.1, 1.2), (0.1, -0.1)])
def test_impossible_coils_are_refused(k: float, n: float) -> None:
    with pytest.raises(RangeError):
        impedance.lossy_inductance_ohm(100.0, k, n)


def test_wright_form_holds_the_power_law() -> None:
    k, n = 0.0235, 0.688
    turn = 0.5 * math.pi * n
    four = impedance.wright_inductance_ohm(200.0, k * math.cos(turn), n, k * math.sin(turn), n)
    assert complex(four) == pytest.approx(complex(impedance.lossy_inductance_ohm(200.0, k, n)), rel=1e-12)


@pytest.mark.parametrize(("temperature_c", "pressure_pa"), [(200.0, 101325.0), (20.0, 1000.0)])
def test_no_such_air(temperature_c: float, pressure_pa: float) -> None:
    with pytest.raises(RangeError):
        air_at(temperature_c, pressure_pa)


def test_peaks_of_two_boxes_are_refused() -> None:
    with pytest.raises(RangeError):
        vented_box.tuning_from_peaks_hz(20.0, 50.0, 60.0)


# --- ports and cabin ------------------------------------------------------------------------------


@given(
    area=st.floats(1e-3, 0.05),
    volume=st.floats(0.005, 0.5),
    length=st.floats(0.05, 2.0),
    end=st.floats(0.01, 0.2),
)
def test_length_and_tuning_are_inverse(area: float, volume: float, length: float, end: float) -> None:
    tuned = float(ports.tuning_hz(area, volume, length + end))
    assert float(ports.effective_length_m(area, volume, tuned)) == pytest.approx(length + end, rel=1e-12)


@given(width=st.floats(0.02, 0.6), height=st.floats(0.01, 0.3))
def test_slot_end_depends_on_shape_not_on_orientation(width: float, height: float) -> None:
    end = ports.rectangular_end_m(width, height, "flanged")
    assert end == pytest.approx(ports.rectangular_end_m(height, width, "flanged"), rel=1e-9)
    assert 0.3 < end / ports.equivalent_radius_m(width, height) < 0.8395
    assert ports.rectangular_end_m(width, height, "free") < end


@pytest.mark.parametrize("share", [0.01, 0.2])
def test_speed_limits_outside_the_recommendations_are_refused(share: float) -> None:
    with pytest.raises(RangeError):
        ports.speed_limit_m_per_s(mach_share=share)


def test_leakage_ends_the_gain_of_a_cabin() -> None:
    tight = np.asarray(cabin.gain_db(np.array([5.0, 20.0, 60.0]), 65.0))
    leaky = np.asarray(cabin.gain_db(np.array([5.0, 20.0, 60.0]), 65.0, 15.0))
    assert np.all(leaky < tight)
    assert leaky[0] == pytest.approx(10.0 * math.log10(1.0 + (65.0 / 15.0) ** 4), abs=0.1)
    with pytest.raises(RangeError):
        cabin.gain_db(20.0, 65.0, 70.0)


# --- coil heat ------------------------------------------------------------------------------------

THERMAL = CoilThermal(coil_k_per_w=1.5, coil_j_per_k=12.0, magnet_k_per_w=1.0, magnet_j_per_k=1500.0)


def test_step_agrees_with_stepping_through_time() -> None:
    """Closed solution against the two differential equations integrated."""
    from scipy.integrate import solve_ivp

    def slope(_: float, rise: np.ndarray) -> list[float]:
        coil, magnet = rise
        through = (coil - magnet) / THERMAL.coil_k_per_w
        return [
            (50.0 - through) / THERMAL.coil_j_per_k,
            (through - magnet / THERMAL.magnet_k_per_w) / THERMAL.magnet_j_per_k,
        ]

    time = np.geomspace(0.1, 6000.0, 60)
    found = solve_ivp(slope, (0.0, 6000.0), [0.0, 0.0], t_eval=time, rtol=1e-9, atol=1e-9, method="LSODA")
    coil, magnet = thermal.step_rise_k(THERMAL, 50.0, time)
    assert coil == pytest.approx(found.y[0], rel=1e-6)
    assert magnet == pytest.approx(found.y[1], rel=1e-5)


def test_step_ends_at_the_sum_of_resistances() -> None:
    coil, magnet = thermal.step_rise_k(THERMAL, 10.0, np.array([1e6]))
    assert float(coil[0]) == pytest.approx(25.0, rel=1e-9)
    assert float(magnet[0]) == pytest.approx(10.0, rel=1e-9)
    fast, slow = thermal.time_constants_s(THERMAL)
    assert 0.0 < fast < slow


@given(
    drive=st.floats(1.0, 60.0),
    ohm=st.floats(1.0, 12.0),
    rth=st.floats(0.5, 5.0),
    ambient=st.floats(-10.0, 60.0),
)
def test_steady_rise_solves_its_own_equation(drive: float, ohm: float, rth: float, ambient: float) -> None:
    rise = thermal.steady_rise_k(drive, ohm, rth, ambient_c=ambient)
    hot = ohm * float(thermal.resistance_ratio(ambient - 20.0 + rise))
    assert rth * drive**2 / hot == pytest.approx(rise, rel=1e-9)


def test_programme_can_t_be_squarer_than_a_sine() -> None:
    with pytest.raises(RangeError):
        thermal.crest_ratio(2.0)


def test_source_resistance_softens_compression() -> None:
    assert float(thermal.compression_db(100.0, source_ratio=0.2)) > float(thermal.compression_db(100.0))


# --- panels and cutting ---------------------------------------------------------------------------


@given(a=st.floats(0.1, 1.5), b=st.floats(0.1, 1.5), t=st.floats(0.006, 0.04))
def test_clamped_is_above_simply_supported(a: float, b: float, t: float) -> None:
    mdf = MATERIALS["mdf"]
    assert clamped_hz(a, b, t, mdf) > simply_supported_hz(a, b, t, mdf)
    assert simply_supported_hz(a, b, 2.0 * t, mdf) == pytest.approx(
        2.0 * simply_supported_hz(a, b, t, mdf), rel=1e-9
    )
    assert simply_supported_hz(a, b, t, mdf) == pytest.approx(simply_supported_hz(b, a, t, mdf), rel=1e-9)


def test_plywood_is_stiffer_along_its_length() -> None:
    ply = MATERIALS["plywood"]
    assert simply_supported_hz(0.3, 0.6, 0.018, ply) > simply_supported_hz(0.6, 0.3, 0.018, ply)


PIECES = st.lists(
    st.builds(Piece, name=st.just("piece"), length_m=st.floats(0.05, 1.2), width_m=st.floats(0.05, 0.6)),
    min_size=1,
    max_size=14,
)


@given(pieces=PIECES, kerf=st.floats(0.0, 0.006))
def test_pieces_don_t_overlap_and_stay_on_the_sheet(pieces: list[Piece], kerf: float) -> None:
    plan = plan_cuts(pieces, sheet_length_m=1.25, sheet_width_m=1.22, kerf_m=kerf)
    assert len(plan.placements) == len(pieces)
    boxes = []
    for item in plan.placements:
        x, y = (
            (item.piece.width_m, item.piece.length_m)
            if item.turned
            else (item.piece.length_m, item.piece.width_m)
        )
        assert item.x_m + x <= 1.25 + 1e-9
        assert item.y_m + y <= 1.22 + 1e-9
        boxes.append((item.sheet, item.x_m, item.y_m, item.x_m + x, item.y_m + y))
    for one, two in itertools.combinations(boxes, 2):
        if one[0] != two[0]:
            continue
        gap_x = max(two[1] - one[3], one[1] - two[3])
        gap_y = max(two[2] - one[4], one[2] - two[4])
        assert max(gap_x, gap_y) >= kerf - 1e-9
    assert 0.0 < plan.used_share <= 1.0


def test_a_piece_larger_than_the_sheet_is_refused() -> None:
    with pytest.raises(NoSolutionError) as caught:
        plan_cuts(
            [Piece(name="front", length_m=2.0, width_m=0.3)],
            sheet_length_m=1.2,
            sheet_width_m=1.2,
            kerf_m=0.003,
        )
    assert "front" in caught.value.message


def test_visible_grain_keeps_its_direction() -> None:
    piece = Piece(name="side", length_m=0.3, width_m=0.5)
    free = plan_cuts([piece], sheet_length_m=1.2, sheet_width_m=1.2, kerf_m=0.003)
    kept = plan_cuts([piece], sheet_length_m=1.2, sheet_width_m=1.2, kerf_m=0.003, may_turn=False)
    assert free.placements[0].turned
    assert not kept.placements[0].turned
