"""Drawings for the winding bench: core to scale, phasing with dots, one picture for each winding step."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from subwright.base.units import show
from subwright.outputs.drawing import document, line, num, rect, text, text_width, wrap
from subwright.outputs.winding_sheet import laid
from subwright.stages.transformer_records import TransformerResult, Winding, WindingStep

__all__ = ["winding_svg"]

_WIDTH = 920.0
_CELL = 224.0
_TAP_LEAD = 28.0  # a tap's lead is longer than the ends', so that their names stand apart
_LIGHT = 1.2  # least space between strokes that stand for turns


def _dimension(x1: float, x2: float, y: float, label: str) -> list[str]:
    """A horizontal dimension line with its figure."""
    ticks = f"M{num(x1)} {num(y - 5)}v10M{num(x2)} {num(y - 5)}v10"
    return [
        f'<path d="{ticks}M{num(x1)} {num(y)}H{num(x2)}" class="hair"/>',
        text((x1 + x2) / 2, y - 5, label, classes="t sm halo", anchor="middle"),
    ]


def _core(result: TransformerResult, x: float, y: float, size: float) -> list[str]:
    """The bare core with its dimensions, to scale, within a square of ``size``."""
    core = result.core
    how = "stacked" if core.shape == "ring" else "side by side"
    name = f"{core.id}, {result.material.id}" + (f", {result.stack} {how}" if result.stack > 1 else "")
    out = [text(x, y, name, classes="t")]
    if core.shape != "ring":
        return out + _bobbin_window(result, x, y + 24, size)
    scale = size / (2 * core.coating_m + core.outer_m)
    r_out, r_in = core.outer_m * scale / 2, core.inner_m * scale / 2
    cx, cy = x + size / 2, y + 44 + size / 2
    out.append(f'<circle cx="{num(cx)}" cy="{num(cy)}" r="{num(r_out)}" class="part"/>')
    out.append(f'<circle cx="{num(cx)}" cy="{num(cy)}" r="{num(r_in)}" class="open"/>')
    out += _dimension(cx - r_out, cx + r_out, cy - size / 2 - 12, f"outer {show(core.outer_m, 'length')}")
    out += _dimension(cx - r_in, cx + r_in, cy, f"inner {show(core.inner_m, 'length')}")
    tall = result.stack * core.height_m
    out.append(
        text(
            x,
            cy + size / 2 + 22,
            f"height {show(tall, 'length')}"
            + (f" ({result.stack} \u00d7 {show(core.height_m, 'length')})" if result.stack > 1 else ""),
            classes="ts sm",
        )
    )
    return out


def _layers(result: TransformerResult) -> Iterator[tuple[Winding, int]]:
    """The windings from the core outwards, with the layers of each, a sandwiched one in two parts."""
    primary, secondary = result.primary, result.secondary
    if result.interleave == "sandwich":
        yield secondary, secondary.layers_below
        yield primary, primary.layers
        yield secondary, secondary.layers - secondary.layers_below
    else:
        yield primary, primary.layers
        yield secondary, secondary.layers
    if result.auxiliary is not None:
        yield result.auxiliary, result.auxiliary.layers


def _bobbin_window(result: TransformerResult, x: float, y: float, size: float) -> list[str]:
    """The coil former's winding space, layer upon layer, not to scale across the layers."""
    core = result.core
    groups = list(_layers(result))
    rows = [(winding, i) for winding, count in groups for i in range(count)]
    each = min((size - 40) / max(len(rows), 1), 26.0)
    tall = each * len(rows)
    out = [text(x, y + 12, "one side of the coil former", classes="ts sm")]
    top = y + 26
    out.append(rect(x, top, size, tall, classes="frame"))
    out.append(f'<path d="M{num(x)} {num(top + tall + 3)}h{num(size)}" class="s1"/>')
    out.append(text(x, top + tall + 20, "core leg", classes="ts sm"))
    for index, (winding, _) in enumerate(rows):
        cy = top + tall - each * (index + 0.5)
        count = max(3, min(winding.turns * winding.halves // max(winding.layers, 1) + 1, 14))
        radius = min(each * 0.36, size / (count * 2.4))
        css = "solid" if winding.name == "primary" else "open"
        if winding.foil_width_m > 0:
            wide = size * min(winding.foil_width_m / core.winding_width_m, 1.0)
            out.append(rect(x + (size - wide) / 2, cy - each * 0.2, wide, each * 0.4, classes=css))
            continue
        for k in range(count):
            cx = x + size * (k + 0.5) / count
            out.append(f'<circle cx="{num(cx)}" cy="{num(cy)}" r="{num(radius)}" class="{css}"/>')
    edge = top + tall
    for winding, count in groups:
        layers = f"{winding.name}, {count} layer{'s' if count != 1 else ''}"
        out.append(text(x + size + 8, edge - each * count / 2 + 4, layers, classes="ts sm"))
        edge -= each * count
    width = show(core.winding_width_m, "length")
    out.append(text(x, top + tall + 36, f"winding width {width}", classes="ts sm"))
    return out


def _coil(x: float, y: float, bumps: int, pitch: float, side: int) -> str:
    """A winding symbol: half circles to one side, from the top down."""
    arcs = "".join(
        f"a{num(pitch / 2)} {num(pitch / 2)} 0 0 {1 if side > 0 else 0} 0 {num(pitch)}" for _ in range(bumps)
    )
    return f'<path d="M{num(x)} {num(y)}{arcs}" class="s3"/>'


def _phasing(result: TransformerResult, x: float, y: float) -> list[str]:
    """The symbol with dots: halves in series, starts dotted, the centre taps joined."""
    out = [text(x, y, "phasing: ends with a dot are alike", classes="t")]
    top, tall = y + 34, 142.0
    right = [result.secondary] if result.auxiliary is None else [result.secondary, result.auxiliary]
    out += _coils(result, [result.primary], x + 88, 1, top, tall)
    out += _coils(result, right, x + 166, -1, top, tall if len(right) == 1 else tall + 36.0)
    core, low = x + 127, top + tall + (6 if len(right) == 1 else 42)
    return out + [line(core + shift, top - 6, core + shift, low, classes="frame") for shift in (-4, 4)]


def _coils(
    result: TransformerResult, windings: Sequence[Winding], x: float, side: int, top: float, tall: float
) -> list[str]:
    """The windings on one side of the core, one below the other within ``tall``, each named at its ends."""
    out: list[str] = []
    apart, gap = 30.0, 22.0 if len(windings) == 1 else 16.0
    halves = sum(w.halves for w in windings)
    room = tall - apart * (len(windings) - 1) - gap * (halves - len(windings))
    bumps = 4 if len(windings) == 1 else 3
    pitch = min(room / (halves * bumps), 15.0)
    each = pitch * bumps
    used = halves * each + gap * (halves - len(windings)) + apart * (len(windings) - 1)
    y = top + (tall - used) / 2
    away = x - side * 26
    words = away - side * 6
    for winding in windings:
        starts, finishes, dots = _ends(result, winding)
        first = y
        for half in range(winding.halves):
            low = y + each
            out.append(_coil(x, y, bumps, pitch, side))
            out.append(line(x, y, away, y, classes="frame"))
            out.append(line(x, low, away, low, classes="frame"))
            finish, anchor = _label(finishes, half), "end" if side > 0 else "start"
            out.append(text(words, y + 4, _label(starts, half), classes="t", anchor=anchor))
            out.append(text(words, low + 4, finish, classes="t", anchor=anchor))
            dot_y = y - 6 if finish not in dots else low + 6
            out.append(f'<circle cx="{num(x + side * 9)}" cy="{num(dot_y)}" r="3.2" class="dot"/>')
            if half:
                out.append(line(away, y, away, y - gap, classes="frame"))
            if winding.name == "secondary" and result.tap_turns:
                share = result.tap_turns / winding.turns
                tap_y = y + each * (share if half else 1.0 - share)
                far = away - side * _TAP_LEAD
                out.append(line(x, tap_y, far, tap_y, classes="frame"))
                out.append(text(far - side * 6, tap_y + 4, f"S{5 + half}", classes="t", anchor=anchor))
            y = low + gap
        y -= gap
        count = f"{winding.halves} \u00d7 {winding.turns}" if winding.halves > 1 else f"{winding.turns}"
        if len(windings) == 1:
            at, below = x - side * 2, top + tall + 28
            out.append(text(at, below, count, classes="t", anchor="middle"))
            out.append(text(at, below + 15, winding.name, classes="ts sm", anchor="middle"))
        else:
            at, middle = words - side * 28, (first + y) / 2
            out.append(text(at, middle - 2, count, classes="t"))
            out.append(text(at, middle + 13, winding.name, classes="ts sm"))
        y += apart
    return out


def _ends(result: TransformerResult, winding: Winding) -> tuple[tuple[str, ...], tuple[str, ...], set[str]]:
    """Starts, finishes and dotted ends that the wound steps of a winding give it."""
    wound = [step for step in result.steps if step.turns > 0 and step.winding == winding.name]
    starts = next((step.start_labels for step in wound if step.start_labels), ())
    finishes = next((step.finish_labels for step in wound if step.finish_labels), ())
    return starts, finishes, {dot for step in wound for dot in step.dots}


def _label(labels: Sequence[str], index: int) -> str:
    return labels[index] if index < len(labels) else ""


def _ring_cell(result: TransformerResult, step: WindingStep, x: float, y: float, earlier: int) -> list[str]:
    """A ring with the turns of one step: strokes through the hole, ends led out at the gap."""
    cx, cy, r_out, r_in = x + _CELL / 2, y + 92, 56.0, 31.0
    out = [
        f'<circle cx="{num(cx)}" cy="{num(cy)}" r="{num(r_out)}" class="part"/>',
        f'<circle cx="{num(cx)}" cy="{num(cy)}" r="{num(r_in)}" class="open"/>',
    ]
    out += [
        f'<circle cx="{num(cx)}" cy="{num(cy)}" r="{num(r_out + 3 * (i + 1))}" class="grid"/>'
        for i in range(earlier)
    ]
    around = 2 * math.pi * 0.84
    first = -math.pi / 2 + (2 * math.pi - around) / 2
    turns = max(step.turns, 1)
    shown = min(turns, int(around * r_in / _LIGHT))
    path = ""
    for k in range(shown):
        a = first + (around * k / (shown - 1) if shown > 1 else around / 2)
        lean = min(around / shown * 0.35, 0.1)
        path += (
            f"M{num(cx + (r_in - 4) * math.cos(a - lean))} {num(cy + (r_in - 4) * math.sin(a - lean))}"
            f"L{num(cx + (r_out + 5) * math.cos(a + lean))} {num(cy + (r_out + 5) * math.sin(a + lean))}"
        )
    out.append(f'<path d="{path}" class="s3"/>')
    for angle, labels, side, word in (
        (first, step.start_labels, 1, "start"),
        (first + around, step.finish_labels, -1, "finish"),
    ):
        at = first + around / 2 if shown == 1 else angle
        lean = 0.1 if shown == 1 else min(around / shown * 0.35, 0.1)
        x1, y1 = cx + (r_out + 5) * math.cos(at + lean), cy + (r_out + 5) * math.sin(at + lean)
        x2 = cx + side * 34
        out.append(line(x1, y1, x2, y + 18, classes="s3"))
        if labels:
            words = f"{word} {' '.join(labels)}"
            edge, anchor = (x + _CELL - 18, "end") if side > 0 else (x + 8, "start")
            out.append(text(edge, y + 13, words, classes="t sm", anchor=anchor))
    out.append(text(cx, cy + 4, f"{step.turns}", classes="t", anchor="middle"))
    return out


def _bobbin_cell(result: TransformerResult, step: WindingStep, x: float, y: float, earlier: int) -> list[str]:
    """A coil former seen from the side with the turns of one step, ends led out at the flanges."""
    left, right, top = x + 46, x + _CELL - 46, y + 44
    out = [
        rect(left - 8, top - 10, 8, 108, classes="part"),
        rect(right, top - 10, 8, 108, classes="part"),
        rect(left, top + 24 - 5 * earlier, right - left, 40 + 10 * earlier, classes="open"),
    ]
    winding = _winding(result, step)
    shown = min(max(step.turns, 1), 30)
    edge = top + 20 - 5 * earlier
    deep = 48 + 10 * earlier
    pitch = (right - left) / shown
    if winding.foil_width_m > 0:
        gap = min(9.0, 0.6 * deep / shown)
        for k in range(shown):  # each turn lies upon the one before, over the whole width
            inset = (shown - 1 - k) * gap
            across, tall = right - left - 4, deep - inset
            box = f"M{num(left + 2)} {num(edge + inset / 2)}h{num(across)}v{num(tall)}h{num(-across)}z"
            out.append(f'<path d="{box}" class="s3"/>')
        pitch = (right - left) / 3
    else:
        path = "".join(
            f"M{num(left + pitch * (k + 0.25))} {num(edge + deep)}l{num(pitch / 2)} {num(-deep)}"
            for k in range(shown)
        )
        out.append(f'<path d="{path}" class="s3"/>')
    for at, labels, side, word in (
        (left + pitch * 0.25, step.start_labels, -1, "start"),
        (right - pitch * 0.25, step.finish_labels, 1, "finish"),
    ):
        out.append(line(at, edge, at + side * 4, y + 20, classes="s3"))
        if labels:
            words = f"{word} {' '.join(labels)}"
            anchor = "start" if side < 0 else "end"
            out.append(
                text(x + 8 if side < 0 else x + _CELL - 18, y + 13, words, classes="t sm", anchor=anchor)
            )
    return out


def _winding(result: TransformerResult, step: WindingStep) -> Winding:
    """The winding that a wound step belongs to."""
    return next(w for w in result.windings if w.name == step.winding)


def _cell(result: TransformerResult, step: WindingStep, x: float, y: float, earlier: int) -> list[str]:
    draw = _ring_cell if result.core.shape == "ring" else _bobbin_cell
    out = draw(result, step, x, y, earlier)
    told = [f"{step.number}  {step.winding}"]
    winding = _winding(result, step)
    foil = winding.foil_width_m > 0
    each = f", {step.strands} strands" if step.strands > 1 and not foil else ""
    told.append(f"{step.turns} turn{'s' if step.turns != 1 else ''}{each}")
    if step.wire_id:
        told.append(f"{step.wire_id}, {show(winding.foil_width_m, 'length')} wide" if foil else step.wire_id)
    if step.pieces and step.cut_length_m > 0.0:
        told.append(f"cut {step.pieces} \u00d7 {show(step.cut_length_m, 'length')}")
    if step.direction:
        told += wrap(step.direction, int((_CELL - 20) / text_width("n", 11)))
    return out + [
        text(x + 10, y + 176 + 14 * i, row, classes="t" if i == 0 else "ts sm") for i, row in enumerate(told)
    ]


def winding_svg(result: TransformerResult, *, stamp: str = "", inline: bool = False) -> str:
    """The winding drawing: core, phasing and steps. ``stamp`` is printed on it while a stop stands."""
    wound = [step for step in result.steps if step.turns > 0]
    across = max(1, min(len(wound), int(_WIDTH // _CELL)))
    rows = -(-len(wound) // across) if wound else 0
    cell_tall = 176.0 + 14 * 6 + 18
    head = 330.0
    height = head + rows * cell_tall + 10
    body = [text(12, 20, "Transformer winding", classes="t h")]
    if stamp:
        body.append(text(_WIDTH - 12, 20, stamp, classes="ta", anchor="end"))
    body += _core(result, 24, 56, 190)
    body += _phasing(result, 356, 56)
    body += _summary(result, 648, 56)
    for index, step in enumerate(wound):
        x, y = 12 + (index % across) * _CELL, head + (index // across) * cell_tall
        body.append(rect(x, y - 8, _CELL - 10, cell_tall - 8, classes="grid"))
        body += _cell(result, step, x, y, index)
    return document(
        body, width=_WIDTH, height=height, title="Transformer winding", desc=_described(result), inline=inline
    )


def _summary(result: TransformerResult, x: float, y: float) -> list[str]:
    """Wire and lengths of both windings, as text."""
    out = [text(x, y, "wire", classes="t")]
    row = y + 22
    for winding in result.windings:
        each = "each half " if winding.halves > 1 else ""
        told = (
            winding.name,
            f"{each}{winding.turns} turns of {winding.strands} \u00d7 {winding.wire.id}",
            *_foil_width(winding),
            f"{winding.layers} layer{'s' if winding.layers != 1 else ''}{laid(result, winding)}",
            f"cut {winding.strands * winding.halves} \u00d7 {show(winding.cut_length_m, 'length')}",
            *_taps(result, winding),
        )
        for i, words in enumerate(told):
            for part in wrap(words, 38):
                out.append(text(x, row, part, classes="t" if i == 0 else "ts sm"))
                row += 16
        row += 10
    tape = f"tape {show(result.tape_width_m, 'length')} wide, {show(result.tape_length_m, 'length')}"
    out.append(text(x, row, tape, classes="ts sm"))
    return out


def _taps(result: TransformerResult, winding: Winding) -> tuple[str, ...]:
    if winding.name != "secondary" or not result.tap_turns:
        return ()
    return (f"taps S5 and S6: {result.tap_turns} turns from the centre",)


def _foil_width(winding: Winding) -> tuple[str, ...]:
    return (f"cut {show(winding.foil_width_m, 'length')} wide",) if winding.foil_width_m > 0 else ()


def _described(result: TransformerResult) -> str:
    steps = " ".join(f"{step.number}. {step.action}" for step in result.steps)
    return f"Core {result.core.id}, {result.primary_turns} to {result.secondary_turns} turns. {steps}"
