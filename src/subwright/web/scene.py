"""What the drawing of the build shows at one battery voltage and level: printed texts, powers and shapes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from subwright.base.units import show
from subwright.build.moment import Moment, voltage_range
from subwright.build.result import Design
from subwright.outputs.power_view import step_of
from subwright.outputs.tables import margin_text, share_used
from subwright.outputs.views import Overview
from subwright.stages.common import Corner, Level

__all__ = ["Label", "Ruler", "Scene", "Shapes", "margin_said", "scene_of"]

Words = Callable[[str], str]

_FILTER_POINTS = 40
_MARGINS = (
    "none left",
    "under",
    "left",
    "far beyond",
    "beyond",
    "times the need",
    "times the limit",
    "ample",
)
_EXTRAS = ("battery_guard", "control", "input", "speaker_guard")


@dataclass(frozen=True, kw_only=True, slots=True)
class Label:
    """A stage's words: figures that follow the slider, the tightest margin of the whole build."""

    key: str
    figures: tuple[str, ...]
    tightest: str = ""
    margin_text: str = ""
    used: float = 0.0
    broken: bool = False  # the accent is kept for what is over its limit, else it would be everywhere
    native: bool = False  # whether the tightest margin is named in the reader's language


@dataclass(frozen=True, kw_only=True, slots=True)
class Ruler:
    """The battery's scale under the drawing: its ends, its named corners and the trips, V."""

    low_v: float
    high_v: float
    corners: tuple[tuple[str, float], ...]
    off_below_v: float | None
    off_above_v: float | None
    plays_from_v: float
    plays_to_v: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Shapes:
    """What the things look like: counts and sizes of the real parts."""

    battery: str
    cells: int
    system: str
    bridge: bool
    boost: bool
    choke_turns: int  # 0 without a boost converter
    switches: int
    ring: bool
    hole_share: float  # inner over outer diameter of a ring
    primary_turns: int
    secondary_turns: int
    filter_x: tuple[float, ...]  # 0 to 1, log frequency
    filter_y: tuple[float, ...]  # 0 to 1, level
    filter_corner: float
    fins: int
    box_height_m: float
    box_depth_m: float  # of a band-pass its width, for its chambers lie side by side
    chamber_share: float  # of a band-pass, where its divider stands along the inside, 0 to 1; else 0
    radiators: int  # passive ones
    radiator_m: float  # cut-out of one
    radiator_in_front: bool
    panel_m: float
    driver_m: float
    driver_depth_m: float
    drivers: int
    port: str  # "", "round" or "slot"
    port_m: float
    port_length_m: float
    cabin: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Scene:
    """Everything that the drawing needs."""

    name: str
    state: str
    battery_fill: float
    emf: float
    labels: Mapping[str, Label]
    watts: Mapping[str, float]
    greatest_w: float
    rail_share: float  # rail over the highest rail of the build
    swing: float  # output peak over rail
    cone: float  # share of the output peak, 0 to 1
    level_text: str
    level_note: str
    ruler: Ruler
    shapes: Shapes
    extras: Mapping[str, str]  # smaller stages that are there: sheet, tightest margin ("" for none)


def _cells(battery: str, system_v: int) -> int:
    return round(system_v / (3.0 if battery == "lfp" else 2.0))


def _watts(design: Design, moment: Moment) -> dict[str, float]:
    """Power that passes each stretch of the way, W."""
    point = moment.point
    names = ("battery", "unit", "core", "rails", "amplifier", "speaker", "air")
    if point is None:
        return dict.fromkeys(names, 0.0)
    lost = dict.fromkeys(("supply", "converter", "transformer", "rails"), 0.0)
    for name, watts in point.losses_w.items():
        step = step_of(name)
        if step in lost:
            lost[step] += watts
    left = point.battery_w
    passed = {"battery": left}
    for name, step in zip(names[1:5], lost, strict=True):
        left -= lost[step]
        passed[name] = max(left, 0.0)
    passed["speaker"] = point.output_w
    full = design.point(Corner.NOMINAL, Level.FULL).output_w
    passed["air"] = design.balance.radiated_w * point.output_w / full if full else 0.0
    return passed


def _loss(words: Words, moment: Moment, *steps: str) -> str:
    if moment.point is None:
        return ""
    watts = sum(w for name, w in moment.point.losses_w.items() if step_of(name) in steps)
    return words("draw.heat").format(show(watts, "power")) if watts > 0.0 else ""


