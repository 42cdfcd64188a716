"""The power flow: widths stand for watts, nothing goes missing, refuses what doesn't add up."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from subwright.base.errors import SubwrightError
from subwright.base.units import show
from subwright.outputs.flow import Flow, Peel, Step

NS = "{http://www.w3.org/2000/svg}"


def flow(losses: list[list[float]], sink_w: float, source_w: float | None = None) -> Flow:
    total = sum(sum(step) for step in losses) + sink_w
    return Flow(
        title="Power",
        source="battery",
        source_w=total if source_w is None else source_w,
        steps=tuple(
            Step(
                name=f"step {i}",
                losses=tuple(Peel(label=f"loss {i}.{j}", power_w=w) for j, w in enumerate(step)),
            )
            for i, step in enumerate(losses)
        ),
        sink="sound",
        sink_w=sink_w,
    )


def test_every_loss_and_what_enters_each_step_is_written() -> None:
    texts = [t.text for t in ET.fromstring(flow([[10.0, 5.0], [40.0]], 2.0).render()).iter(f"{NS}text")]
    for expected in ("57.0 W", "10.0 W", "5.00 W", "42.0 W", "40.0 W", "2.00 W", "loss 0.0", "sound"):
        assert expected in texts


def test_ribbon_steps_by_the_loss_on_one_scale() -> None:
    """Second route: read watts back from the ribbon's outline."""
    text = flow([[60.0, 25.0]], 15.0).render()
    outline = re.findall(r'<path d="M([^"]*)Z" class="solid"/>', text)[0]
    levels = [float(v) for v in re.findall(r"V(-?[\d.]+)", outline)]
    top = levels[-1]
    start = float(re.search(r"L[-\d.]+ ([-\d.]+)V", outline).group(1))  # type: ignore[union-attr]
    scale = (start - top) / 100.0
    assert (start - levels[0]) / scale == pytest.approx(60.0, abs=0.3)
    assert (levels[0] - levels[1]) / scale == pytest.approx(25.0, abs=0.3)


def test_thin_sound_is_enlarged_and_says_so() -> None:
    text = flow([[300.0]], 2.0).render()
    assert "\u00d7 50" in text
    words = " ".join(re.sub(r"<[^>]*>", " ", text).split())  # the small print may take two lines
    assert "drawn 50 times as wide" in words
    assert "times as wide" not in flow([[100.0]], 60.0).render()


def test_many_small_losses_are_drawn_together() -> None:
    text = flow([[20.0, 10.0, 5.0, 4.0, 3.0, 2.0, 1.0, 0.5]], 1.0).render()
    assert "3 smaller" in text
    assert show(3.5, "power") in text


@pytest.mark.parametrize(
    ("losses", "sink", "source"),
    [([[10.0]], 5.0, 16.0), ([[-1.0]], 5.0, None), ([[float("nan")]], 5.0, 10.0), ([[]], 0.0, None)],
)
def test_refuses_what_does_not_add_up(losses: list[list[float]], sink: float, source: float | None) -> None:
    with pytest.raises(SubwrightError):
        flow(losses, sink, source)


@settings(deadline=None)
@given(st.lists(st.lists(st.floats(0.0, 500.0), max_size=9), min_size=1, max_size=6), st.floats(0.01, 50.0))
def test_any_flow_is_well_formed_and_repeats(losses: list[list[float]], sink: float) -> None:
    drawn = flow(losses, sink)
    text = drawn.render()
    ET.fromstring(text)
    assert text == drawn.render()
    assert not re.search(r"\b(nan|inf)\b", text)


def test_the_small_print_stays_inside_a_narrow_drawing() -> None:
    from subwright.outputs.drawing import text_width

    flow = Flow(
        title="t",
        source="b",
        source_w=100.0,
        steps=(
            Step(name="amplifier", losses=(Peel(label="a", power_w=0.5), Peel(label="b", power_w=0.0005))),
        ),
        sink="sound",
        sink_w=99.4995,
    )
    drawn = flow.render()
    width = float(re.search(r'viewBox="0 0 ([\d.]+)', drawn).group(1))  # type: ignore[union-attr]
    notes = re.findall(r'class="ts sm">([^<]*)<', drawn)
    assert any("proportional" in note for note in notes)
    assert all(12.0 + text_width(note, 11.0) <= width for note in notes)
