"""The winding sheet: what to do in which order, and what the finished transformer must read.

Ends are named P1–P2 and P3–P4 for the half-primaries, S1–S2 and S3–S4 for the half-secondaries, A1–A4 for a
small winding over them; odd numbers are starts and carry the dot. A centre tap joins the finish of the first
half to the start of the second. S5 and S6 are taps of the half-secondaries for inner rails. The primary of a
full bridge has no halves: P1–P2 is all of it.
"""

from __future__ import annotations

from dataclasses import replace

from subwright.base.units import show
from subwright.parts.schema import Core
from subwright.stages.transformer_records import PhasingCheck, Winding, WindingStep

__all__ = ["phasing_checks", "winding_steps"]

_DIRECTION = "clockwise, seen from the side where the winding starts"
_ALIKE = 0.03  # two halves wound together differ by less
_METER = 0.10  # bench reading of a low resistance


def _mm(value_m: float) -> str:
    return show(value_m, "length")


def _count(number: int, one: str) -> str:
    return f"{number} {one}" if number == 1 else f"{number} {one}s"


_PREFIX = {"primary": "P", "secondary": "S", "auxiliary": "A"}


def _ends(prefix: str, halves: int) -> tuple[tuple[str, ...], tuple[str, ...]]:
    starts, finishes = ((f"{prefix}1", f"{prefix}3"), (f"{prefix}2", f"{prefix}4"))
    return starts[:halves], finishes[:halves]


def _prepare(core: Core, stack: int, tape: str) -> WindingStep:
    if core.shape == "ring":
        glue = f"Glue {stack} rings face to face and let the glue set. " if stack > 1 else ""
        text = (
            f"{glue}Look over the coating: a chip with a sharp edge cuts enamel, so cover it with {tape} "
            "or take another ring."
        )
    else:
        former = (
            f"Make a coil former for {stack} sets of {core.id} side by side, of a material that stands "
            "130 °C, walls as thick as the single former's, and tape the sets together when they are in. "
            if stack > 1
            else ""
        )
        text = (
            f"{former}Check that the coil former for {core.id} turns freely on the winder and that its "
            "pins are straight. Keep the core halves aside with their ground faces covered."
        )
    return WindingStep(number=1, action=text)


def _wind(winding: Winding, turns: int, layers: int, lay: str, part: str, labels: str) -> WindingStep:
    starts, finishes = _ends(_PREFIX[winding.name], winding.halves)
    pieces = winding.strands * winding.halves
    if winding.foil_width_m > 0:
        return _wind_foil(winding, turns, layers, part, labels)
    halves = "both halves" if winding.halves == 2 else "the winding"
    if pieces == 1:
        bundle = "Wind"
    elif lay == "twisted":
        bundle = (
            f"Lay the strands of {halves} side by side, twist them into one bundle of about "
            f"{_mm(winding.bundle_m)} with a turn every {_mm(10 * winding.bundle_m)}, and wind"
        )
    else:
        bundle = f"Lay the strands of {halves} side by side without crossing, and wind"
    cut = (
        f"Cut {_count(pieces, 'piece')} of {winding.wire.id}, {_mm(winding.cut_length_m)} each. "
        if part != "second"
        else ""
    )
    mark = _mark(winding, labels) if part != "second" else "Go on with the same strands. "
    again = {
        "whole": "",
        "first": " (first part; leave the rest of the wire hanging)",
        "second": " (second part)",
    }
    return WindingStep(
        number=0,
        action=f"{cut}{mark}{bundle} {_count(turns, 'turn')}{again[part]}, {_DIRECTION}. "
        "Spread the turns evenly over the whole width or ring.",
        winding=winding.name,
        turns=turns,
        strands=winding.strands,
        layers=layers,
        wire_id=winding.wire.id,
        cut_length_m=0.0 if part == "second" else winding.cut_length_m,
        pieces=0 if part == "second" else pieces,
        direction=_DIRECTION,
        start_labels=starts if part != "second" else (),
        finish_labels=finishes if part != "first" else (),
        dots=starts if part != "second" else (),
    )


def _mark(winding: Winding, labels: str) -> str:
    return f"Mark the start{'s' if winding.halves > 1 else ''} {labels}. "