def _figures(design: Design, moment: Moment, words: Words) -> dict[str, tuple[str, ...]]:
    """The live lines of each stage."""
    point, supply = moment.point, design.supply
    quiet = ""
    if point is None:
        quiet = words("draw.off" if moment.state.startswith("off") else "draw.no figures")

    def when(text: str) -> str:
        return text if point is not None else quiet

    def printed(value: float | None, dimension: str) -> str:
        return "" if value is None else show(value, dimension)

    figures: dict[str, tuple[str, ...]] = {
        "supply": (
            show(moment.emf_v, "voltage"),
            when(printed(point.battery_a if point else None, "current")),
            printed(point.battery_w if point else None, "power"),
        ),
        "wiring": (
            words("draw.fuse").format(show(supply.fuse_a, "current")),
            f"{show(supply.cable_positive_m, 'length')}, {show(supply.section_m2, 'area')}",
            _loss(words, moment, "supply"),
        ),
        "filter": (
            show(design.filter.corner_hz, "frequency"),
            words("draw.order").format(design.spec.filter.order),
        ),
        "amplifier": (
            when(printed(point.output_w if point else None, "power")),
            words("draw.into").format(show(design.amplifier.load_ohm, "resistance")),
            _loss(words, moment, "amplifier"),
        ),
        "heat": _heat(design, moment, words),
        "driver": (
            (f"{design.driver.count} \u00d7 " if design.driver.count > 1 else "")
            + (design.driver.name or design.driver.part_id),
            when(words("draw.peak").format(show(point.output_peak_v, "voltage")) if point else ""),
        ),
        "enclosure": (
            words(f"draw.{design.spec.enclosure.kind}"),
            f"{show(design.enclosure.net_volume_m3, 'volume')}, "
            + show(design.enclosure.tuning_hz or design.enclosure.fc_hz, "frequency"),
        ),
        "protection": _trips(design, words),
    }
    if design.converter is not None:
        timing = design.converter.plan.timing
        plan = design.converter.plan
        figures["converter"] = (
            f"{2 * plan.switch.per_side} \u00d7 {plan.switch.mosfet.id}",
            show(timing.switching_hz, "frequency"),
            _loss(words, moment, "converter"),
        )
        figures["rails"] = (
            when(f"\u00b1{show(point.rail_crest_v, 'voltage')}" if point else ""),
            plan.rectifier.rectifier.id,
            _loss(words, moment, "rails"),
        )
    if design.boost is not None:
        made, choke = design.boost.plan, design.boost.plan.choke
        figures["boost"] = (
            f"{made.switch.per_side} \u00d7 {made.switch.mosfet.id}",
            show(made.timing.switching_hz, "frequency"),
            _loss(words, moment, "converter"),
        )
        figures["choke"] = (words("draw.turns").format(choke.turns), choke.core.id)
        figures["raised"] = (
            when(show(point.rail_crest_v, "voltage") if point else ""),
            made.diode.rectifier.id,
            _loss(words, moment, "rails"),
        )
    if design.transformer is not None:
        core = design.transformer
        stacked = f"{core.stack} \u00d7 " if core.stack > 1 else ""
        figures["transformer"] = (
            words("draw.turns").format(f"{core.primary_turns} : {core.secondary_turns}"),
            f"{stacked}{core.core.id}",
            _loss(words, moment, "transformer"),
        )
    return figures


def _heat(design: Design, moment: Moment, words: Words) -> tuple[str, ...]:
    sink_c = design.heat.sink_c.get(moment.level)
    hot = "" if sink_c is None or moment.point is None else show(sink_c, "temperature")
    return (hot or words("draw.cold"), words("draw.air").format(show(design.heat.air_c, "temperature")))


def _trips(design: Design, words: Words) -> tuple[str, ...]:
    trips = [t for name, t in design.protection.thresholds.items() if name.endswith("trip") and t.unit == "V"]
    return tuple(words("draw.off at").format(show(trip.nominal, "voltage")) for trip in trips)


def _label(key: str, figures: tuple[str, ...], design: Design, words: Words, *stages: str) -> Label:
    least = design.tightest(*(stages or (key,)))
    kept = tuple(figure for figure in figures if figure)
    if least is None:
        return Label(key=key, figures=kept)
    return Label(
        key=key,
        figures=kept,
        tightest=least.quantity.partition(" (")[0],
        margin_text=margin_said(least.margin, words),
        used=share_used(least.margin),
        broken=least.margin < 0.0 and least.judged,
    )


def _least(design: Design, stage: str) -> str:
    least = design.tightest(stage)
    return "" if least is None else margin_text(least.margin)


def _ruler(design: Design) -> Ruler:
    low, high = voltage_range(design)
    corners = design.supply.corners
    thresholds = design.protection.thresholds if design.protection is not None else {}
    under, over = thresholds.get("under-voltage trip"), thresholds.get("over-voltage trip")
    return Ruler(
        low_v=low,
        high_v=high,
        corners=tuple((corner.value, value) for corner, value in corners.items()),
        off_below_v=None if under is None else under.nominal,
        off_above_v=None if over is None else over.nominal,
        plays_from_v=corners[Corner.LOW],
        plays_to_v=corners[Corner.MAX],
    )


