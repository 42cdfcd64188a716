"""The power amplifier's block: class D, class AB of chips or pairs, and stages whose rails change."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import Final

from subwright.base.units import show
from subwright.build.result import Design
from subwright.build.test_points.amplifier import amplifier_readings
from subwright.circuits.amplifier_bank import with_input_bank
from subwright.circuits.amplifier_chip import MUTE_PIN
from subwright.circuits.amplifier_class_ab import class_ab_circuit
from subwright.circuits.amplifier_class_d import INDUCTORS, class_d_circuit
from subwright.circuits.amplifier_drive import LEAST_LEG_V, bridge_ramps, sine_ramp
from subwright.circuits.amplifier_rails import class_g_circuit, class_h_circuit
from subwright.circuits.amplifier_supply import with_supply_capacitors
from subwright.circuits.amplifier_values import class_ab_values, class_d_values
from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.netlist import GROUND, Circuit
from subwright.circuits.shunt_return import (
    OUTPUT_SHUNT_NET,
    SHUNT_NET,
    amplifier_returns,
    through_shunt,
)
from subwright.outputs.drawing import wrap
from subwright.outputs.point_words import readings_line
from subwright.outputs.schematic_amplifier import draw_class_d, draw_input_bank
from subwright.outputs.schematic_amplifier_names import AMPLIFIER_NAMES, positive_name
from subwright.outputs.schematic_block import Block
from subwright.outputs.schematic_chip_amplifier import draw_chip
from subwright.outputs.schematic_class_ab import draw_leg
from subwright.outputs.schematic_guard_blocks import amplifier_shunt_ohm, battery_shunt_ohm
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_rails import draw_followers, draw_lifting
from subwright.outputs.schematic_symbols import Point
from subwright.parts.library import Library
from subwright.stages.amplifier import AmplifierResult
from subwright.stages.amplifier_supply_capacitors import LEG_FILM
from subwright.stages.common import Corner, Level

__all__ = ["amplifier_block"]

_PERIODS: Final = 100
_CROWDED: Final = 10  # output devices of a leg, from which on only the first of a row names the type
_ROW: Final = 2  # beside a linear one
_NARROW: Final = 3  # pairs of each leg that leave it
_BESIDE: Final = 4  # cans that find room beside a class-D stage
_NOTE_HZ: Final = 40.0
_POINTS: Final = 240

_BANKS: Final = frozenset({"lifting capacitor", "inner reservoir"})

_RETURN_AT: Final[Mapping[str, Point]] = {"class D": (450, 640), "discrete": (190, 630), "chip": (190, 660)}
"""Where the flag of the shunt stands."""

_LIFTED_AT: Final[Point] = (700, 580)  # below the capacitors
_LEG_AT: Final[Point] = (700, 658)
_SAID_LOW: Final = 692  # lowest line above the title block
_SAID_WIDTH: Final = 64  # characters

_Draw = Callable[[Kit], tuple[str, ...]]

_HEAVY: Final = "Heavy lines carry the power: keep them short, its capacitors at the output devices."
_BIAS: Final = (
    "Bias: trimmer at its largest resistance before first power; set it hot, by the drop across the emitter "
    "resistors."
)
_MOUNTS: Final = {
    "air": "free in the air",
    "fin": "a clip-on fin each",
    "heatsink": "insulated on the heatsink",
}
_PINS: Final = {
    True: "The chip's mute pin plays while it gives 0.5 mA, from memory, so it is held there; MUTE low "
    "shunts the signal. Read the maker's data sheet for the pins.",
    False: "Mute and stand-by pins together: they play above 3.5 V, from memory; MUTE low silences. Read the "
    "maker's data sheet for the pins.",
}
_TRACKING: Final = (
    "Bolt the bias transistor to the output devices' heatsink; DRIVE comes from the voltage stage's sheet."
)


def amplifier_block(design: Design, library: Library) -> Iterator[Block]:
    """The output stage of whichever kind.

    Parameters
    ----------
    design : the build. library : parts with the drawer merged.

    Returns
    -------
    Its block.
    """
    result = design.amplifier
    rail_v = design.point(Corner.NOMINAL, Level.FULL).rail_mean_v
    if result.inductance_h is not None:
        made = _class_d(design, rail_v)
    elif result.rail_switching is None:
        made = _class_ab(result, rail_v)
    elif result.rail_switching.form == "two pairs":
        made = _class_g(result, rail_v, library)
    else:
        made = _class_h(result, rail_v, library)
    circuit = made.circuit.with_readings(amplifier_readings(design, library))
    made = replace(made, circuit=circuit)
    made = _with_bank(made, result, rail_v, library) if result.input_capacitor_count else made
    if result.rails in ("battery", "raised"):
        for net, sense_ohm in (
            (SHUNT_NET, battery_shunt_ohm(design)),
            (OUTPUT_SHUNT_NET, amplifier_shunt_ohm(design)),
        ):
            if sense_ohm is not None:  # never both: the protection refuses a second one in this path
                made = _over_shunt(made, result, sense_ohm, net)
    yield made


def _over_shunt(block: Block, result: AmplifierResult, sense_ohm: float, net: str) -> Block:
    """The stage with each of its returns on a shunt's live end; drawn as ever, under that name."""
    straight = block.circuit
    kind = _kind(block, result)
    at = _RETURN_AT[kind]

    def returning(draw: _Draw, *, first: bool) -> _Draw:
        def both(kit: Kit) -> tuple[str, ...]:
            kit.sheet.zero = net
            kit.circuit, real = straight, kit.circuit
            notes = draw(kit)
            kit.circuit = real
            if first:
                kit.sheet.flag(net, at, "left", heavy=True)
                kit.sheet.say(at[0] + 8, at[1] + 4, "all returns of this stage")
            return notes

        return both

    return replace(
        block,
        circuit=through_shunt(straight, sense_ohm, amplifier_returns, net),
        draw=returning(block.draw, first=True),
        more=tuple(returning(draw, first=False) for draw in block.more),
    )