def _wind_foil(winding: Winding, turns: int, layers: int, part: str, labels: str) -> WindingStep:
    """Foil: cut to width, edges blunt, both halves one upon the other, a tab soldered to each end."""
    starts, finishes = _ends(_PREFIX[winding.name], winding.halves)
    pieces = winding.strands * winding.halves
    first, second = part != "second", part == "second"
    mark = _mark(winding, labels)
    cut = (
        f"Cut {_count(pieces, 'strip')} of {winding.wire.id}, {_mm(winding.foil_width_m)} wide and "
        f"{_mm(winding.cut_length_m)} long. Wear gloves: the edges cut skin, and burrs cut insulation, so "
        "rub the edges smooth. Solder a flat tab across the whole width of each end. "
    )
    together = "Lay the strips one upon the other, film between each two, and wind" if pieces > 1 else "Wind"
    each = {"whole": "", "first": " (first part; leave the rest hanging)", "second": " (second part)"}
    return WindingStep(
        number=0,
        action=f"{cut if first else ''}{mark if first else ''}"
        f"{together if first else 'Go on with the same strips,'} {_count(turns, 'turn')}{each[part]}, "
        f"{_DIRECTION}, film on every layer and lapping the edges by 1 mm.",
        winding=winding.name,
        turns=turns,
        strands=winding.strands,
        layers=layers,
        wire_id=winding.wire.id,
        cut_length_m=winding.cut_length_m if first else 0.0,
        pieces=pieces if first else 0,
        direction=_DIRECTION,
        start_labels=starts if first else (),
        finish_labels=() if part == "first" else finishes,
        dots=() if second else starts,
    )


def _labels(winding: Winding) -> str:
    prefix = _PREFIX[winding.name]
    if winding.halves == 1:
        return f"{prefix}1"
    each = _count(winding.strands, "strip" if winding.foil_width_m > 0 else "strand")
    return f"{prefix}1 ({each} of one half) and {prefix}3 ({each} of the other)"


def _tap(winding: Winding, action: str) -> WindingStep:
    """Joining finish and start of two halves to a centre tap."""
    prefix = _PREFIX[winding.name]
    return WindingStep(
        number=0,
        action=action,
        winding=winding.name,
        start_labels=(f"{prefix}3",),
        finish_labels=(f"{prefix}2",),
        dots=(f"{prefix}1", f"{prefix}3"),
    )


def _sort(windings: tuple[Winding, ...]) -> WindingStep:
    """Finding the finishes, twisting and tinning the ends."""
    pairs = [
        f"{prefix}2 belongs to {prefix}1" + (f" and {prefix}4 to {prefix}3" if w.halves == 2 else "")
        for w in windings
        for prefix in (_PREFIX[w.name],)
    ]
    return WindingStep(
        number=0,
        action=f"Find each finish by continuity: {', '.join(pairs)}. Twist each end's strands together. "
        "Strip and tin them with air moving away from you: hot enamel gives off harmful fumes.",
        finish_labels=tuple(label for w in windings for label in _ends(_PREFIX[w.name], w.halves)[1]),
    )


def _taps(secondary: Winding, tap: int) -> list[WindingStep]:
    """What to lead out while the secondary is wound; nothing without a tap."""
    if not tap:
        return []
    foil = secondary.foil_width_m > 0
    first, second = secondary.turns - tap, tap
    apart = "" if foil else "Paint the strands of one half before they are laid together. "
    what = "solder a tab across the strip" if foil else "pull a loop of all its strands out, twist it"
    return [
        WindingStep(
            number=0,
            action="The secondary is tapped: count its turns from the starts as you wind it. "
            f"{apart}On the half that begins at S1, {what} and sleeve it after {_count(first, 'turn')}: S5. "
            f"On the half that begins at S3 do the same after {_count(second, 'turn')}: S6. Each tap lies "
            f"{_count(tap, 'turn')} from the centre. Don't cut the wire.",
            winding=secondary.name,
        )
    ]


def _finish(windings: tuple[Winding, ...], core: Core, tap: int) -> list[WindingStep]:
    """Ends sorted, centre taps joined, core closed."""
    primary, secondary = windings[:2]
    steps = [_sort(windings)]
    if primary.halves == 2:
        steps.append(
            _tap(
                primary,
                "Join P2 (finish of the first half) to P3 (start of the second): this is "
                "the primary's centre tap and goes to battery +. P1 and P4 go to the two switches' "
                "drains. The join carries the whole battery current: wrap, solder through, keep it short.",
            )
        )
    else:
        steps.append(
            WindingStep(
                number=0,
                action="P1 and P2 go to the two middles of the bridge, where an upper and a lower "
                "switch meet. There is no centre tap, and neither end goes to the battery. Both joints "
                "carry the whole current: wrap, solder through, keep the two leads short and side by side.",
                winding="primary",
                dots=("P1",),
            )
        )
    if secondary.halves == 2:
        steps.append(
            _tap(
                secondary,
                "Join S2 to S3: the secondary's centre tap, 0 V of the rails. S1 and S4 go to the rectifier."
                + (
                    " Scrape, tin and join all strands of each loop: S5 is TAP A, S6 is TAP B, to the inner "
                    "rails' rectifier."
                    if tap
                    else ""
                ),
            )
        )
    else:
        steps.append(
            WindingStep(number=0, action="S1 and S2 go to the rectifier.", winding="secondary", dots=("S1",))
        )
    steps += [
        _tap(
            small,
            "Join A2 to A3: 0 V of the small rails. A1 and A4 go to the small rectifier. Sleeve these "
            "thin leads; they break where they leave the winding.",
        )
        for small in windings[2:]
    ]
    if core.shape != "ring":
        steps.append(
            WindingStep(
                number=0,
                action="Wipe the ground faces of the core halves, put them together with nothing between, "
                "and clamp them. Dust there acts as an air gap.",
            )
        )
    steps.append(
        WindingStep(number=0, action="Do all the readings below before the transformer meets a battery.")
    )
    return steps


