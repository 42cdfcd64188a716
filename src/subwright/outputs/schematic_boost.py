"""The boost converter's power stage: battery and input bank, choke, switch and rectifier, the raised rail."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from subwright.base.units import show
from subwright.build.result import Design
from subwright.build.test_points import FULL_SINE
from subwright.build.test_points.boost import boost_readings
from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.boost_power import boost_circuit
from subwright.circuits.boost_values import from_plan
from subwright.circuits.netlist import GROUND, Part
from subwright.circuits.shunt_return import SHUNT_NET, boost_returns, through_shunt
from subwright.outputs.drawing import wrap
from subwright.outputs.point_words import readings_line
from subwright.outputs.schematic_block import Block
from subwright.outputs.schematic_guard_blocks import battery_shunt_ohm
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_pen import Placed
from subwright.outputs.schematic_symbols import Point
from subwright.parts.library import Library
from subwright.stages.common import Corner, Level
from subwright.stages.converter_boost import boost_values

__all__ = ["boost_block", "draw_boost"]

_READINGS_AT: Final[Point] = (776, 606)  # below the rail
_READINGS_WIDTH: Final = 53
_BUS: Final = 250
_CAN: Final = 110
_PAIR: Final = 2
_ROW: Final = 150  # from one row of switches to the next
_FIRST_CAN: Final = 210


def boost_block(design: Design, _library: Library) -> Iterator[Block]:
    """The block of a design's boost converter; nothing without one."""
    boost = design.boost
    if boost is None:
        return
    plan, supply = boost.plan, design.supply
    hot = boost_values(design.spec.converter, plan, design.heat.air_c, boost.choke_c[Level.PROGRAMME])
    circuit = boost_circuit(
        from_plan(
            hot,
            plan,
            emf_v=supply.corners[Corner.NOMINAL],
            source_ohm=supply.source_resistance_ohm,
            rail_a=plan.demand.rail_mean_a,
        )
    )
    sense_ohm = battery_shunt_ohm(design)
    if sense_ohm is not None:
        circuit = through_shunt(circuit, sense_ohm, boost_returns)
    circuit = circuit.with_readings(boost_readings(design))
    choke, period_s = plan.choke, 1.0 / plan.timing.switching_hz
    texts = {
        "L101": ("L101", show(choke.inductance_h, "inductance"), f"{choke.turns} t"),
        "T101A": ("T101A", "1 t"),
        "T101B": ("T101B", f"{plan.sense.turns} t"),
    }

    def draw(kit: Kit) -> tuple[str, ...]:
        draw_boost(kit)
        for k, words in enumerate(wrap(readings_line(circuit, signal=FULL_SINE), _READINGS_WIDTH)):
            kit.sheet.say(_READINGS_AT[0], _READINGS_AT[1] + 14 * k, words, classes="sm t")
        return _notes(design)

    yield Block(
        key="boost",
        title="Boost converter power stage",
        stage="boost",
        circuit=circuit,
        names={
            "input": "BATTERY",
            "node": "NODE",
            "rail": "RAIL +",
            "gate": "GATE",
            "sense": "SENSE",
            SHUNT_NET: "SHUNT",
        },
        draw=draw,
        elsewhere=frozenset({"BT101"}),
        texts=texts,
        analysis=Transient(
            stop_s=200.0 * period_s, step_s=period_s / 200.0, keep_from_s=180.0 * period_s, from_initial=True
        ),
        probes=tuple(Voltage(net) for net in ("input", "rail", "sense")),
    )


def _notes(design: Design) -> tuple[str, ...]:
    boost, supply = design.boost, design.supply
    assert boost is not None
    plan, choke = boost.plan, boost.plan.choke
    return (
        f"Fuse {supply.fuse_a:g} A ({supply.fuse_body}) within {show(supply.fuse_distance_m, 'length')} of "
        f"battery +; cable {show(supply.section_m2, 'area')}. Only fuse and battery switch cut the rail off.",
        f"L101: {choke.core.id}, {choke.turns} turns of {choke.strands} × "
        f"{choke.wire.conductor_m * 1e3:.2f} mm, {choke.how}; "
        f"measure {show(choke.rest_h, 'inductance')}.",
        f"T101: {plan.sense.core.id}; the drain lead passes it once. Heavy lines carry the power: keep node, "
        "rectifier and the 1 µF ceramics in one small loop.",
        "Before the fuse goes in: charge the rail through "
        f"{show(boost.precharge.resistor_ohm, 'resistance')} "
        f"for {show(boost.precharge.wait_s, 'time')}. It holds its charge: measure before touching.",
        "Resistors 0.25 W, film capacitors 63 V unless stated.",
    )


