"""The power sheet: the flow from battery to air, where each watt goes, and every operating point."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from subwright.base.units import show
from subwright.build.result import Design, EnergyBalance, OperatingPoint
from subwright.outputs.flow import Flow, Peel, Step
from subwright.outputs.sheet_parts import CORNER, LEVEL, drawing
from subwright.outputs.tables import percent
from subwright.outputs.views import Figure, Grid
from subwright.stages.common import Corner

__all__ = ["budget_grid", "flow_figure", "flow_of", "operating_grids", "step_of"]

# which stretch of the way a loss belongs to; names not listed stay with the driver and its box
_STEP: Mapping[str, str] = MappingProxyType(
    {
        "battery": "supply",
        "cable": "supply",
        "fuse and contacts": "supply",
        "input capacitors": "converter",
        "switch conduction": "converter",
        "switch turn-off": "converter",
        "gate drive": "converter",
        "control circuit": "converter",
        "snubber and output capacitance": "converter",
        "primary links": "converter",
        "leakage clamp": "converter",
        "primary copper": "transformer",
        "core": "transformer",
        "secondary copper": "transformer",
        "rectifier": "rails",
        "rectifier recovery": "rails",
        "rectifier snubber": "rails",
        "output choke": "rails",
        "auxiliary supply": "rails",
        "switch turn-on": "converter",
        "choke copper": "converter",
        "choke core": "converter",
        "board links": "converter",
        "rail capacitors": "rails",
        "rail bleeder": "rails",
        "rail bleeders": "rails",
        "reservoir capacitors": "rails",
    }
)
_ORDER = ("supply", "converter", "transformer", "rails", "amplifier", "driver and box")
_AMPLIFIER = "amplifier "
_ROUNDING = 1e-9  # of what the battery gives


def _place(name: str) -> tuple[str, str]:
    if name.startswith(_AMPLIFIER):
        return "amplifier", name.removeprefix(_AMPLIFIER)
    return _STEP.get(name, _ORDER[-1]), name


def step_of(name: str) -> str:
    """The stretch of the way that a named loss belongs to: "supply", "converter", "transformer" …"""
    return _place(name)[0]


def flow_of(balance: EnergyBalance, *, battery_v: float) -> Flow:
    """The energy balance as a flow drawing."""
    steps: dict[str, list[Peel]] = {name: [] for name in _ORDER}
    for name, power_w in balance.entries[:-1]:
        step, label = _place(name)
        rounding = 0.0 > power_w > -_ROUNDING * balance.battery_w  # a difference of two equal powers
        steps[step].append(Peel(label=label, power_w=0.0 if rounding else power_w))
    frequency = show(balance.frequency_hz, "frequency")
    return Flow(
        title=f"Where the power goes: sine at {frequency}, {CORNER[balance.corner]} battery",
        source=f"battery, {show(battery_v, 'voltage')}",
        source_w=balance.battery_w,
        steps=tuple(Step(name=name, losses=tuple(peels)) for name, peels in steps.items() if peels),
        sink=balance.entries[-1][0],
        sink_w=balance.entries[-1][1],
    )


def flow_figure(design: Design) -> Figure:
    """The flow with its caption."""
    balance = design.balance
    flow = flow_of(balance, battery_v=design.supply.corners[balance.corner])
    caption = (
        f"The real driver at {show(balance.frequency_hz, 'frequency')}, driven to the onset of clipping. "
        f"The entries explain what the battery gives to within {_residue(balance.imbalance)} "
        f"({percent(balance.limit, 1)} is accepted)."
    )
    return drawing("power-flow", flow, caption, wide=True)


def _residue(imbalance: float) -> str:
    least = 1e-6
    return percent(max(abs(imbalance), least), 4)


def _watts(power_w: float) -> str:
    """Watts with two decimals, so that a column can be read down."""
    return "<0.01" if 0.0 < power_w < 0.005 else f"{power_w:.2f}"


def budget_grid(design: Design, corner: Corner = Corner.NOMINAL) -> Grid:
    """Every electrical loss at one battery corner, a column for each level."""
    points = [point for point in design.points if point.corner is corner]
    names = list(dict.fromkeys(name for point in points for name in point.losses_w))
    rows = [
        (
            " ".join(part for part in dict.fromkeys(_place(name))) if name.startswith(_AMPLIFIER) else name,
            *(_watts(point.losses_w.get(name, 0.0)) for point in points),
        )
        for name in names
    ]
    rows.append(("into the load", *(_watts(point.output_w) for point in points)))
    rows.append(("from the battery", *(_watts(point.battery_w) for point in points)))
    return Grid(
        title=f"Where each watt goes, {CORNER[corner]} battery",
        header=("loss", *(f"{LEVEL[point.level]}, W" for point in points)),
        rows=tuple(rows),
        figures=frozenset(range(1, len(points) + 1)),
        note="Into the rated load resistance. The driver's impedance is mostly higher, so it takes less.",
    )


def _point_row(point: OperatingPoint) -> tuple[str, ...]:
    return (
        CORNER[point.corner],
        LEVEL[point.level],
        show(point.emf_v, "voltage"),
        show(point.terminal_v, "voltage"),
        show(point.terminal_least_v, "voltage"),
        show(point.battery_a, "current"),
        show(point.battery_peak_a, "current"),
        show(point.battery_w, "power"),
        show(point.rail_crest_v, "voltage"),
        show(point.output_w, "power"),
        percent(point.efficiency, 1) if point.output_w > 0.0 else "",
    )


def _boost_currents(design: Design) -> Grid:
    return Grid(
        title="Currents inside the boost converter",
        header=(
            "battery",
            "level",
            "choke, rms",
            "choke, peak",
            "rectifier, rms",
            "rectifier, mean",
            "input ripple, rms",
            "rail ripple, rms",
        ),
        rows=tuple(
            (
                CORNER[point.corner],
                LEVEL[point.level],
                show(point.primary_rms_a, "current"),
                show(point.primary_peak_a, "current"),
                show(point.secondary_rms_a, "current"),
                show(point.diode_a, "current"),
                show(point.input_ripple_a, "current"),
                show(point.reservoir_ripple_a, "current"),
            )
            for point in design.points
        ),
        figures=frozenset(range(2, 8)),
    )


def operating_grids(design: Design) -> tuple[Grid, ...]:
    """All operating points: battery side and output, and the currents inside the converter."""
    outside = Grid(
        title="Operating points",
        header=(
            "battery",
            "level",
            "unloaded",
            "at the unit",
            "least",
            "current",
            "peak",
            "drawn",
            "supply at crest" if design.converter is None and design.boost is None else "rail at crest",
            "into the load",
            "efficiency",
        ),
        rows=tuple(_point_row(point) for point in design.points),
        figures=frozenset(range(2, 11)),
        note="Mean values unless the heading says otherwise; full is a sine at the onset of clipping.",
    )
    if design.boost is not None:
        return outside, _boost_currents(design)
    if design.converter is None:
        return (outside,)
    inside = Grid(
        title="Currents inside the converter",
        header=(
            "battery",
            "level",
            "half-primary, rms",
            "half-primary, peak",
            "half-secondary, rms",
            "one diode, mean",
            "input ripple, rms",
            "rail ripple, rms",
        ),
        rows=tuple(
            (
                CORNER[point.corner],
                LEVEL[point.level],
                show(point.primary_rms_a, "current"),
                show(point.primary_peak_a, "current"),
                show(point.secondary_rms_a, "current"),
                show(point.diode_a, "current"),
                show(point.input_ripple_a, "current"),
                show(point.reservoir_ripple_a, "current"),
            )
            for point in design.points
        ),
        figures=frozenset(range(2, 8)),
    )
    return outside, inside
