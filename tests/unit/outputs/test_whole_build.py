"""All sheets of a build together: each bought part on one of them, each reference with its partner."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from functools import cache
from itertools import combinations
from pathlib import Path

import pytest

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.build.result import Design
from subwright.circuits.netlist import GROUND, IEEE_315_LETTERS, Circuit
from subwright.circuits.shunt_return import SHUNT_NET
from subwright.outputs.bom import designators
from subwright.outputs.schematic_blocks import drawn_designators
from subwright.outputs.schematic_frame import INDEX
from subwright.outputs.schematic_labels import overlap
from subwright.outputs.schematic_trace import trace
from subwright.outputs.schematics import Schematics, schematics
from subwright.service.solved import library_for, library_of
from subwright.stages.common import PartUse

EXAMPLES = sorted((Path(__file__).parents[3] / "examples").glob("*.build.toml"))

pytestmark = pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name.partition(".")[0])

# Lines of the bill that no netlist has, by stage and the beginning of the role, and why.
NOT_IN_A_NETLIST = {
    ("enclosure", ""): "wood, pipe and screws",
    ("heat", ""): "heatsink and pads",
    ("transformer", "transformer core"): "drawn as its windings",
    ("transformer", "primary wire"): "drawn as its windings",
    ("transformer", "secondary wire"): "drawn as its windings",
    ("transformer", "auxiliary wire"): "drawn as its windings",
    ("transformer", "transformer insulation"): "tape",
    ("amplifier", "output inductor core"): "drawn as the inductor",
    ("amplifier", "output inductor wire"): "drawn as the inductor",
    ("boost", "boost choke wire"): "drawn as the choke",
    ("boost", "pre-charge resistor"): "a tool, not built in",
    ("boost", "battery switch"): "in the battery lead; the wiring sheet's note says where",
    ("converter", "output choke wire"): "drawn as the choke",
    ("wiring", "link, "): "a heavy line of its stage's sheet; the wiring sheet's table says how thick",
}
# Lines that one part of the netlist stands for several of, or the other way round.
COUNTED_OTHERWISE = {
    ("filter", "op-amp supply follower"): "one line buys the pair",
}
SHUNT_ROLE = "over-current shunt"
# Flags that lead out of the build.
OUT_OF_THE_BUILD = {"REMOTE": "the vehicle's remote line"}


@cache
def made(path: Path) -> tuple[Design, Schematics]:
    solved = service.solve(path)
    return solved.design, schematics(solved.design, library_of(solved))


@cache
def _changed(path: Path, stage: str, changes: tuple[tuple[str, object], ...]) -> Schematics:
    spec = service.open_build(path).spec
    part = getattr(spec, stage).model_copy(update=dict(changes))
    solved = service.solve(spec.model_copy(update={stage: part}), folder=path.parent)
    return schematics(solved.design, library_for(spec, path.parent))


def changed(path: Path, **changes: dict[str, object]) -> Schematics:
    """The build's sheets with some keys of one stage changed."""
    ((stage, new),) = changes.items()
    return _changed(path, stage, tuple(sorted(new.items())))


def bill(path: Path) -> dict[tuple[str, str], PartUse]:
    return {(stage, use.role): use for stage, use in made(path)[0].part_uses()}


def in_netlists(path: Path) -> Counter[tuple[str, str]]:
    found: Counter[tuple[str, str]] = Counter()
    for block in made(path)[1].blocks:
        for role, count in block.circuit.bought().items():
            found[block.stage_of(role), role] += count
    return found


def excused(key: tuple[str, str]) -> bool:
    return any(key[0] == stage and key[1].startswith(role) for stage, role in NOT_IN_A_NETLIST)


def test_every_line_of_the_bill_is_in_exactly_one_netlist(path: Path) -> None:
    drawn = in_netlists(path)
    absent = [key for key in bill(path) if key not in drawn and not excused(key)]
    assert absent == []
    holders: dict[tuple[str, str], set[str]] = defaultdict(set)
    for block in made(path)[1].blocks:
        for role in block.circuit.bought():
            holders[block.stage_of(role), role].add(block.key)
    assert {key: found for key, found in holders.items() if len(found) > 1} == {}


