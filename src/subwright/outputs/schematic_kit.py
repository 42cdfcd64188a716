"""A circuit on a sheet: finding parts by role and net, and the few arrangements that every block uses."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from subwright.base.errors import SubwrightError
from subwright.circuits.models import BipolarModel, SquareLawModel, SwitchModel
from subwright.circuits.netlist import PINS, Circuit, Part, PartKind
from subwright.outputs.schematic_labels import LabelSide
from subwright.outputs.schematic_pen import Placed, Sheet
from subwright.outputs.schematic_pins import chip_pin_number, pin_numbers, supply_pin_numbers
from subwright.outputs.schematic_texts import polarised, spare_sections
from subwright.stages.common import PartUse
from subwright.stages.filter import FilterBlock

__all__ = ["Kit"]


class Kit:
    """What a placement function works with.

    Attributes
    ----------
    circuit, sheet : the netlist and the paper. uses : the block's bill by role.
    channels : amplifiers in one case, by part id.
    """

    def __init__(
        self, circuit: Circuit, sheet: Sheet, uses: Mapping[str, PartUse], channels: Mapping[str, int]
    ) -> None:
        self.circuit, self.sheet, self.uses, self.channels = circuit, sheet, uses, channels

    # finding

    def of(self, block: FilterBlock, role: str) -> Part:
        """The one part of a role within a filter block."""
        return self.one(f"{block.name} {role}")

    def one(self, role: str) -> Part:
        """The one part of a role.

        Raises
        ------
        SubwrightError : there is none, or more than one.
        """
        found = self.circuit.by_role(role)
        if len(found) != 1:
            raise SubwrightError(message=f"The netlist '{self.circuit.name}' has {len(found)} of '{role}'.")
        return found[0]

    def at_net(self, kind: PartKind, net: str) -> Part:
        """First part of a kind on a net.

        Raises
        ------
        SubwrightError : there is none.
        """
        for part in self.circuit.parts:
            if part.kind == kind and net in part.nets:
                return part
        raise SubwrightError(message=f"The netlist '{self.circuit.name}' has no {kind} on {net}.")

    def amplifier(self, input_net: str) -> Part:
        """Amplifier with a net on one of its inputs."""
        for part in self.circuit.parts:
            if part.kind in ("op-amp", "comparator") and input_net in part.nets[:2]:
                return part
        raise SubwrightError(message=f"The netlist '{self.circuit.name}' has no amplifier on {input_net}.")

    def variable(self, block: FilterBlock, role: str) -> list[Part]:
        """A fixed resistor, followed by the track in series with it where there is one."""
        fixed = self.of(block, role)
        tracks = [p for p in self.circuit.parts if p.kind == "potentiometer" and p.nets[0] == fixed.nets[1]]
        return [fixed, *tracks]

    def cases(self, kind: PartKind) -> list[Part]:
        """First section of each case of a kind."""
        found: dict[str, Part] = {}
        for part in self.circuit.parts:
            if part.kind == kind:
                found.setdefault(part.case, part)
        return list(found.values())

    def is_p_channel(self, part: Part) -> bool:
        """Whether a MOSFET is of the P channel."""
        found = (model for model in self.circuit.models if model.name == part.model)
        return any(
            isinstance(model, SwitchModel | SquareLawModel) and model.channel == "p" for model in found
        )

    def is_pnp(self, part: Part) -> bool:
        """Whether a transistor is a PNP."""
        found = (model for model in self.circuit.models if model.name == part.model)
        return any(isinstance(model, BipolarModel) and model.polarity == "pnp" for model in found)

    @property
    def spare_sections(self) -> tuple[str, ...]:
        """Amplifiers that nothing uses."""
        return spare_sections(self.circuit, self.channels)

    # placing

    def place(
        self,
        part: Part,
        x: int,
        y: int,
        *,
        turn: int = 0,
        flip: bool = False,
        mirrored: bool = False,
        shape: str = "",
        lines: tuple[str, ...] = (),
        also: tuple[str, ...] = (),
        side: LabelSide | None = None,
    ) -> Placed:
        """Put a part down in the variant that fits it; ``mirrored`` has its first pin at the right.

        ``shape``, ``lines``, ``also`` and ``side`` as for ``Sheet.place``.
        """
        if part.kind == "capacitor" and polarised(part, self.uses):
            shape = "polarised capacitor"
        if part.kind == "transistor":
            shape = "pnp" if self.is_pnp(part) else "npn"
        if part.kind == "mosfet" and self.is_p_channel(part):
            shape = "p-mosfet"
        if part.kind == "voltage source":
            shape = "battery"
        turned = turn + 2 * mirrored
        return self.sheet.place(
            part, x, y, turn=turned, flip=flip, shape=shape, lines=lines, also=also, side=side
        )

    def place_amplifier(self, part: Part, x: int, y: int, *, flip: bool = False) -> Placed:
        """A section of an amplifier or a gate; an amplifier's − input is uppermost unless ``flip``."""
        numbers = pin_numbers(part, self.channels)
        return self.sheet.place(part, x, y, flip=flip, numbers=numbers)

    def place_chip(self, part: Part, x: int, y: int) -> Placed:
        """A controller's or a driver's case with its pin numbers."""
        numbers = {pin: chip_pin_number(part, pin) for pin in PINS[part.kind]}
        return self.sheet.place(part, x, y, numbers=numbers)

    def place_supply(self, part: Part, x: int, y: int) -> Placed:
        """The supply pins of an amplifier's or gate's case."""
        numbers = supply_pin_numbers(part, self.channels)
        return self.sheet.place(part, x, y, shape="supply unit", numbers=numbers, name=part.case)

    def run(self, net: str, x: int, y: int, parts: Sequence[Part], *, heavy: bool = False) -> int:
        """Parts in series along a line to the right from ``x``, which is on ``net``; returns where it ends.

        A potentiometer among them is a variable resistor: its wiper joins its first end.
        """
        for part in parts:
            self.lying(part, net, x + 10, y)
            self.sheet.wire((x, y), (x + 10, y), heavy=heavy)
            self.sheet.wire((x + 50, y), (x + 60, y), heavy=heavy)
            ahead = part.nets[0] == net
            if part.kind == "potentiometer":
                wiper, track = (y - 20, x + 10) if ahead else (y + 20, x + 50)
                self.sheet.wire((x + 30, wiper), (track, wiper), (track, y))
            net = part.nets[-1] if ahead else part.nets[0]
            x += 60
        return x

    def upright(self, part: Part, net: str, x: int, y: int, side: LabelSide | None = None) -> Placed:
        """A two-terminal part standing at ``x``, its pin on ``net`` at the top, which is ``y``."""
        first = part.nets[0] == net
        if not first and net not in part.nets:
            raise SubwrightError(message=f"{part.designator} isn't on {net}.")
        return self.place(part, x, y + 20, turn=1 if first else 3, side=side)

    def lying(self, part: Part, net: str, x: int, y: int, side: LabelSide | None = None) -> Placed:
        """A two-terminal part along a line, its pin on ``net`` at the left, which is ``x``."""
        first = part.nets[0] == net
        if not first and net not in part.nets:
            raise SubwrightError(message=f"{part.designator} isn't on {net}.")
        return self.place(part, x + 20, y, mirrored=not first, side=side)

    def pin_net(self, part: Part, pin: str) -> str:
        """Net of a part's pin."""
        return part.nets[PINS[part.kind].index(pin)]
