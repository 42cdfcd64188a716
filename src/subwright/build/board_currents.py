"""What the printed boards carry: currents of the stages that end on them, and those of every net."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import inf
from typing import Literal

from subwright.boards.currents import Branch, net_currents, pulsed_nets
from subwright.boards.wanted import Ground
from subwright.build.result import Design
from subwright.physics.gate_drive import gate_rms_a
from subwright.stages.common import Corner
from subwright.stages.converter_drive import GateDrive

__all__ = ["BoardLoad", "board_loads", "carried"]


@dataclass(frozen=True, kw_only=True, slots=True)
class BoardLoad:
    """A current that a stage puts on a board.

    Attributes
    ----------
    board : key of the block. what : in words. amps : effective, A.
    kind : "gates" for pulses from a driver to its gates and back; "supply" for what feeds the board, or is
    handed on by it.
    """

    board: str
    what: str
    amps: float
    kind: Literal["gates", "supply"]


def board_loads(design: Design) -> tuple[BoardLoad, ...]:
    """Currents of the low-power boards that the stages know, for the hardest case of each.

    Parameters
    ----------
    design : solved. Nothing here is slow: findings ask for it at every change.
    """
    return tuple(_loads(design))


def _loads(design: Design) -> Iterator[BoardLoad]:
    if design.control is not None and design.control.remote is not None:
        amps = design.control.remote.switch_a
        yield BoardLoad(board="control", what="control supply", amps=amps, kind="supply")
    if design.converter is not None:
        plan = design.converter.plan
        sides = 2.0
        rms = _side_rms_a(plan.drive, sides)
        yield BoardLoad(board="controller", what="gate drive of one side", amps=rms, kind="gates")
        fed = plan.controller.quiescent_a + plan.drive.supply_a
        yield BoardLoad(board="controller", what="controller and gates, fed", amps=fed, kind="supply")
        yield BoardLoad(board="gate-drive", what="gate drive of one side", amps=rms, kind="gates")
    if design.boost is not None:
        boost = design.boost.plan
        yield BoardLoad(
            board="boost-control", what="gate drive", amps=_side_rms_a(boost.drive, 1.0), kind="gates"
        )
        fed = boost.controller.quiescent_a + boost.drive.supply_a
        yield BoardLoad(board="boost-control", what="controller and gates, fed", amps=fed, kind="supply")
    modulator = design.amplifier.modulator
    if modulator is not None:
        ohm = modulator.resistors_ohm["gate resistor on"]
        charging = modulator.gate_supply_high_v / ohm
        # the diode round the gate resistor leaves the driver's own resistance: twice the peak stands for it
        rms = gate_rms_a(modulator.driver_supply_a / modulator.legs, charging, 2.0 * charging)
        yield BoardLoad(board="modulator", what="gate drive of one leg", amps=rms, kind="gates")
        fed = max(modulator.supply_a, modulator.driver_supply_a)
        yield BoardLoad(board="modulator", what="modulator and drivers, fed", amps=fed, kind="supply")
    guard = design.speaker_guard
    if guard is not None and guard.relay is not None:
        highest = design.supply.corners[Corner.MAX] / design.supply.corners[Corner.NOMINAL]
        coil = guard.relay.coil_a * max(1.0, highest)
        yield BoardLoad(board="speaker-guard", what="relay coil", amps=coil, kind="supply")
    stage = design.amplifier.voltage_stage
    if stage is not None:
        yield BoardLoad(board="voltage-stage", what="one leg's stage", amps=stage.drawn_a, kind="supply")


def _side_rms_a(drive: GateDrive, sides: float) -> float:
    return gate_rms_a(drive.gate_a / sides, drive.driver.source_a, drive.driver.peak_a)


def carried(design: Design, board: str, branches: Sequence[Branch]) -> Mapping[str, float]:
    """Highest effective current of every net of a board, A.

    Parameters
    ----------
    design : solved. board : key of the block. branches : all that is on it, and the wires that leave it.

    Returns
    -------
    A by net: what resistors, ratings and chips let through, and the pulses of gates beside it. A net that
    nothing limits is taken to carry the most that the stages put on the board.
    """
    loads = [load for load in board_loads(design) if load.board == board]
    gates = max((load.amps for load in loads if load.kind == "gates"), default=0.0)
    supply = max((load.amps for load in loads if load.kind == "supply"), default=0.0)
    pulsed = dict.fromkeys(pulsed_nets(branches, Ground), gates) if gates else {}
    if gates and not pulsed:  # a board that has the gates' side only: all of it is their drive
        pulsed = {net: gates for branch in branches for net in branch.nets.values()}
    found = net_currents(branches, pulsed)
    return {net: amps if amps < inf else max(supply, gates) for net, amps in found.items()}