def test_every_part_of_a_netlist_is_on_the_bill_as_often(path: Path) -> None:
    lines = bill(path)
    for key, count in in_netlists(path).items():
        if key == ("amplifier", "output inductor") and key not in lines:
            key = ("amplifier", "output inductor core")  # one that is wound is bought as its core
        assert key in lines, key
        if lines[key].unit == "pcs" and key not in COUNTED_OTHERWISE:
            assert count == lines[key].quantity, key


def test_designators_are_given_once_in_the_whole_build(path: Path) -> None:
    design, drawn = made(path)
    holders: dict[str, set[str]] = defaultdict(set)
    for block in drawn.blocks:
        for part in block.circuit.parts:
            if part.standing in ("bought", "elsewhere") and part.designator not in block.elsewhere:
                holders[part.case].add(block.key)
        for point in block.circuit.test_points:
            holders[point.designator].add(block.key)
    assert {name: found for name, found in holders.items() if len(found) > 1} == {}
    given = designators(tuple(design.part_uses()), drawn_designators(drawn.blocks))
    names = [name for found in given.values() for name in found]
    assert [name for name, count in Counter(names).items() if count > 1] == []


def test_class_letters_are_those_of_the_standards(path: Path) -> None:
    """IEEE 315 letters; those of IEC 81346-2 differ (R, C, L alike) and are not mixed in."""
    for block in made(path)[1].blocks:
        for part in block.circuit.parts:
            if part.standing in ("bought", "elsewhere"):
                letters = re.match(r"[A-Z]+", part.designator)
                assert letters is not None
                assert letters.group() == IEEE_315_LETTERS[part.kind], part.designator


def loose_flags(drawn: Schematics) -> set[str]:
    """Names at flags that no second run of wire, on any sheet, bears; a test point is no partner."""
    places: Counter[str] = Counter()
    flags = set()
    for sheet in drawn.sheets:
        block = next(block for block in drawn.blocks if block.key == sheet.block)
        for run in trace(sheet.svg):
            places.update({block.names.get(net, net) for net in run.names})
        flags |= {name for name, is_flag in sheet.references if is_flag}
    return {name for name in flags if places[name] < 2}


def test_every_flag_has_its_partner(path: Path) -> None:
    assert loose_flags(made(path)[1]) <= set(OUT_OF_THE_BUILD)


def bearers(drawn: Schematics, name: str) -> set[str]:
    """Blocks with a flag of that name."""
    return {sheet.block for sheet in drawn.sheets if (name, True) in sheet.references}


def test_what_is_told_to_mute_is_joined_to_the_mute(path: Path) -> None:
    design, drawn = made(path)
    assert design.protection is not None
    muted = "modulator" if design.amplifier.modulator is not None else "amplifier"
    told = {"control", muted, *(["protection"] if design.protection.stops == "amplifier" else [])}
    assert bearers(drawn, "MUTE") == told


def test_what_a_winding_feeds_is_joined_to_that_winding(path: Path) -> None:
    if made(path)[0].converter is None:
        assert bearers(made(path)[1], "AUX +") == set()
        return
    drawn = changed(path, converter={"auxiliary_feed": "winding"})
    assert drawn.missing == ()
    assert loose_flags(drawn) <= set(OUT_OF_THE_BUILD)
    for sign in "+−":
        assert bearers(drawn, f"AUX {sign}") == {"auxiliary", "filter"}
        assert bearers(drawn, f"RAIL {sign}") >= {"converter", "amplifier"}
        assert "filter" not in bearers(drawn, f"RAIL {sign}")


def test_flags_say_on_which_sheets_their_nets_go_on(path: Path) -> None:
    drawn = made(path)[1]
    bearers: dict[str, set[int]] = defaultdict(set)
    for number, sheet in enumerate(drawn.sheets, 1):
        for name, _ in sheet.references:
            bearers[name].add(number)
    for number, sheet in enumerate(drawn.sheets, 1):
        told: set[int] = set()
        for text in re.findall(r">→ ([\d,–]+)<", sheet.svg):
            for run in text.split(","):
                first, _, last = run.partition("–")
                told |= set(range(int(first), int(last or first) + 1))
        elsewhere = {
            other for name, is_flag in sheet.references if is_flag for other in bearers[name] - {number}
        }
        assert told == elsewhere, sheet.key