def _kind(block: Block, result: AmplifierResult) -> str:
    if result.inductance_h is not None:
        return "class D"
    stage = block.circuit.by_role("output stage")
    return "chip" if any(part.kind == "op-amp" for part in stage) else "discrete"


def _has_room(result: AmplifierResult) -> bool:
    """Whether the cans fit beside the stage on its first sheet."""
    if result.inductance_h is not None:
        return result.input_capacitor_count <= _BESIDE
    pairs = sum(part.quantity for part in result.parts if part.role == "output stage") / result.model.legs
    return result.input_capacitor_count <= _ROW and pairs <= _NARROW


def _with_bank(block: Block, result: AmplifierResult, rail_v: float, library: Library) -> Block:
    """The stage with the capacitors at its supply: on the same sheet where there is room, else on another."""
    can = library.capacitors[result.input_capacitor_id]
    circuit = with_input_bank(block.circuit, can, result.input_capacitor_count, rail_v)
    room = _has_room(result)

    def both(kit: Kit) -> tuple[str, ...]:
        notes = block.draw(kit)
        draw_input_bank(kit, 940, 100, across=2)
        return notes

    def apart(kit: Kit) -> tuple[str, ...]:
        draw_input_bank(kit, 200, 140, across=9)
        return ("At the output devices, leads short: they carry the ripple of the whole stage.",)

    if room:
        return replace(block, circuit=circuit, draw=both)
    titles = (*block.more_titles[: len(block.more)], "supply")
    return replace(block, circuit=circuit, more=(*block.more, apart), more_titles=titles)


def _names(result: AmplifierResult) -> dict[str, str]:
    return {
        **AMPLIFIER_NAMES,
        "rail_positive": positive_name(from_battery=result.rails == "battery"),
        "wanted_b": "INVERTED",
        "inner_positive": "INNER +",
        "inner_negative": "INNER −",
        "feed_positive": "FEED +",
        "feed_negative": "FEED −",
        "tap_a": "TAP A",
        "tap_b": "TAP B",
        "reference": "REF 2.5 V",
        MUTE_PIN: "MUTE PIN",
        **{f"lift_{leg}": f"LIFT {leg.upper()}" for leg in "ab"},
        **{f"gate_{leg}": f"GATE {leg.upper()}" for leg in "ab"},
    }


