"""The modulator's signal sheet: input buffer, error integrator, clock or hysteresis, comparator."""

from __future__ import annotations

from typing import Final

from subwright.circuits.netlist import GROUND
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_modulator_parts import bridge, down, find, section, spot, stand, zero
from subwright.outputs.schematic_pen import Placed

__all__ = ["draw_signal"]

_BUFFER: Final = 310  # x of its middle
_MIDDLE: Final = 270  # height of the comparator
_SUM: Final = 540  # x of the summing nodes
_INTEGRATOR: Final = 620
_COMPARATOR: Final = 960
_CLOCK: Final = 880
_CLOCK_Y: Final = 530


def draw_signal(kit: Kit) -> None:
    """Draw from the filter's output to the comparator's."""
    _buffer(kit)
    _integrator(kit)
    if kit.circuit.by_role("clock timing capacitor"):
        _against_clock(kit)
        _clock(kit)
        _clock_supply(kit)
    else:
        _hysteresis(kit)
        _spare(kit)


def _buffer(kit: Kit) -> None:
    sheet, y = kit.sheet, 140
    sheet.say(90, 86, "input buffer", head=True)
    sheet.flag("wanted_a", (180, y), "left")
    amp = kit.place_amplifier(section(kit, "buffered"), _BUFFER, y + 10, flip=True)
    coupled = kit.circuit.by_role("modulator input capacitor")
    if coupled:
        end = kit.run("wanted_a", 180, y, [coupled[0]])
        sheet.wire((end, y), amp["+"])
        down(kit, kit.one("modulator input bias"), "input_biased", (end, y))
    else:
        sheet.wire((180, y), amp["+"])
    x, out = amp["-"][0], (amp["out"][0] + 10, amp["out"][1])
    balance = kit.circuit.by_role("modulator input balance")
    if balance:
        kit.lying(balance[0], "buffer_minus", x + 20, y + 60)
        sheet.wire(amp["-"], (x, y + 60), (x + 20, y + 60))
        sheet.wire((x + 60, y + 60), (out[0], y + 60), out, amp["out"])
    else:
        sheet.wire(amp["-"], (x, y + 60), (out[0], y + 60), out, amp["out"])


def _integrator(kit: Kit) -> None:
    """Both summing nodes, each fed by its input and by its node, the capacitors on the amplifier's side."""
    sheet, out = kit.sheet, (_BUFFER + 40, 150)
    sheet.say(430, 86, "error integrator", head=True)
    y = _MIDDLE - 10
    amp = kit.place_amplifier(section(kit, "integrated"), _INTEGRATOR, y)
    minus, plus = 220, 330
    # from 0 V or the reference, and from leg A's node, to the inverting side
    quiet = zero(kit)
    kit.lying(find(kit, "integrator input", "sum_minus", quiet), quiet, 450, minus)
    sheet.wire((430, minus), (450, minus))
    stand(kit, quiet, (430, minus))
    kit.lying(find(kit, "integrator feedback", "sum_minus"), "node_a", 450, minus - 60)
    sheet.flag("node_a", (440, minus - 60), "left")
    sheet.wire((440, minus - 60), (450, minus - 60))
    sheet.wire((490, minus - 60), (_SUM, minus - 60), (_SUM, minus), (_SUM, y - 10), amp["-"])
    sheet.wire((490, minus), (_SUM, minus))
    held = find(kit, "integrator capacitor", "sum_minus")
    kit.lying(held, "sum_minus", _INTEGRATOR - 20, minus - 60)
    sheet.wire((_SUM, minus - 60), (_INTEGRATOR - 20, minus - 60))
    sheet.wire((_INTEGRATOR + 20, minus - 60), (_INTEGRATOR + 50, minus - 60), (_INTEGRATOR + 50, y))
    # from the buffer, and from leg B's node or 0 V, to the other
    kit.lying(find(kit, "integrator input", "sum_plus"), "buffered", 450, plus)
    sheet.wire((out[0], 200), (out[0], plus), (450, plus))
    spot(kit, "buffered", (out[0], plus - 40))
    far = "node_b" if bridge(kit) else GROUND
    kit.lying(find(kit, "integrator feedback", "sum_plus"), far, 450, plus + 60)
    sheet.wire((440, plus + 60), (450, plus + 60))
    stand(kit, far, (440, plus + 60))
    sheet.wire((490, plus + 60), (_SUM, plus + 60), (_SUM, plus), (_SUM, y + 10), amp["+"])
    sheet.wire((490, plus), (_SUM, plus), (_SUM + 30, plus), (_SUM + 30, plus + 10))
    down(kit, find(kit, "integrator capacitor", "sum_plus"), "sum_plus", (_SUM + 30, plus + 10))
    sheet.wire(amp["out"], (_INTEGRATOR + 50, y), (720, y))
    spot(kit, "integrated", (_INTEGRATOR + 80, y))


