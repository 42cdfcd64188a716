"""Cut plans: pieces lie in the sheet, a saw cut apart, and can be sawn edge to edge."""

from __future__ import annotations

import random

import pytest

from subwright.base.errors import NoSolutionError
from subwright.physics.acoustics.cutting import CutPlan, Piece, plan_cuts, plan_cuts_closely

Rectangle = tuple[float, float, float, float]
KERF = 0.003


def rectangles(plan: CutPlan, sheet: int) -> list[Rectangle]:
    found = []
    for placed in plan.placements:
        if placed.sheet == sheet:
            piece = placed.piece
            wide, tall = piece.length_m, piece.width_m
            if placed.turned:
                wide, tall = tall, wide
            found.append((placed.x_m, placed.y_m, placed.x_m + wide, placed.y_m + tall))
    return found


def can_be_sawn(pieces: list[Rectangle]) -> bool:
    """Whether edge-to-edge cuts part all pieces."""
    if len(pieces) <= 1:
        return True
    for low, high in ((0, 2), (1, 3)):
        for edge in sorted({piece[high] for piece in pieces}):
            first = [piece for piece in pieces if piece[high] <= edge + 1e-9]
            second = [piece for piece in pieces if piece[low] >= edge + KERF - 2e-4]
            if first and second and len(first) + len(second) == len(pieces):
                return can_be_sawn(first) and can_be_sawn(second)
    return False


def boxes(seed: int) -> list[Piece]:
    rng = random.Random(seed)
    w, h, d = rng.uniform(0.3, 0.9), rng.uniform(0.25, 0.5), rng.uniform(0.25, 0.5)
    sides = [("front", w, h), ("front", w, h), ("back", w, h), ("top", w, d), ("bottom", w, d)]
    sides += [("side", d, h), ("side", d, h), ("brace", w, h), ("shelf", w, 0.7 * d)]
    return [Piece(name=name, length_m=round(a, 3), width_m=round(b, 3)) for name, a, b in sides]


@pytest.mark.parametrize("seed", range(40))
def test_a_plan_can_be_sawn(seed: int) -> None:
    pieces = boxes(seed)
    plan = plan_cuts_closely(pieces, sheet_length_m=1.22, sheet_width_m=1.22, kerf_m=KERF)
    assert sorted(p.piece.name for p in plan.placements) == sorted(p.name for p in pieces)
    for sheet in range(plan.sheets):
        placed = rectangles(plan, sheet)
        assert placed
        for x0, y0, x1, y1 in placed:
            assert x0 >= 0.0
            assert y0 >= 0.0
            assert x1 <= 1.22 + 1e-9
            assert y1 <= 1.22 + 1e-9
        for i, a in enumerate(placed):
            for b in placed[i + 1 :]:
                apart = max(a[0] - b[2], b[0] - a[2], a[1] - b[3], b[1] - a[3])
                assert apart >= KERF - 1e-4
        assert can_be_sawn(placed)


def test_close_packing_never_takes_more_sheets_and_often_fewer() -> None:
    fewer = 0
    for seed in range(60):
        strips = plan_cuts(boxes(seed), sheet_length_m=1.22, sheet_width_m=1.22, kerf_m=KERF)
        close = plan_cuts_closely(boxes(seed), sheet_length_m=1.22, sheet_width_m=1.22, kerf_m=KERF)
        assert close.sheets <= strips.sheets
        fewer += close.sheets < strips.sheets
    assert fewer >= 5


def test_the_same_pieces_give_the_same_plan() -> None:
    plans = [
        plan_cuts_closely(boxes(3), sheet_length_m=1.22, sheet_width_m=1.22, kerf_m=KERF) for _ in range(2)
    ]
    assert plans[0] == plans[1]


def test_a_piece_larger_than_the_sheet_is_refused() -> None:
    with pytest.raises(NoSolutionError, match="larger than the sheet"):
        plan_cuts_closely(
            [Piece(name="door", length_m=2.0, width_m=0.8)],
            sheet_length_m=1.22,
            sheet_width_m=1.22,
            kerf_m=KERF,
        )