def draw_boost(kit: Kit) -> None:
    """Draw the power stage's netlist."""
    sheet, y = kit.sheet, _BUS
    cans = kit.circuit.by_role("input capacitor")
    last = _input(kit, cans)
    choke = kit.one("boost choke core")
    start = last + 70 + (120 if _beside(kit)[0] > _PAIR else 0)
    kit.lying(choke, "input", start, y)
    sheet.wire((170, y), (start, y), heavy=True)
    snub, node = start + 90, start + 170
    sheet.wire((start + 40, y), (node, y), heavy=True)
    kit.upright(kit.one("switch snubber resistor"), "node", snub, y)
    kit.upright(kit.one("switch snubber capacitor"), "snub", snub, y + 40)
    sheet.ground(_low(kit), (snub, y + 80))
    _point(kit, "node", (snub + 30, y))
    _switches(kit, node)
    _sense(kit, node)
    rail = _rectifier(kit, node)
    _rail(kit, rail)


def _low(kit: Kit) -> str:
    """Where the power returns: 0 V, or the protection's shunt."""
    return SHUNT_NET if SHUNT_NET in kit.circuit.nets else GROUND


def _point(kit: Kit, net: str, at: Point) -> None:
    for point in kit.circuit.test_points:
        if point.net == net:
            kit.sheet.name(net, at, point=point.designator)


def _bank(kit: Kit, parts: Sequence[Part], net: str, x: int, y: int) -> int:
    """Parts side by side from the line at ``y`` down to ground; returns the x of the last."""
    for group in _alike(parts):
        part = group[0]
        kit.sheet.wire((x, y), (x, y + 10), heavy=part.kind == "capacitor")
        end = _group(kit, group, net, x, y + 10).end(part, net)
        if net == "input" and _low(kit) == SHUNT_NET:
            kit.sheet.wire((170, end[1] + 10), (x, end[1] + 10), end, heavy=True)
        else:
            kit.sheet.ground(_low(kit), end)
        x += _CAN
    return x - _CAN


def _alike(parts: Sequence[Part]) -> list[list[Part]]:
    """Parts in parallel that one symbol stands for: those of one role."""
    groups: dict[str, list[Part]] = {}
    for part in parts:
        groups.setdefault(part.role, []).append(part)
    return list(groups.values())


def _group(kit: Kit, parts: Sequence[Part], net: str, x: int, y: int) -> Placed:
    """One symbol, standing, for parts in parallel; its pin on ``net`` at the top, which is ``y``."""
    first = parts[0]
    if len(parts) == 1:
        return kit.upright(first, net, x, y)
    name, *value = kit.sheet.texts.get(first.designator, (first.designator,))
    lines = (f"{name}–{parts[-1].designator}", f"{len(parts)} × {value[0]}" if value else "", *value[1:])
    also = tuple(part.designator for part in parts[1:])
    return kit.place(first, x, y + 20, turn=1 if first.nets[0] == net else 3, lines=lines, also=also)


def _input(kit: Kit, cans: Sequence[Part]) -> int:
    """The battery's lead and the input bank along the bus; returns the x of the last can."""
    sheet, y = kit.sheet, _BUS
    sheet.flag("input", (170, y), "left", heavy=True)
    last = _bank(kit, cans, "input", _FIRST_CAN, y)
    if _low(kit) == SHUNT_NET:
        sheet.flag(SHUNT_NET, (170, y + 60), "left", heavy=True)
    _point(kit, "input", (190, y))
    return last


def _beside(kit: Kit) -> tuple[int, int]:
    """Switches in a row, and from one to the next: pairs in up to two rows, threes from five on."""
    many = len(kit.circuit.by_role("boost switch")) > 2 * _PAIR
    return (_PAIR + 1, 130) if many else (_PAIR, 160)


def _switches(kit: Kit, node: int) -> None:
    """The drain lead through the current transformer, and the switches under it."""
    sheet, y = kit.sheet, _BUS
    primary = kit.circuit.part("T101A")
    kit.place(primary, node, y + 40, turn=1, flip=True)
    sheet.wire((node, y), (node, y + 20), heavy=True)
    switches = kit.circuit.by_role("boost switch")
    many = len(switches) > 2 * _PAIR
    beside, pitch = _beside(kit)
    rows = [switches[k : k + beside] for k in range(0, len(switches), beside)]
    end = node - pitch * (len(rows[0]) - 1) - 140
    for number, row in enumerate(rows):
        drain = y + 130 + _ROW * number
        if number:
            sheet.wire((node, drain - _ROW), (node + 20, drain - _ROW), (node + 20, drain), (node, drain))
        else:
            sheet.wire((node, y + 60), (node, drain), heavy=True)
        sheet.wire((node - pitch * (len(row) - 1), drain), (node, drain), heavy=True)
        below = drain + 110
        for k, switch in enumerate(row):
            x = node - pitch * k
            # For want of width the parts of many alike bear their names, and a line says what they are.
            placed = kit.place(switch, x - 10, drain + 40, lines=(switch.designator,) if many else ())
            sheet.wire((x, drain), placed["drain"], heavy=True)
            sheet.ground(_low(kit), placed["source"])
            lead = _gate(kit, kit.pin_net(switch, "gate"), placed["gate"], named=many)
            sheet.wire(lead, (lead[0], below))
            sheet.wire((lead[0], below), (end, below))
        if number:
            sheet.wire((end, below - _ROW), (end, below))
    sheet.flag("gate", (end, y + 240), "left")
    if many:
        kinds = [
            kit.sheet.texts[part.designator][1]
            for part in (switches[0], *_gate_parts(kit, kit.pin_net(switches[0], "gate")))
        ]
        told = f"each: {kinds[0]}, {kinds[2]} into its gate, {kinds[1]} from gate to source"
        sheet.say(end - 20, y + 122, told)