def winding_steps(
    core: Core,
    stack: int,
    primary: Winding,
    secondary: Winding,
    lay: str,
    *,
    sandwich: bool,
    insulation_m: float,
    auxiliary: Winding | None = None,
    tap: int = 0,
) -> tuple[WindingStep, ...]:
    """Steps at the bench, in order.

    Parameters
    ----------
    core, stack : the core. primary, secondary : the windings.
    lay : "twisted" or "flat".
    sandwich : whether half of the secondary lies below the primary.
    insulation_m : tape between primary and secondary, m.
    auxiliary : a small winding over all others; None where there is none.
    tap : turns of each half-secondary from its centre to its tap; 0 without one.

    Returns
    -------
    numbered steps.
    """
    tape = "polyester tape"
    wrap = (
        f"Wrap {tape} over the whole winding until it is {_mm(insulation_m)} thick, lapped so that no wire "
        "shows."
    )
    barrier = WindingStep(number=0, action=f"{wrap} Rail and battery meet here.")
    prepare = _prepare(core, stack, tape)
    inner = _wind(primary, primary.turns, primary.layers, lay, "whole", _labels(primary))
    if sandwich:
        below = secondary.turns // 2
        above = secondary.layers - secondary.layers_below
        middle = [
            *_taps(secondary, tap),
            _wind(secondary, below, secondary.layers_below, lay, "first", _labels(secondary)),
            barrier,
            inner,
            barrier,
            _wind(secondary, secondary.turns - below, above, lay, "second", _labels(secondary)),
        ]
    else:
        middle = [
            inner,
            barrier,
            *_taps(secondary, tap),
            _wind(secondary, secondary.turns, secondary.layers, lay, "whole", _labels(secondary)),
        ]
    windings: tuple[Winding, ...] = (primary, secondary)
    if auxiliary is not None:
        windings = (*windings, auxiliary)
        small = _wind(auxiliary, auxiliary.turns, auxiliary.layers, lay, "whole", _labels(auxiliary))
        middle = [*middle, replace(barrier, action=f"{wrap} The small winding lies on it."), small]
    steps = [prepare, *middle, *_finish(windings, core, tap)]
    return tuple(replace(step, number=i) for i, step in enumerate(steps, start=1))


def _ratio(action: str, expected: float, failure: str) -> PhasingCheck:
    return PhasingCheck(
        number=0,
        action=action,
        quantity="ratio",
        unit="",
        expected=expected,
        low=expected * (1.0 - _ALIKE),
        high=expected * (1.0 + _ALIKE),
        failure=failure,
    )


