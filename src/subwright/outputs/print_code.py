"""The short code that ties a print to one exact design, and its square code."""

from __future__ import annotations

import json
from hashlib import sha256

from subwright.build.result import Design

__all__ = ["code_square", "design_code", "design_facts"]

_LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"  # without I, L, O and U, which are misread by hand


def design_facts(design: Design) -> dict[str, object]:
    """What makes a build this one and no other: its input, parts, turns and panels, as made."""
    parts = [
        [stage, part.role, part.part_id, part.value, f"{part.quantity:.4g}", part.unit]
        for stage, part in design.part_uses()
    ]
    panels = [
        [panel.name, panel.count, *(round(1e4 * side) for side in (panel.length_m, panel.width_m))]
        + [[round(1e4 * x) for x in (h.x_m, h.y_m, h.width_m, h.height_m)] for h in panel.holes]
        for panel in design.enclosure.panels
    ]
    turns = (
        None
        if design.transformer is None
        else [design.transformer.primary_turns, design.transformer.secondary_turns]
    )
    return {
        "spec": design.spec.model_dump(mode="json"),
        "parts": parts,
        "panels": panels,
        "turns": turns,
    }


def design_code(design: Design) -> str:
    """Eight letters and figures in two groups: "4F7K-0QZ3". Equal designs give equal codes on any machine."""
    text = json.dumps(design_facts(design), sort_keys=True, ensure_ascii=True, separators=(",", ":"))
    number = int.from_bytes(sha256(text.encode()).digest()[:5], "big")
    letters = "".join(_LETTERS[(number >> shift) & 31] for shift in range(35, -1, -5))
    return f"{letters[:4]}-{letters[4:]}"


def code_square(code: str) -> str:
    """The code as a two-dimensional bar code (ISO/IEC 18004), an SVG drawing."""
    import segno

    square = segno.make(f"SUBWRIGHT:{code}", error="m", micro=False)
    return square.svg_inline(scale=4, border=2, dark="#16202a", light="#ffffff", omitsize=False)
