"""What the builder may ask of the printed boards."""

from __future__ import annotations

from typing import Literal

from subwright.base.fields import Length, StageSpec, choice, quantity

__all__ = ["BoardSpec"]


class BoardSpec(StageSpec):
    """The builder's wishes for the printed boards of the low-power blocks."""

    sides: Literal[1] = choice(
        1,
        why="Sides with copper: 1, below, with straight wire links above; boards with two sides are not "
        "designed yet.",
    )
    track_m: Length = quantity(
        "0.65 mm",
        low="0.3 mm",
        high="1 mm",
        why="Narrowest track, between tight neighbours; track and spacing together fill one step of the grid "
        "of 1.27 mm.",
    )
    spacing_m: Length = quantity(
        "0.5 mm",
        low="0.2 mm",
        high="0.9 mm",
        why="Least gap between two nets; more where the standard asks it for the voltage between them.",
    )
    signal_width_m: Length = quantity(
        "1 mm", low="0.3 mm", high="3 mm", why="Width of a signal's track where there is room."
    )
    supply_width_m: Length = quantity(
        "1.6 mm", low="0.3 mm", high="5 mm", why="Width of ground and supplies where there is room."
    )
    edge_m: Length = quantity(
        "2 mm", low="0.5 mm", high="2.4 mm", why="Least distance from copper to the edge of the board."
    )
    max_width_m: Length = quantity(
        "200 mm", low="50 mm", high="400 mm", why="Widest board that your etching tray or mill takes."
    )
    max_height_m: Length = quantity(
        "150 mm", low="40 mm", high="300 mm", why="Highest board that your etching tray or mill takes."
    )
    arrangement: int = choice(
        1, why="Another number gives another arrangement of the same parts, for one that you don't like."
    )
