"""The box search: nothing on the front is beaten, and every box on it can be built and does what it says."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from subwright.base.errors import NoSolutionError
from subwright.build.box_search import keys_of
from subwright.parts.library import load_library
from subwright.stages.cabin import CabinSpec, design_cabin
from subwright.stages.driver import DriverResult, DriverSpec, design_driver
from subwright.stages.enclosure import EnclosureNeed, EnclosureSpec, design_enclosure
from subwright.stages.enclosure_search import BoxChoice, BoxSearch, search_boxes

DRIVER = design_driver(DriverSpec(part="Harbour 10"), load_library())
NEED = EnclosureNeed(drive_v=DRIVER.rated_v, source_ohm=0.1, lowest_note_hz=32.0)
ROOM = {"room_width": "700 mm", "room_height": "380 mm", "room_depth": "380 mm"}


@pytest.fixture(scope="module")
def found() -> BoxSearch:
    return search_boxes(EnclosureSpec.model_validate(ROOM), DRIVER, NEED, most=200)


def merit(choice: BoxChoice) -> np.ndarray:
    return np.array([choice.net_volume_m3, choice.f3_hz, -choice.level_db, choice.delay_s])


def test_enough_is_looked_at_and_both_kinds_are_there(found: BoxSearch) -> None:
    assert found.considered >= 20_000
    assert 50 <= found.fitting <= found.considered
    assert {choice.kind for choice in found.front} >= {"sealed", "vented"}


def test_no_box_of_the_front_beats_another(found: BoxSearch) -> None:
    coarse = np.array([1e-3, 0.5, 0.5, 1e-3])
    for one in found.front:
        for other in found.front:
            if one is not other:
                assert not np.all(merit(one) <= merit(other) - coarse)


def test_every_box_keeps_to_room_and_limits(found: BoxSearch) -> None:
    for choice in found.front:
        assert choice.outer_width_m <= 0.7 + 1e-9
        assert choice.outer_height_m <= 0.38 + 1e-9
        assert choice.outer_depth_m <= 0.38 + 1e-9
        assert choice.peak_db <= 2.0
        assert choice.port_speed_m_per_s is None or choice.port_speed_m_per_s <= 17.0


def test_the_boxes_found_can_be_built_and_do_what_was_promised(found: BoxSearch) -> None:
    """By the other route: each box goes through the whole stage, panels and all."""
    cabin = design_cabin(CabinSpec())
    for choice in found.front[:: max(len(found.front) // 8, 1)]:
        keys = {key.removeprefix("enclosure."): value for key, value in keys_of(choice).items()}
        if "port_count" in keys:
            keys["port_count"] = int(keys["port_count"])  # type: ignore[assignment]
        for name in ("qtc", "band_damping"):
            if keys.get(name, "auto") != "auto":
                keys[name] = float(keys[name])  # type: ignore[assignment]
        spec = EnclosureSpec.model_validate({**ROOM, **keys})
        built = design_enclosure(spec, DRIVER, cabin, NEED)
        assert built.kind == choice.kind
        assert built.net_volume_m3 == pytest.approx(choice.net_volume_m3, rel=0.03)
        assert built.f3_hz == pytest.approx(choice.f3_hz, rel=0.04)
        level = np.interp(np.log(32.0), np.log(built.own_limits.frequency_hz), built.limits.level_db)
        assert level == pytest.approx(choice.level_db, abs=0.6)
        if built.port is not None:
            assert choice.port_length_m is not None
            assert built.port.length_m == pytest.approx(choice.port_length_m, rel=0.08)


def test_a_band_pass_on_the_front_can_be_built() -> None:
    driver = design_driver(DriverSpec(part="Fell 12"), load_library())
    need = EnclosureNeed(drive_v=driver.rated_v, source_ohm=0.1, lowest_note_hz=32.0)
    front = search_boxes(EnclosureSpec(), driver, need, most=400).front
    banded = [choice for choice in front if choice.kind == "band-pass"]
    assert banded
    for choice in banded[::4]:
        keys = {key.removeprefix("enclosure."): value for key, value in keys_of(choice).items()}
        numbers = {"port_count": int(keys["port_count"]), "qtc": float(keys["qtc"])}
        numbers["band_damping"] = float(keys["band_damping"])
        spec = EnclosureSpec.model_validate({**keys, **numbers})
        built = design_enclosure(spec, driver, design_cabin(CabinSpec()), need)
        assert built.kind == "band-pass"
        assert built.net_volume_m3 == pytest.approx(choice.net_volume_m3, rel=0.02)
        assert built.f3_hz == pytest.approx(choice.f3_hz, rel=0.04)
        assert built.tuning_hz == pytest.approx(choice.tuning_hz, rel=0.02)


def test_a_brute_check_of_reach(found: BoxSearch) -> None:
    """f3 of the sealed boxes against the closed form, which knows no coil inductance: within 8 %."""
    for choice in found.front:
        if choice.kind == "sealed" and choice.peak_db < 0.05:
            alpha = DRIVER.vas_m3 / choice.net_volume_m3
            qtc = DRIVER.qts * (DRIVER.re_ohm + 0.1) / DRIVER.re_ohm * (1.0 + alpha) ** 0.5
            a = 1.0 / qtc**2 - 2.0
            f3 = DRIVER.fs_hz * (1.0 + alpha) ** 0.5 * ((a + (a * a + 4.0) ** 0.5) / 2.0) ** 0.5
            assert choice.f3_hz == pytest.approx(f3, rel=0.08)


def test_few_are_spread_over_the_sizes() -> None:
    few = search_boxes(EnclosureSpec.model_validate(ROOM), DRIVER, NEED, most=6)
    volumes = [choice.net_volume_m3 for choice in few.front]
    assert 3 <= len(volumes) <= 6
    assert volumes == sorted(volumes)
    assert volumes[-1] > 2.0 * volumes[0]


def test_a_room_too_small_for_the_driver_is_refused() -> None:
    with pytest.raises(NoSolutionError):
        search_boxes(EnclosureSpec.model_validate({"room_width": "200 mm"}), DRIVER, NEED)


def built_from(choice: BoxChoice, driver: DriverResult, need: EnclosureNeed, room: dict[str, str]) -> Any:
    keys: dict[str, Any] = {k.removeprefix("enclosure."): v for k, v in keys_of(choice).items()}
    for name, kind in (("radiator_count", int), ("radiator_q", float)):
        keys[name] = kind(keys[name])
    return design_enclosure(
        EnclosureSpec.model_validate({**room, **keys}), driver, design_cabin(CabinSpec()), need
    )


RADIATOR_ROOM = {"room_width": "1 m", "room_height": "500 mm", "room_depth": "500 mm"}


def passive(spec: dict[str, Any]) -> list[BoxChoice]:
    found = search_boxes(EnclosureSpec.model_validate({**RADIATOR_ROOM, **spec}), DRIVER, NEED, most=2000)
    return [choice for choice in found.front if choice.kind == "passive-radiator"]


def test_boxes_with_stock_radiators_can_be_built_and_do_what_was_promised() -> None:
    """By the other route: the whole stage loads the radiator again and judges box and limits."""
    choices = passive({})
    assert choices
    for choice in choices[:: max(len(choices) // 8, 1)]:
        built = built_from(choice, DRIVER, NEED, RADIATOR_ROOM)
        assert built.radiator is not None
        assert choice.radiator is not None
        assert built.net_volume_m3 == pytest.approx(choice.net_volume_m3, rel=0.03)
        assert built.tuning_hz == pytest.approx(choice.tuning_hz, rel=0.01)
        assert built.radiator.added_kg == pytest.approx(choice.radiator_added_kg, rel=0.08, abs=0.002)
        assert built.f3_hz == pytest.approx(choice.f3_hz, rel=0.04)
        level = np.interp(np.log(32.0), np.log(built.own_limits.frequency_hz), built.limits.level_db)
        assert level == pytest.approx(choice.level_db, abs=0.6)
        held = np.minimum(NEED.drive_v, built.excursion_limit_v)
        system = built.system
        moved = system.radiator_excursion_at_1v(system.solve(built.frequency_hz)) * held
        assert moved[built.frequency_hz >= 32.0].max() == pytest.approx(choice.radiator_excursion_m, rel=0.06)
        assert choice.radiator_excursion_m <= choice.radiator.xmax_m


def test_the_build_file_s_own_radiator_is_the_only_one_tried() -> None:
    own = {
        "radiator_diameter": "300 mm",
        "radiator_mass": "250 g",
        "radiator_resonance": "16 Hz",
        "radiator_frame": "360 mm",
        "radiator_hole": "325 mm",
        "radiator_xmax": "21 mm",
    }
    choices = passive(own)
    assert choices
    assert {choice.radiator.origin for choice in choices if choice.radiator} == {"build file"}
    assert {choice.radiator.diameter_m for choice in choices if choice.radiator} == {0.3}


def test_a_radiator_that_hardly_moves_is_no_candidate() -> None:
    own = {
        "radiator_diameter": "165 mm",
        "radiator_mass": "60 g",
        "radiator_resonance": "22 Hz",
        "radiator_frame": "212 mm",
        "radiator_hole": "186 mm",
        "radiator_xmax": "1 mm",
    }
    assert passive(own) == []