def test_the_first_sheet_lists_all(path: Path) -> None:
    drawn = made(path)[1]
    first = drawn.sheets[0]
    assert first.block == "wiring"
    for number, sheet in enumerate(drawn.sheets, 1):
        assert re.search(rf">{number}</text>\n?<text[^>]*>{re.escape(sheet.title[:14])}", first.svg), (
            sheet.title
        )
    boxes = [*(label.box for label in first.labels), *(box for _, box in first.fixed), *first.marks]
    assert all(overlap(INDEX, box) == 0.0 for box in [*boxes, *(box for _, box in first.bodies)])


SHUNT_BEARERS = {
    "canal-workboat": {"converter"},
    "storyteller-van": {"converter"},
    "harvest-wagon": {"boost", "amplifier"},
    "cargo-bike-cinema": {"amplifier"},
}


def test_the_battery_returns_over_the_shunt_that_senses_it(path: Path) -> None:
    drawn = changed(path, protection={"over_current": "shunt"})
    assert drawn.missing == ()
    assert loose_flags(drawn) <= set(OUT_OF_THE_BUILD)
    name = path.name.partition(".")[0]
    assert bearers(drawn, "SHUNT") == SHUNT_BEARERS[name] | {"protection"}
    assert bearers(made(path)[1], "SHUNT") == set()
    for sheet in drawn.sheets:
        assert [label.lines for label in sheet.labels if label.cost > 0.0] == [], sheet.key
        texts = [(" ".join(label.lines), label.box) for label in sheet.labels] + list(sheet.fixed)
        for (a, box_a), (b, box_b) in combinations(texts, 2):
            assert overlap(box_a, box_b) == 0.0, (sheet.key, a, b)


def test_the_amplifier_returns_over_the_shunt_that_senses_it(path: Path) -> None:
    """A loudspeaker on 0 V by its own return, a stage on one supply by the stage's."""
    drawn = changed(path, protection={"amplifier_current": "shunt"})
    assert drawn.missing == ()
    assert loose_flags(drawn) <= set(OUT_OF_THE_BUILD)
    single = made(path)[0].amplifier.rails in ("battery", "raised")
    assert bearers(drawn, "SHUNT OUT") == {"protection", "amplifier" if single else "wiring"}
    assert bearers(made(path)[1], "SHUNT OUT") == set()
    for sheet in drawn.sheets:
        assert [label.lines for label in sheet.labels if label.cost > 0.0] == [], sheet.key


def test_a_second_shunt_in_the_same_return_is_refused(path: Path) -> None:
    both = {"amplifier_current": "shunt", "over_current": "shunt"}
    if made(path)[0].amplifier.rails not in ("battery", "raised"):
        assert bearers(changed(path, protection=both), "SHUNT OUT") == {"protection", "wiring"}
        return
    with pytest.raises(SubwrightError, match="returns over the battery's shunt"):
        changed(path, protection=both)


def test_the_supply_feeds_nothing_past_the_shunt(path: Path) -> None:
    """What lies between the battery's net and 0 V on the power's sheets lies between it and the shunt."""
    drawn = changed(path, protection={"over_current": "shunt"})
    for block in drawn.blocks:
        if block.key not in SHUNT_BEARERS[path.name.partition(".")[0]]:
            continue
        power = [part for part in block.circuit.parts if part.standing in ("bought", "inherent")]
        heavy = [part for part in power if part.kind == "mosfet" or part.role.endswith("input capacitor")]
        assert any(SHUNT_NET in part.nets for part in heavy)
        assert not any(GROUND in part.nets for part in heavy)


def test_the_shunt_is_counted_once_in_the_battery_s_path(path: Path) -> None:
    drawn = changed(path, protection={"over_current": "shunt"})
    for block in drawn.blocks:
        if block.key in ("converter", "boost"):
            shunt = block.circuit.part("BENCH_SHUNT").value
            rest = block.circuit.part("BT101_RS").value
            real = next(part for part in by_key(drawn, "protection").parts if part.role == SHUNT_ROLE)
            plain = by_key(made(path)[1], block.key).part("BT101_RS").value
            assert isinstance(shunt, float)
            assert isinstance(rest, float)
            assert isinstance(plain, float)
            assert shunt == real.value
            # The shunt came to the path and was taken out again; a little less current cools the cable.
            assert rest == pytest.approx(plain, abs=0.01 * shunt)


def by_key(drawn: Schematics, key: str) -> Circuit:
    return next(block.circuit for block in drawn.blocks if block.key == key)