def _gate_parts(kit: Kit, net: str) -> tuple[Part, Part]:
    """Pull-down and lead resistor of a gate."""
    pull, lead = (
        next(part for part in kit.circuit.by_role(role) if net in part.nets)
        for role in ("gate pull-down", "gate resistor")
    )
    return pull, lead


def _gate(kit: Kit, net: str, pin: Point, *, named: bool = False) -> Point:
    """Resistor in a gate's lead and pull-down beside it, ``named`` only; returns where the lead ends."""
    sheet, (x, y) = kit.sheet, pin
    pull, lead = _gate_parts(kit, net)
    sheet.wire(pin, (x - 10, y), (x - 20, y))
    names = [(part.designator,) if named else () for part in (pull, lead)]
    first = pull.nets[0] == net
    stood = kit.place(pull, x - 10, y + 20, turn=1 if first else 3, lines=names[0])
    sheet.ground(_low(kit), stood.end(pull, net))
    kit.place(lead, x - 40, y, mirrored=lead.nets[0] != "gate", lines=names[1])
    sheet.wire((x - 60, y), (x - 70, y))
    return x - 70, y


def _sense(kit: Kit, node: int) -> None:
    """The transformer's secondary, reset resistor, diode and burden."""
    sheet, y = kit.sheet, _BUS
    second = kit.circuit.part("T101B")
    x = node + 40
    kit.place(second, x, y + 40, turn=1)
    sheet.core(node + 20, y + 20, y + 60)
    sheet.ground(GROUND, (x, y + 60))
    row = y + 270
    sheet.wire((x, y + 20), (x + 40, y + 20), (x + 40, row))
    reset, diode, burden = (
        kit.one(role)
        for role in ("current transformer reset resistor", "current sense diode", "current sense burden")
    )
    sheet.wire((x + 40, row), (x + 60, row), (x + 80, row))
    sheet.ground(GROUND, kit.upright(reset, "sensed", x + 60, row).end(reset, "sensed"))
    kit.lying(diode, "sensed", x + 80, row)
    sheet.wire((x + 120, row), (x + 150, row), (x + 200, row))
    sheet.ground(GROUND, kit.upright(burden, "sense", x + 150, row).end(burden, "sense"))
    sheet.flag("sense", (x + 200, row), "right", "to the controller")
    _point(kit, "sense", (x + 130, row))


def _rectifier(kit: Kit, node: int) -> int:
    """Legs one above the other from the node to the rail; returns the x of the rail."""
    sheet, y = kit.sheet, _BUS
    legs = kit.circuit.by_role("boost rectifier")
    pitch = 50 if len(legs) <= 4 else 30
    a, b = node + 100, node + 180
    for k, leg in enumerate(legs):
        row = y - pitch * k
        kit.lying(leg, "node", a + 20, row)
        sheet.wire((a, row), (a + 20, row), heavy=True)
        sheet.wire((b - 20, row), (b, row), heavy=True)
    sheet.wire((node, y), (a, y), heavy=True)
    top = y - pitch * (len(legs) - 1)
    if top < y:
        sheet.wire((a, y), (a, top), heavy=True)
        sheet.wire((b, y), (b, top), heavy=True)
    return b


def _rail(kit: Kit, x: int) -> None:
    """The rail's bank and bleeder along its line, and the way out."""
    sheet, y = kit.sheet, _BUS
    roles = ("rail bypass capacitor", "rail capacitor", "rail bleeder")
    end = _bank(kit, [part for role in roles for part in kit.circuit.by_role(role)], "rail", x + 60, y)
    sheet.wire((x, y), (end + 30, y), heavy=True)
    sheet.flag("rail", (end + 30, y), "right", heavy=True)
    _point(kit, "rail", (x + 30, y))