def _pair_texts(circuit: Circuit) -> Mapping[str, tuple[str, ...]]:
    """Each transistor of a complementary pair by its own type; of cans in parallel only the first in full."""
    found: dict[str, tuple[str, ...]] = {}
    banks: set[tuple[str, tuple[str, ...]]] = set()
    legs = sum(net.startswith("out_") for net in circuit.nets)
    crowded = sum(part.role == "output stage" for part in circuit.parts) > _CROWDED * max(legs, 1)
    for part in circuit.parts:
        if part.role in _BANKS:
            if (part.role, part.nets) in banks:
                found[part.designator] = (part.designator,)
            banks.add((part.role, part.nets))
        if crowded and part.role == "emitter resistor":
            if (part.role, ()) in banks:
                found[part.designator] = (part.designator,)
            banks.add((part.role, ()))
        if part.role == "output stage" and "/" in part.part_id:
            first, second = part.part_id.split("/")
            shown = (part.designator, first if part.model == "UPPER" else second)
            bank = (f"{part.role} {part.model}", (part.nets[0],))
            found[part.designator] = shown if not crowded or bank not in banks else shown[:1]
            banks.add(bank)
    return found


def _class_d(design: Design, rail_v: float) -> Block:
    result = design.amplifier
    fed_back = result.modulator is not None
    sensed = amplifier_shunt_ohm(design) is not None and result.rails == "split"
    values = class_d_values(result, rail_v=rail_v)
    circuit = class_d_circuit(values, load_ohm=result.load_ohm, modulation=0.5, periods=_PERIODS)
    circuit = with_supply_capacitors(circuit, result, values.rail_v)
    turns = () if result.inductor is None else (f"{result.inductor.turns} t",)
    value = show(values.inductance_h, "inductance")

    films = ", ".join(part.designator for part in circuit.by_role(LEG_FILM))

    def draw(kit: Kit) -> tuple[str, ...]:
        draw_class_d(kit, fed_back=fed_back, sensed=sensed)
        return (
            "Heavy lines carry the power: keep them short, the supply's capacitors at the switches; "
            f"{films} from upper drain to lower source at the very leads.",
            "The filter's values hold with the loudspeaker connected: never run it full without one.",
            "Gates: from the modulator's drivers, each lead twisted with its switch's source.",
            readings_line(kit.circuit),
            "Film capacitors 63 V unless stated.",
        )

    return Block(
        key="amplifier",
        title="Output stage",
        stage="amplifier",
        circuit=circuit,
        names=_names(result),
        draw=draw,
        texts={name: (name, value, *turns) for name in INDUCTORS},
        analysis=Transient(
            stop_s=_PERIODS * values.period_s, step_s=values.period_s / 200.0, from_initial=True
        ),
        probes=tuple(Voltage(net) for net in circuit.nets if net.startswith("out_")),
    )


def _cycle(cycles: int = 1) -> Transient:
    return Transient(stop_s=cycles / _NOTE_HZ, step_s=1.0 / _NOTE_HZ / _POINTS, accuracy=1e-4)


def _class_ab(result: AmplifierResult, rail_v: float) -> Block:
    values = class_ab_values(result, rail_v=rail_v)
    wanted = sine_ramp(0.9 * result.peak_v, _NOTE_HZ, points=_POINTS)
    circuit = class_ab_circuit(values, load_ohm=result.load_ohm, signal=wanted)
    circuit = with_supply_capacitors(circuit, result, values.rail_v)
    legs = "ab"[: values.legs]
    draws: tuple[_Draw, ...]
    if values.chip:

        def draw(kit: Kit) -> tuple[str, ...]:
            draw_chip(kit, legs)
            return (
                _HEAVY,
                "The tab is on the negative supply, or on ground in vehicle types: insulate it.",
                _PINS[values.split_rails],
                "Solder the capacitors of the supply pins to the pins themselves, the film one nearest.",
                readings_line(kit.circuit),
                "Resistors 0.25 W 1 %, film capacitors 63 V unless stated.",
            )

        draws = (draw,)
    else:
        low = GROUND if not values.split_rails else "rail_negative"
        draws = tuple(_leg(result, name, ("rail_positive", low), ("rail_positive", low)) for name in legs)
    return Block(
        key="amplifier",
        title="Output stage",
        stage="amplifier",
        circuit=circuit,
        names=_names(result),
        draw=draws[0],
        more=draws[1:],
        more_titles=("leg B",),
        texts=_pair_texts(circuit),
        analysis=_cycle(),
        probes=tuple(Voltage(f"out_{name}") for name in legs),
    )