def _own_ground(kit: Kit, amp: Placed) -> None:
    """0 V at the ground pin of a comparator that stands on its head."""
    x, y = amp["ground"]
    kit.sheet.wire((x, y), (x + 40, y))
    kit.sheet.ground(GROUND, (x + 40, y))


def _output(kit: Kit, x: int, y: int) -> None:
    """The comparator's output, on to the logic."""
    net = "pwm" if "pwm" in kit.circuit.nets else "logic_pwm"
    kit.sheet.wire((x + 30, y), (x + 50, y))
    kit.sheet.flag(net, (x + 50, y), "right", "to the logic")


def _against_clock(kit: Kit) -> None:
    """The integrator's share, clamped, against the clock's triangle."""
    sheet, y = kit.sheet, _MIDDLE - 10
    sheet.say(700, 86, "comparator", head=True)
    amp = kit.place_amplifier(
        section(kit, "pwm" if "pwm" in kit.circuit.nets else "logic_pwm"), _COMPARATOR, _MIDDLE, flip=True
    )
    _own_ground(kit, amp)
    kit.lying(kit.one("comparator series"), "integrated", 720, y)
    sheet.wire((760, y), (800, y), (850, y), amp["+"])
    sheet.wire((800, y), (800, y + 10))
    down(kit, kit.one("comparator shunt"), "compared_plus", (800, y + 10))
    up = find(kit, "comparator clamp diode", "compared_plus", "clock_supply")
    kit.upright(up, "clock_supply", 850, y - 60)
    sheet.rail("clock_supply", (850, y - 60))
    sheet.wire((850, y - 20), (850, y), (850, y + 20))
    down(kit, find(kit, "comparator clamp diode", "compared_plus", GROUND), "compared_plus", (850, y + 20))
    _output(kit, _COMPARATOR, _MIDDLE)


def _clock(kit: Kit) -> None:
    """The comparator's other half, which charges and empties the timing capacitor between two thresholds."""
    sheet, x, y = kit.sheet, _CLOCK, _CLOCK_Y
    sheet.say(500, y - 76, "clock", head=True)
    amp = kit.place_amplifier(section(kit, "clock"), x, y)
    sheet.ground(GROUND, amp["ground"])
    out = (x + 60, y)
    carrier = y - 10
    left = x - 120
    sheet.wire(amp["-"], (left, carrier), (left - 70, carrier))
    down(kit, kit.one("clock timing capacitor"), "carrier", (left - 70, carrier))
    spot(kit, "carrier", (left - 30, carrier))
    kit.lying(kit.one("clock timing resistor"), "carrier", x - 20, y - 70)
    sheet.wire((left, carrier), (left, y - 70), (x - 20, y - 70))
    sheet.wire((x + 20, y - 70), (out[0], y - 70), out)
    up, pin = _COMPARATOR - 40, (_COMPARATOR - 30, _MIDDLE + 10)
    sheet.wire((left, y - 70), (left, y - 120), (up, y - 120), (up, pin[1]), pin)
    row = y + 80
    foot = x - 330
    sheet.wire(amp["+"], (x - 50, y + 10), (x - 50, row), (x - 20, row))
    sheet.wire((foot, row), (x - 50, row))
    kit.upright(kit.one("clock threshold upper"), "clock_supply", foot, row - 50)
    sheet.rail("clock_supply", (foot, row - 50))
    sheet.wire((foot, row - 10), (foot, row), (foot, row + 10))
    down(kit, kit.one("clock threshold lower"), "clock_threshold", (foot, row + 10))
    kit.lying(kit.one("clock threshold feedback"), "clock_threshold", x - 20, row)
    sheet.wire((x + 20, row), (out[0], row), out)
    kit.upright(kit.one("clock pull-up"), "clock_supply", out[0] + 70, y - 50)
    sheet.rail("clock_supply", (out[0] + 70, y - 50))
    sheet.wire(amp["out"], out, (out[0] + 70, y), (out[0] + 70, y - 10))


