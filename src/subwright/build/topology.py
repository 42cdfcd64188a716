"""Which converter topology fits a build, and why: every one of them judged on the build's own numbers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from subwright.base.units import show
from subwright.build.result import Design
from subwright.stages.common import Corner

__all__ = [
    "BOOST_RATIO",
    "BRIDGE_LEAST_V",
    "PUSH_PULL_MOST_V",
    "TopologyFit",
    "chosen_topology",
    "single_rail_v",
    "topology_fits",
]

BOOST_RATIO: Final = 4.0  # rail over tired battery; common practice
PUSH_PULL_MOST_V: Final = 40.0  # highest battery; its switches stand it twice, and the spike
BRIDGE_LEAST_V: Final = 18.0  # nominal; below, two switches in series lose too much

Name = Literal["none", "boost", "push-pull", "full-bridge"]


@dataclass(frozen=True, kw_only=True, slots=True)
class TopologyFit:
    """One topology, whether it fits this build, whether it was taken, and why."""

    topology: Name
    fits: bool
    chosen: bool
    why: str


def chosen_topology(design: Design) -> Name:
    """What the build has between battery and amplifier."""
    if design.boost is not None:
        return "boost"
    if design.converter is not None:
        return design.converter.topology
    return "none"


def single_rail_v(design: Design) -> float:
    """The one rail that a bridge would need for this power, V.

    A bridge gives each way the whole of its supply, a half-bridge or class AB one of its two rails.
    """
    sides = 2.0 if design.amplifier.both_rails else 1.0
    return sides * design.amplifier.rail_needed_v


def topology_fits(design: Design) -> tuple[TopologyFit, ...]:
    """Every topology judged on the build's own battery, power and amplifier.

    Parameters
    ----------
    design : the finished design.

    Source
    ------
    Limits: common practice; stresses: two battery voltages on a push-pull's switch, one on a bridge's, the
    rail on a boost converter's. [pressman1998]
    """
    taken = chosen_topology(design)
    verdicts = (_none(design), _boost(design), _push_pull(design), _full_bridge(design))
    return tuple(
        TopologyFit(topology=name, fits=fits, chosen=name == taken, why=why) for name, fits, why in verdicts
    )


def _split(design: Design) -> bool:
    return not design.amplifier.from_battery


def _none(design: Design) -> tuple[Name, bool, str]:
    nominal = next(c for c in design.amplifier.ceilings if c.corner is Corner.NOMINAL)
    reach, wanted = nominal.class_d_sine_w, design.goal.power_w
    if reach is None:
        return "none", False, "no switch at hand suits a bridge straight from this battery"
    words = f"a bridge straight from the battery gives {show(reach, 'power')} of {show(wanted, 'power')}"
    if reach >= 0.98 * wanted:
        return "none", True, words + ": nothing to build, nothing to lose"
    return "none", False, words


def _boost(design: Design) -> tuple[Name, bool, str]:
    corners, rail = design.supply.corners, single_rail_v(design)
    ratio = rail / corners[Corner.LOW]
    if rail <= corners[Corner.MAX]:
        return (
            "boost",
            False,
            f"the rail of {show(rail, 'voltage')} is not above the highest battery: it would run straight "
            "through choke and diode",
        )
    if ratio > BOOST_RATIO:
        return (
            "boost",
            False,
            f"{ratio:.1f} times the tired battery: the duty nears 1, and switch and choke carry the input "
            "current at the output's voltage",
        )
    words = (
        f"{ratio:.1f} times the tired battery, one rail of {show(rail, 'voltage')}; no transformer, held "
        "by its "
        "loop; not isolated, and only fuse or battery switch cut the load off"
    )
    if _split(design):
        return "boost", False, words + ". This amplifier asks for \u00b1 rails: a bridge amplifier would do"
    return "boost", True, words


def _push_pull(design: Design) -> tuple[Name, bool, str]:
    highest = design.supply.corners[Corner.MAX]
    stress = 2.0 * highest * (1.0 + design.spec.converter.spike_allowance)
    words = f"each switch stands {show(stress, 'voltage')}, the battery twice and its spike"
    if highest > PUSH_PULL_MOST_V:
        return "push-pull", False, words + ": a full bridge needs half of that"
    if not _split(design):
        return (
            "push-pull",
            False,
            "makes \u00b1 rails by a transformer, which this bridge amplifier can do without",
        )
    return "push-pull", True, words + "; one switch in the path, \u00b1 rails, isolated if wanted"


def _full_bridge(design: Design) -> tuple[Name, bool, str]:
    nominal = design.supply.corners[Corner.NOMINAL]
    if nominal < BRIDGE_LEAST_V:
        return (
            "full-bridge",
            False,
            f"two switches in series on {show(nominal, 'voltage')} lose twice what one does, and four "
            "gates want "
            "driving",
        )
    if not _split(design):
        return (
            "full-bridge",
            False,
            "makes \u00b1 rails by a transformer, which this bridge amplifier can do without",
        )
    return "full-bridge", True, "each switch stands the battery once; one primary, leakage energy goes back"