def _switches(design: Design) -> int:
    """Power transistors of the converter; 0 without one."""
    if design.boost is not None:
        return design.boost.plan.switch.per_side
    return 0 if design.converter is None else 2 * design.converter.plan.switch.per_side


def _shapes(design: Design) -> Shapes:
    spec, box, core = design.spec, design.enclosure, design.transformer
    f, gain = design.filter.frequency_hz, design.filter.gain_db
    pick = np.linspace(0, len(f) - 1, _FILTER_POINTS).astype(int)
    span = np.log(f[-1] / f[0])
    x = np.log(f[pick] / f[0]) / span
    top = float(np.max(gain))
    y = np.clip((gain[pick] - (top - 36.0)) / 38.0, 0.0, 1.0)
    ring = core is not None and core.core.shape == "ring"
    inner = (core.core.inner_m or 0.0) if core is not None and ring else 0.0
    outer = (core.core.outer_m or 1.0) if core is not None and ring else 1.0
    port, passive, pair = box.port, box.radiator, box.chambers
    return Shapes(
        battery=spec.supply.battery,
        cells=_cells(spec.supply.battery, spec.supply.system_v),
        system=f"{spec.supply.system_v} V",
        bridge=design.converter is None and design.boost is None,
        boost=design.boost is not None,
        choke_turns=0 if design.boost is None else design.boost.plan.choke.turns,
        switches=_switches(design),
        ring=ring,
        hole_share=inner / outer if ring else 0.5,
        primary_turns=0 if core is None else core.primary_turns,
        secondary_turns=0 if core is None else core.secondary_turns,
        filter_x=tuple(x.tolist()),
        filter_y=tuple(y.tolist()),
        filter_corner=float(np.log(design.filter.corner_hz / f[0]) / span),
        fins=9,
        box_height_m=box.outer_height_m,
        box_depth_m=box.outer_depth_m if pair is None else box.outer_width_m,
        chamber_share=0.0 if pair is None else pair.rear_width_m / box.inner_width_m,
        radiators=0 if passive is None else passive.count,
        radiator_m=0.0 if passive is None else passive.hole_m,
        radiator_in_front=passive is not None and "front" in passive.on,
        panel_m=spec.enclosure.panel_thickness_m,
        driver_m=design.driver.hole_m
        or 0.8 * min(box.outer_height_m, 2.0 * (design.driver.sd_m2 / 3.0) ** 0.5),
        driver_depth_m=design.driver.depth_m or 0.5 * box.outer_depth_m,
        drivers=design.driver.count,
        port="" if port is None else "slot" if port.diameter_m is None else "round",
        port_m=0.0 if port is None else (port.diameter_m or port.height_m or 0.0),
        port_length_m=0.0 if port is None else port.length_m,
        cabin=spec.cabin.kind != "none",
    )


def margin_said(margin: float, words: Words) -> str:
    """A margin in the reader's language: "32 % left", "3 % beyond"."""
    text = margin_text(margin)
    for phrase in _MARGINS:
        text = text.replace(phrase, words(f"draw.{phrase}"))
    return text


def scene_of(design: Design, overview: Overview, moment: Moment, words: Words) -> Scene:
    """The scene of a design at one moment; ``words`` gives a text by its key in the reader's language."""
    figures = _figures(design, moment, words)
    stages = {
        "wiring": ("wiring",),
        "rails": ("rails",),
        "choke": ("choke",),
        "raised": ("raised",),
        "heat": ("heat",),
    }
    labels = {
        key: _label(key, lines, design, words, *stages.get(key, (key,))) for key, lines in figures.items()
    }
    corners = design.supply.corners
    low, high = corners[Corner.MIN], corners[Corner.MAX]
    point = moment.point
    full = [p for p in design.points if p.level is Level.FULL]
    rail_top = max(p.rail_mean_v for p in design.points)
    loud = "" if moment.loudest_db is None else show(moment.loudest_db, "level")
    watts = _watts(design, moment)
    peak_top = max(p.output_peak_v for p in full)
    return Scene(
        name=overview.name,
        state=moment.state,
        battery_fill=float(np.clip((moment.emf_v - low) / (high - low), 0.0, 1.0)),
        emf=moment.emf_v,
        labels=labels,
        watts=watts,
        greatest_w=max(p.battery_w for p in full),
        rail_share=0.0 if point is None else point.rail_crest_v / rail_top,
        swing=0.0 if point is None or point.rail_crest_v <= 0 else point.output_peak_v / point.rail_crest_v,
        cone=0.0 if point is None or moment.level is Level.IDLE else point.output_peak_v / peak_top,
        level_text=loud or words("draw.silent"),
        level_note=words("draw.of sound").format(show(watts["air"], "power")) if watts["air"] > 0.0 else "",
        ruler=_ruler(design),
        shapes=_shapes(design),
        extras={key: _least(design, key) for key in _EXTRAS if getattr(design, key, None) is not None},
    )