def _clock_supply(kit: Kit) -> None:
    sheet, x, y = kit.sheet, 150, 500
    sheet.say(90, y - 66, "supply of the clock", head=True)
    sheet.rail("op_positive", (x, y))
    end = kit.run("op_positive", x, y, [kit.one("clock supply resistor")]) + 20
    sheet.wire((end - 20, y), (end, y), (end + 90, y), (end + 150, y))
    down(kit, kit.one("clock supply zener"), "clock_supply", (end, y))
    down(kit, kit.one("clock supply capacitor"), "clock_supply", (end + 90, y))
    sheet.rail("clock_supply", (end + 150, y))


def _hysteresis(kit: Kit) -> None:
    """Both inputs follow the integrator or the quiet net, and a share of their own node."""
    sheet, y, quiet = kit.sheet, _MIDDLE - 10, zero(kit)
    sheet.say(700, 86, "comparator with hysteresis", head=True)
    amp = kit.place_amplifier(
        section(kit, "pwm" if "pwm" in kit.circuit.nets else "logic_pwm"), 1000, _MIDDLE, flip=True
    )
    _own_ground(kit, amp)
    plus, minus = y, y + 100
    kit.lying(find(kit, "hysteresis input", "compared_plus"), "integrated", 720, plus)
    sheet.wire((760, plus), (820, plus), (840, plus), (890, plus), amp["+"])
    kit.lying(find(kit, "hysteresis feedback", "compared_plus"), "node_a", 760, plus - 70)
    sheet.flag("node_a", (750, plus - 70), "left")
    sheet.wire((750, plus - 70), (760, plus - 70))
    sheet.wire((800, plus - 70), (820, plus - 70), (820, plus))
    kit.lying(find(kit, "hysteresis input", "compared_minus"), quiet, 720, minus)
    sheet.wire((700, minus), (720, minus))
    stand(kit, quiet, (700, minus))
    sheet.wire((760, minus), (820, minus), (840, minus), (890, minus), (960, minus), (960, y + 20), amp["-"])
    far = "node_b" if bridge(kit) else GROUND
    kit.lying(find(kit, "hysteresis feedback", "compared_minus"), far, 760, minus + 70)
    sheet.wire((750, minus + 70), (760, minus + 70))
    stand(kit, far, (750, minus + 70))
    sheet.wire((800, minus + 70), (820, minus + 70), (820, minus))
    for k, part in enumerate(kit.circuit.by_role("comparator clamp diode")):
        x = 840 + 50 * k
        kit.upright(part, "compared_plus", x, plus + 30)
        sheet.wire((x, plus), (x, plus + 30))
        sheet.wire((x, plus + 70), (x, minus))
    _output(kit, 1000, _MIDDLE)


def _spare(kit: Kit) -> None:
    """The comparator's other half, tied down."""
    sheet, quiet = kit.sheet, zero(kit)
    x, y = 860, 560
    sheet.say(790, y - 66, "not used", head=True)
    amp = kit.place_amplifier(section(kit, "spare_output"), x, y)
    sheet.ground(GROUND, amp["ground"])
    sheet.wire(amp["-"], (x - 50, amp["-"][1]), (x - 50, amp["+"][1]), amp["+"])
    sheet.wire((x - 50, amp["+"][1]), (x - 50, y + 30))
    sheet.ground(quiet, (x - 50, y + 30))
    sheet.say(amp["out"][0] + 8, y + 4, "left open")
