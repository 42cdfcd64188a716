"""Parts of the filter's netlist, and what its op-amps run on."""

from __future__ import annotations

from typing import Final

from subwright.base.errors import SubwrightError
from subwright.circuits.models import BipolarModel, Model, RegulatorModel, ZenerModel
from subwright.circuits.netlist import GROUND, Numbering, Part, PartKind, Standing, Steady, Value
from subwright.parts.library import Library
from subwright.physics.junctions import saturation_current_a
from subwright.stages.filter import FilterResult
from subwright.stages.filter_bill import REGULATOR_INPUT_F, REGULATOR_OUTPUT_F

__all__ = ["FOLLOWER_GAIN", "FOLLOWER_JUNCTIONS", "FilterBuilder", "add_supply"]

FOLLOWER_GAIN: Final = 40.0
"""Current gain of a small power transistor, least; common practice."""
FOLLOWER_JUNCTIONS: Final = 30.0
"""Its junction is as many times a small transistor's as its rated current, 3 A."""

_HUNDRED: Final = 300
_DECOUPLING_F: Final = 100e-9
_BASE_F: Final = 10e-6
_REFERENCE_V: Final = 1.25  # of a 317-family regulator, data sheet


class FilterBuilder:
    """Hands out designators, collects parts, and knows which net is the signal's ground.

    Attributes
    ----------
    result, library : what is drawn. parts, models : collected. ground : net of the signal's ground.
    rails : nets of the op-amps' supply. number : designators. cases : that hold blocks of the filter.
    spare : designators of the amplifiers that follow, for the inputs.
    """

    def __init__(self, result: FilterResult, library: Library) -> None:
        self.result = result
        self.library = library
        self.parts: list[Part] = []
        self.models: list[Model] = []
        self.ground = "mid" if result.op_amp_supply.kind == "battery" else GROUND
        self.rails = ("op_supply", GROUND) if self.ground == "mid" else ("op_positive", "op_negative")
        self.number = Numbering(_HUNDRED)
        self._bill = {part.role: part.part_id for part in result.parts}
        amplifiers = sum(block.op_amps for block in result.blocks) + (self.ground == "mid")
        channels = library.op_amp(result.op_amp).channels
        self.cases = -(-amplifiers // channels)
        whole = result.op_amp_count * channels
        sections = self.number.sections("U", max(whole, amplifiers), channels)
        self._sections, self.spare = iter(sections[:amplifiers]), sections[amplifiers:]

    def bought(self, role: str) -> str:
        """Part id in the stage's own bill.

        Raises
        ------
        SubwrightError : the bill has no such part.
        """
        if role not in self._bill:
            raise SubwrightError(message=f"The filter's bill has no '{role}'.")
        return self._bill[role]

    def add(
        self,
        letters: str,
        kind: PartKind,
        nets: tuple[str, ...],
        role: str,
        value: Value = None,
        *,
        model: str = "",
        setting: float = 1.0,
    ) -> None:
        """Add a part of the bill."""
        self.parts.append(
            Part(
                designator=self.number.next(letters),
                kind=kind,
                nets=nets,
                value=value,
                model=model,
                role=role,
                part_id=self.bought(role),
                setting=setting,
            )
        )

    def resistor(self, role: str, a: str, b: str, value_ohm: float) -> None:
        """Add a resistor of the bill."""
        self.add("R", "resistor", (a, b), role, value_ohm)

    def capacitor(self, role: str, a: str, b: str, value_f: float) -> None:
        """Add a capacitor of the bill."""
        self.add("C", "capacitor", (a, b), role, value_f)

    def rheostat(self, designator: str, role: str, a: str, b: str, track_ohm: float, used_ohm: float) -> None:
        """One track of a potentiometer as a variable resistor."""
        self.parts.append(
            Part(
                designator=designator,
                kind="potentiometer",
                nets=(a, a, b),
                value=track_ohm,
                role=role,
                part_id=self.bought(role),
                setting=used_ohm / track_ohm,
            )
        )

    def op_amp(self, plus: str, minus: str, out: str) -> None:
        """Add the next amplifier."""
        self.parts.append(
            Part(
                designator=next(self._sections),
                kind="op-amp",
                nets=(plus, minus, out, *self.rails),
                model="OPAMP",
                role="filter op-amp",
                part_id=self.bought("filter op-amp"),
            )
        )

    def bench(self, name: str, kind: PartKind, nets: tuple[str, ...], role: str, value: Value) -> None:
        """Add a source or load that stands for the rest of the world."""
        standing: Standing = "bench"
        self.parts.append(
            Part(designator=f"BENCH_{name}", kind=kind, nets=nets, value=value, role=role, standing=standing)
        )


def add_supply(build: FilterBuilder, supply_v: float) -> None:
    """Add what the op-amps run on, with the rails or the battery as sources.

    Parameters
    ----------
    build : where parts and models go. supply_v : one rail, or the battery, V.
    """
    supply = build.result.op_amp_supply
    if supply.kind == "battery":
        build.bench("BATTERY", "voltage source", ("battery", GROUND), "battery", Steady(value=supply_v))
        _battery(build)
    else:
        for name, sign in (("POSITIVE", 1.0), ("NEGATIVE", -1.0)):
            rail = f"rail_{name.lower()}"
            build.bench(
                f"RAIL_{name}",
                "voltage source",
                (rail, GROUND),
                f"{name.lower()} rail",
                Steady(value=sign * supply_v),
            )
            if supply.kind == "follower":
                _follower(build, rail, build.rails[sign < 0], sign < 0)
            elif supply.kind == "zener":
                _zener(build, rail, build.rails[sign < 0], sign < 0)
            else:
                _regulator(build, rail, build.rails[sign < 0], sign < 0)
    if supply.zener_id is not None:
        zener = build.library.zener(supply.zener_id)
        build.models.append(
            ZenerModel(name="ZENER", zener_v=zener.vz_v, slope_ohm=zener.rz_ohm, rated_a=zener.iz_test_a)
        )
    for _ in range(build.cases):
        for rail in build.rails:
            if rail != GROUND:
                build.capacitor("op-amp decoupling", rail, GROUND, _DECOUPLING_F)


def _zener(build: FilterBuilder, rail: str, op_rail: str, negative: bool) -> None:
    series = _stated(build.result.op_amp_supply.series_ohm)
    build.resistor("op-amp supply resistor", rail, op_rail, series)
    ends = (op_rail, GROUND) if negative else (GROUND, op_rail)
    build.add("VR", "zener", ends, "op-amp supply zener", model="ZENER")


def _follower(build: FilterBuilder, rail: str, op_rail: str, negative: bool) -> None:
    """A zener with its capacitor on the base of an emitter follower."""
    word, model = ("negative", "PNP") if negative else ("positive", "NPN")
    base = f"base_{word}"
    build.resistor("op-amp supply resistor", rail, base, _stated(build.result.op_amp_supply.series_ohm))
    ends = (base, GROUND) if negative else (GROUND, base)
    build.add("VR", "zener", ends, "op-amp supply zener", model="ZENER")
    build.capacitor("op-amp supply base capacitor", *_upright(base, negative), _BASE_F)
    build.add("Q", "transistor", (rail, base, op_rail), "op-amp supply follower", model=model)
    build.models.append(
        BipolarModel(
            name=model,
            polarity="pnp" if negative else "npn",
            current_gain=FOLLOWER_GAIN,
            saturation_a=FOLLOWER_JUNCTIONS * saturation_current_a(),
        )
    )


def _regulator(build: FilterBuilder, rail: str, op_rail: str, negative: bool) -> None:
    supply = build.result.op_amp_supply
    word, model = ("negative", "REGULATOR_NEGATIVE") if negative else ("positive", "REGULATOR_POSITIVE")
    adjust = f"adjust_{word}"
    build.add("U", "regulator", (rail, op_rail, adjust), f"{word} regulator", model=model)
    build.resistor("regulator output to adjust", op_rail, adjust, _stated(supply.r1_ohm))
    build.resistor("regulator adjust to ground", adjust, GROUND, _stated(supply.r2_ohm))
    build.capacitor("regulator input capacitor", rail, GROUND, REGULATOR_INPUT_F)
    build.capacitor("regulator output capacitor", *_upright(op_rail, negative), REGULATOR_OUTPUT_F)
    build.models.append(RegulatorModel(name=model, reference_v=-_REFERENCE_V if negative else _REFERENCE_V))


def _upright(net: str, negative: bool) -> tuple[str, str]:
    """A net and 0 V, the more positive first: where an electrolytic's + goes."""
    return (GROUND, net) if negative else (net, GROUND)


def _battery(build: FilterBuilder) -> None:
    """Filtered battery, and half of it as the signal's ground, held by an op-amp."""
    supply = build.result.op_amp_supply
    build.resistor("op-amp supply filter", "battery", "op_supply", _stated(supply.filter_ohm))
    if supply.zener_id is not None:
        build.add("VR", "zener", (GROUND, "op_supply"), "op-amp supply zener", model="ZENER")
    build.capacitor("op-amp supply filter capacitor", "op_supply", GROUND, _stated(supply.filter_f))
    half = _stated(supply.midpoint_ohm)
    build.resistor("midpoint divider", "op_supply", "half", half)
    build.resistor("midpoint divider", "half", GROUND, half)
    build.capacitor("midpoint capacitor", "half", GROUND, _stated(supply.midpoint_f))
    build.op_amp("half", "mid", "mid")


def _stated(value: float | None) -> float:
    if value is None:
        raise SubwrightError(message="The op-amp supply lacks a value that its kind needs.")
    return value
