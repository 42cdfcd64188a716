"""A board that was made, with what its check measured and what stays off it."""

from __future__ import annotations

from dataclasses import dataclass

from subwright.boards.record import Board

__all__ = ["KeptBoards", "MadeBoard", "plain_value_mm"]


@dataclass(frozen=True, kw_only=True, slots=True)
class MadeBoard:
    """One block's board, ready to be drawn.

    Attributes
    ----------
    board : its copper, parts and holes. off_board : designator and reason of each part on wires.
    least_gap_um : measured between copper of different nets; 0 where there is one net only.
    seconds : it took to make.
    """

    board: Board
    off_board: tuple[tuple[str, str], ...]
    least_gap_um: int
    seconds: float


@dataclass(frozen=True, kw_only=True, slots=True)
class KeptBoards:
    """The boards kept beside a build file.

    Attributes
    ----------
    code : of the design that they were made for. made_with : version that made them.
    boards : in the order of the sheets. without : title and reason of each block that has none.
    wanted : keys of the boards that the design asks for; those not among ``boards`` are still to be made.
    """

    code: str
    made_with: str
    boards: tuple[MadeBoard, ...]
    without: tuple[tuple[str, str], ...]
    wanted: tuple[str, ...]

    @property
    def missing(self) -> tuple[str, ...]:
        """Keys of boards that were not made yet."""
        made = {one.board.key for one in self.boards}
        return tuple(key for key in self.wanted if key not in made)


def plain_value_mm(size_um: int) -> str:
    """A size in millimetres with what figures it needs: "0.9 mm".

    >>> plain_value_mm(900), plain_value_mm(10_160), plain_value_mm(2_000)
    ('0.9 mm', '10.16 mm', '2 mm')
    """
    return f"{f'{size_um / 1000:.2f}'.rstrip('0').rstrip('.')} mm"