def _say_readings(kit: Kit, nets: tuple[str, ...], at: Point) -> None:
    """What the points on some nets read, in a free place of the sheet."""
    lines = wrap(readings_line(kit.circuit, nets), _SAID_WIDTH)
    top = min(at[1], _SAID_LOW - 14 * (len(lines) - 1))
    for k, words in enumerate(lines):
        kit.sheet.say(at[0], top + 14 * k, words, classes="sm t")


def _leg(result: AmplifierResult, name: str, collectors: tuple[str, str], supplies: tuple[str, str]) -> _Draw:
    stage = result.voltage_stage
    heat = None if stage is None else stage.heats.get("driver NPN")
    drivers = "" if heat is None else f"Drivers: {_MOUNTS[heat.mount]}. "

    def draw(kit: Kit) -> tuple[str, ...]:
        draw_leg(kit, name, *collectors, *supplies)
        _say_readings(kit, (f"out_{name}", f"base_upper_{name}", f"base_lower_{name}"), _LEG_AT)
        return (
            _HEAVY,
            _BIAS,
            _TRACKING,
            f"{drivers}Resistors 0.25 W, film capacitors 63 V unless stated.",
        )

    return draw


def _class_g(result: AmplifierResult, rail_v: float, library: Library) -> Block:
    values = class_ab_values(result, rail_v=rail_v, switched=True)
    rails = result.rail_switching
    assert rails is not None
    wanted = sine_ramp(0.9 * result.peak_v, _NOTE_HZ, cycles=2, points=_POINTS)
    circuit = class_g_circuit(values, rails, library, load_ohm=result.load_ohm, signal=wanted)

    def switched(kit: Kit) -> tuple[str, ...]:
        draw_followers(kit)
        return (
            _HEAVY,
            "TAP A and TAP B: taps of both half-secondaries, on the converter's power sheet.",
            "Bolt followers and commutation diodes to the heatsink, insulated: their tabs are live.",
            readings_line(
                kit.circuit, ("feed_positive", "feed_negative", "inner_positive", "inner_negative")
            ),
            "Resistors 0.25 W unless stated. All rails hold their charge after switching off: measure first.",
        )

    return Block(
        key="amplifier",
        title="Output stage",
        stage="amplifier",
        circuit=circuit,
        names=_names(result),
        draw=_leg(result, "a", ("feed_positive", "feed_negative"), ("rail_positive", "rail_negative")),
        more=(switched,),
        more_titles=("rails",),
        texts=_pair_texts(circuit),
        analysis=_cycle(2),
        probes=tuple(map(Voltage, ("out_a", "feed_positive", "feed_negative"))),
    )


def _class_h(result: AmplifierResult, rail_v: float, library: Library) -> Block:
    values = class_ab_values(result, rail_v=rail_v, switched=True)
    rails = result.rail_switching
    assert rails is not None
    circuit = class_h_circuit(
        values,
        rails,
        library,
        lift_f=result.lift_f,
        cans=result.lift_count,
        load_ohm=result.load_ohm,
        signals=bridge_ramps(rail_v, LEAST_LEG_V, 0.9 * result.peak_v, _NOTE_HZ, cycles=2, points=_POINTS),
    )

    def lifting(name: str) -> _Draw:
        def draw(kit: Kit) -> tuple[str, ...]:
            draw_lifting(kit, name)
            _say_readings(kit, (f"feed_{name}", f"lift_{name}", f"gate_{name}"), _LIFTED_AT)
            return (
                _HEAVY,
                "The gates turn off through their diodes and on through their resistors: never both switches "
                "at once.",
                "The lifting capacitors hold their charge after switching off: measure before touching.",
                "Resistors 0.25 W unless stated.",
            )

        return draw

    return Block(
        key="amplifier",
        title="Output stage",
        stage="amplifier",
        circuit=circuit,
        names=_names(result),
        draw=_leg(result, "a", ("feed_a", GROUND), ("feed_a", GROUND)),
        more=(_leg(result, "b", ("feed_b", GROUND), ("feed_b", GROUND)), lifting("a"), lifting("b")),
        more_titles=("leg B", "lifting of leg A", "lifting of leg B"),
        texts=_pair_texts(circuit),
        analysis=Transient(
            stop_s=2.0 / _NOTE_HZ, step_s=1.0 / _NOTE_HZ / _POINTS / 8.0, accuracy=1e-4, from_initial=True
        ),
        probes=tuple(map(Voltage, ("out_a", "out_b", "feed_a", "lift_a"))),
    )