def phasing_checks(
    primary: Winding,
    secondary: Winding,
    magnetising_h: tuple[float, float, float],
    leakage_h: tuple[float, float, float],
    cold_ohm: tuple[float, float],
    *,
    auxiliary: Winding | None = None,
    tap: int = 0,
) -> tuple[PhasingCheck, ...]:
    """Readings on the finished transformer, with what passes.

    Parameters
    ----------
    primary, secondary : the windings.
    magnetising_h : inductance of a half-primary: expected, low, high, H.
    leakage_h : leakage referred to a half-primary: expected, low, high, H.
    cold_ohm : resistance of a half-primary and of a half-secondary at 20 °C, ohm.
    auxiliary : a small winding over all others; None where there is none.
    tap : turns of each half-secondary from its centre to its tap; 0 without one.

    Returns
    -------
    numbered checks; two equal halves in series aiding read four times the inductance of one, in series
    opposing next to nothing.
    """
    expected, low, high = magnetising_h
    halves = primary.halves == 2
    checks = [
        PhasingCheck(
            number=0,
            action="Ohmmeter between any primary and any secondary end, and from each winding to the core.",
            quantity="resistance",
            unit="Ω",
            expected=10e6,
            low=1e6,
            high=None,
            failure="Enamel or tape is damaged. Don't use it: unwind.",
        ),
        PhasingCheck(
            number=0,
            action=("Before joining the centre tap: inductance" if halves else "Inductance")
            + " of P1–P2 at 10 kHz, all else open.",
            quantity="inductance",
            unit="H",
            expected=expected,
            low=low,
            high=high,
            failure="Low: turns missing, a shorted turn, or a gap between the core halves. High: a turn too "
            "many, or another grade than thought.",
        ),
        *_phasing(primary, secondary, auxiliary, tap),
        PhasingCheck(
            number=0,
            action="Short the secondary from end to end with thick wire. Inductance of P1–P2 at 100 kHz; "
            "take off what the meter reads with its leads shorted.",
            quantity="inductance",
            unit="H",
            expected=leakage_h[0],
            low=leakage_h[1],
            high=leakage_h[2],
            failure="High: the windings don't lie on one another; expect a higher drain spike and a snubber "
            "to match.",
        ),
    ]
    for winding, ohm, ends in ((primary, cold_ohm[0], "P1–P2"), (secondary, cold_ohm[1], "S1–S2")):
        checks.append(
            PhasingCheck(
                number=0,
                action=f"Four-wire resistance of {ends} at room temperature.",
                quantity="resistance",
                unit="Ω",
                expected=ohm,
                low=ohm * (1.0 - _METER),
                high=ohm * (1.0 + _METER),
                failure=f"High: a strand of the {winding.strands} is broken or not soldered."
                if winding.strands > 1
                else "High: a poor joint.",
            )
        )
    return tuple(replace(check, number=i) for i, check in enumerate(checks, start=1))


def _phasing(primary: Winding, secondary: Winding, auxiliary: Winding | None, tap: int) -> list[PhasingCheck]:
    """Which end is which, and how many turns: ratios of inductance and of voltage."""
    ratio = secondary.turns / primary.turns
    part = "S1–S2" if secondary.halves == 1 else "S1–S2, and of S3–S4,"
    drive = "A sine of the switching frequency from a generator across P1–P2; 0.1 V is enough. "
    again = "With the same drive: v"
    checks: list[PhasingCheck] = []
    if primary.halves == 2:
        reversed_half = (
            "Close to zero: one half is reversed. Swap the two ends of that half (P3 with P4) and read "
            "again; a reversed half shorts the battery through both switches."
        )
        checks = [
            _ratio(
                "P3–P4 the same way, divided by the reading of P1–P2.",
                1.0,
                "The halves differ in turns: the core would walk into saturation.",
            ),
            _ratio("Join P2 to P3. Inductance of P1–P4 divided by that of P1–P2.", 4.0, reversed_half),
            _ratio(f"{drive}Voltage of P1–P4 divided by that of P1–P2.", 2.0, reversed_half),
        ]
    lead = again if checks else f"{drive}V"
    checks.append(
        _ratio(
            f"{lead}oltage of {part} divided by that of P1–P2.",
            ratio,
            f"The turns are miscounted: one turn of the secondary changes the reading by "
            f"{1.0 / primary.turns:.2g}.",
        )
    )
    if primary.halves == 1:
        checks.append(
            _ratio(
                "Join P2 to S1 for this reading only. With the same drive: voltage of P1–S2 divided by that "
                "of P1–P2.",
                1.0 + ratio,
                f"Near {abs(1.0 - ratio):.2g}: start and finish of one winding are swapped. The rails come "
                "all the same, but every label and dot after it would be wrong: mark the ends anew.",
            )
        )
    if secondary.halves == 2:
        checks.append(
            _ratio(
                f"Join S2 to S3. {again}oltage of S1–S4 divided by that of S1–S2.",
                2.0,
                "Close to zero: one half-secondary is reversed; swap S3 with S4. Each rail would fill in "
                "every other half cycle only.",
            )
        )
    if tap:
        checks.append(
            _ratio(
                f"{again}oltage of S5–S2, and of S3–S6, divided by that of S1–S2.",
                tap / secondary.turns,
                "The tap is on another turn: the inner rails would lie elsewhere. One turn changes the "
                f"reading by {1.0 / secondary.turns:.2g}; unequal readings make the inner rails unequal.",
            )
        )
    if auxiliary is not None:
        small = auxiliary.turns / primary.turns
        checks += [
            _ratio(
                f"{again}oltage of A1–A2, and of A3–A4, divided by that of P1–P2.",
                small,
                f"The turns are miscounted: one turn changes the reading by {1.0 / primary.turns:.2g}.",
            ),
            _ratio(
                f"Join A2 to A3. {again}oltage of A1–A4 divided by that of A1–A2.",
                2.0,
                "Close to zero: one half of the small winding is reversed; swap A3 with A4. Each small "
                "rail would fill in every other half cycle only.",
            ),
        ]
    return checks
