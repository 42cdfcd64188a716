"""Reading a schematic back: which pins its lines join, traced from the SVG's coordinates alone.

A sheet that doesn't join exactly what the netlist joins is never written.
"""

from __future__ import annotations

import itertools
import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from html import unescape
from typing import Final

from subwright.base.errors import SubwrightError
from subwright.circuits.netlist import PINS, Circuit, Part
from subwright.outputs.schematic_pins import SECTIONED_KINDS, SUPPLY_PINS

__all__ = ["Connection", "agree", "drawn_nets", "real_nets", "trace"]

Pin = tuple[str, str]  # designator, pin
_Spot = tuple[int, int]

_PART: Final = re.compile(r'<g data-part="([^"]+)" data-pins="([^"]+)"')
_PIN: Final = re.compile(r"(\S.*?)@(-?\d+),(-?\d+)(?: |$)")
_WIRE: Final = re.compile(r'<path data-wire="" d="M([^"]+)"')
_NET: Final = re.compile(r'<g data-net="([^"]+)" data-at="(-?\d+),(-?\d+)"/>')


@dataclass(frozen=True, kw_only=True, slots=True)
class Connection:
    """Pins that one run of wire joins on a sheet, and the net names that it bears."""

    pins: frozenset[Pin]
    names: frozenset[str]


class _Groups:
    """Points that hang together."""

    def __init__(self) -> None:
        self._above: dict[_Spot, _Spot] = {}

    def top(self, spot: _Spot) -> _Spot:
        self._above.setdefault(spot, spot)
        while self._above[spot] != spot:
            self._above[spot] = self._above[self._above[spot]]
            spot = self._above[spot]
        return spot

    def join(self, a: _Spot, b: _Spot) -> None:
        self._above[self.top(a)] = self.top(b)


def trace(svg: str) -> tuple[Connection, ...]:
    """Connections of one sheet.

    Parameters
    ----------
    svg : the drawing's text.

    Returns
    -------
    Every run of wire, lone pins included.
    """
    pins: list[tuple[Pin, _Spot]] = []
    for name, written in _PART.findall(svg):
        for pin, x, y in _PIN.findall(unescape(written)):
            pins.append(((unescape(name), pin), (int(x), int(y))))
    names = [(unescape(net), (int(x), int(y))) for net, x, y in _NET.findall(svg)]
    wires = [[_spot(corner) for corner in path.split("L")] for path in _WIRE.findall(svg)]
    groups = _Groups()
    corners = {spot for _, spot in pins} | {spot for _, spot in names} | {s for wire in wires for s in wire}
    for wire in wires:
        for a, b in itertools.pairwise(wire):
            for spot in corners:
                if _between(a, spot, b):
                    groups.join(a, spot)
    members: dict[_Spot, set[Pin]] = defaultdict(set)
    called: dict[_Spot, set[str]] = defaultdict(set)
    for pin_name, spot in pins:
        members[groups.top(spot)].add(pin_name)
    for net, spot in names:
        called[groups.top(spot)].add(net)
    return tuple(
        Connection(pins=frozenset(members[top]), names=frozenset(called[top]))
        for top in dict.fromkeys([*members, *called])
    )


def _spot(written: str) -> _Spot:
    x, y = written.split()
    return int(x), int(y)


def _between(a: _Spot, spot: _Spot, b: _Spot) -> bool:
    return min(a[0], b[0]) <= spot[0] <= max(a[0], b[0]) and min(a[1], b[1]) <= spot[1] <= max(a[1], b[1])


def drawn_nets(svgs: Iterable[str]) -> tuple[Mapping[Pin, str], Sequence[str]]:
    """Net name of every pin on some sheets, and what is wrong with them.

    Runs that bear one name are one net, across sheets. A run without a name gets one of its own, "#1" ….
    """
    found: dict[Pin, str] = {}
    problems: list[str] = []
    unnamed = 0
    for svg in svgs:
        for run in trace(svg):
            if len(run.names) > 1:
                problems.append(f"one wire bears the names {', '.join(sorted(run.names))}")
            if run.names:
                name = min(run.names)
            else:
                unnamed += 1
                name = f"#{unnamed}"
            for pin in run.pins:
                if pin in found:
                    problems.append(f"{pin[0]} pin {pin[1]} is drawn twice")
                found[pin] = name
    return found, problems


def real_nets(
    circuit: Circuit,
    *,
    with_inherent: frozenset[str] = frozenset(),
    without: frozenset[str] = frozenset(),
) -> Mapping[Pin, str]:
    """Net of every pin that a builder sees.

    Test equipment is left out. What is inherent in another part joins its own two nets, unless it is in
    ``with_inherent``, where it stands for something that can be seen, such as the fuse in a battery's lead.
    Supply pins of a case are named once, after the case. ``without`` are parts that another sheet shows.
    """
    same: dict[str, str] = {}
    for part in circuit.parts:
        if part.owner in without:
            continue
        if part.standing == "inherent" and part.designator not in with_inherent and len(part.nets) == 2:
            first, second = (_root(same, net) for net in part.nets)
            if first != second:
                same[second] = first
    nets: dict[Pin, str] = {}
    for part in circuit.parts:
        if part.standing == "bench" or part.designator in without or part.owner in without:
            continue
        if part.standing == "inherent" and part.designator not in with_inherent:
            continue
        for pin, net in zip(PINS[part.kind], part.nets, strict=True):
            nets[_seen(part, pin)] = _root(same, net)
    return nets


def _seen(part: Part, pin: str) -> Pin:
    supply = part.kind in SECTIONED_KINDS and pin in SUPPLY_PINS
    return (part.case if supply else part.designator, pin)


def _root(same: Mapping[str, str], net: str) -> str:
    while net in same:
        net = same[net]
    return net


def agree(
    circuit: Circuit,
    svgs: Sequence[str],
    *,
    with_inherent: frozenset[str] = frozenset(),
    without: frozenset[str] = frozenset(),
) -> None:
    """Hold drawn sheets to the netlist.

    Parameters
    ----------
    circuit : the netlist. svgs : all of its sheets. with_inherent : inherent elements that are drawn.
    without : parts that another sheet shows.

    Raises
    ------
    SubwrightError : a pin is missing, a wire joins what the netlist doesn't, or leaves out what it does.
    """
    drawn, problems = drawn_nets(svgs)
    real = real_nets(circuit, with_inherent=with_inherent, without=without)
    wrong = list(problems)
    wrong += [f"{name} pin {pin} isn't drawn" for name, pin in real if (name, pin) not in drawn]
    wrong += [f"{name} pin {pin} isn't in the netlist" for name, pin in drawn if (name, pin) not in real]
    by_real: dict[str, set[str]] = defaultdict(set)
    by_drawn: dict[str, set[str]] = defaultdict(set)
    for pin_name, net in real.items():
        if pin_name in drawn:
            by_real[net].add(drawn[pin_name])
            by_drawn[drawn[pin_name]].add(net)
    wrong += [f"net {net} is drawn in {len(runs)} pieces" for net, runs in by_real.items() if len(runs) > 1]
    wrong += [
        f"nets {', '.join(sorted(nets))} are drawn joined" for nets in by_drawn.values() if len(nets) > 1
    ]
    wrong += [
        f"net {next(iter(nets))} is drawn under the name {run}"
        for run, nets in by_drawn.items()
        if not run.startswith("#") and nets != {run} and len(nets) == 1
    ]
    if wrong:
        raise SubwrightError(
            message=f"The drawing of '{circuit.name}' doesn't agree with its netlist: {'; '.join(wrong)}.",
            remedy="This is an error in subwright, not in the build; please report it.",
        )
