"""The boost converter's two sheets in the forms that the example doesn't have."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import combinations
from pathlib import Path

import pytest

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.base.units import code
from subwright.build.result import Design
from subwright.circuits.boost_control import boost_control_circuit
from subwright.outputs import schematic_blocks
from subwright.outputs.schematic_boost import boost_block
from subwright.outputs.schematic_boost_control import boost_control_block
from subwright.outputs.schematic_labels import overlap
from subwright.outputs.schematic_trace import agree
from subwright.outputs.schematics import Schematics, schematics
from subwright.parts.library import Library
from subwright.service.solved import library_for

EXAMPLE = Path(__file__).parents[3] / "examples" / "harvest-wagon.build.toml"
MAKERS = {"Boost converter power stage": boost_block, "Boost converter controller": boost_control_block}
FORMS = {
    "as it is": {},
    "fed by the battery": {"gate_supply": "battery"},
    "followers": {"gate_drive": "buffer"},
    "straight from the controller": {"gate_drive": "direct"},
    "no battery switch": {"disconnect": "fuse"},
}


@cache
def solved(form: str) -> tuple[Design, Library]:
    spec = service.open_build(EXAMPLE).spec
    converter = spec.converter.model_copy(update=FORMS[form])
    changed = spec.model_copy(update={"converter": converter})
    return service.solve(changed, folder=EXAMPLE.parent).design, library_for(changed, EXAMPLE.parent)


def drawn(design: Design, library: Library, monkeypatch: pytest.MonkeyPatch) -> Schematics:
    """Only the boost converter's sheets, held to their netlists as they are made."""
    monkeypatch.setattr(schematic_blocks, "_MAKERS", MAKERS)
    return schematics(design, library)


@pytest.mark.parametrize("form", FORMS)
def test_every_form_is_drawn_as_its_netlist(form: str, monkeypatch: pytest.MonkeyPatch) -> None:
    found = drawn(*solved(form), monkeypatch)
    assert found.missing == ()
    assert [sheet.key for sheet in found.sheets] == ["boost", "boost-control"]
    for sheet in found.sheets:
        assert [label.lines for label in sheet.labels if label.cost > 0] == []


@pytest.mark.parametrize("switches", [1, 2, 3, 4, 5, 6])
def test_switches_in_parallel_have_their_own_resistors(
    switches: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    design, library = solved("as it is")
    assert design.boost is not None
    plan = design.boost.plan
    more = replace(plan, switch=replace(plan.switch, per_side=switches))
    found = drawn(replace(design, boost=replace(design.boost, plan=more)), library, monkeypatch)
    power = found.sheets[0]
    gates = {part.nets[1] for part in power.circuit.by_role("boost switch")}
    assert len(gates) == switches
    for role in ("gate resistor", "gate pull-down"):
        assert len(power.circuit.by_role(role)) == switches
    assert [label.lines for label in power.labels if label.cost > 0] == []
    texts = [(" ".join(label.lines), label.box) for label in power.labels] + list(power.fixed)
    for (a, box_a), (b, box_b) in combinations(texts, 2):
        assert overlap(box_a, box_b) == 0.0, (a, b)
    told = " ".join(words for words, _ in texts)
    mosfet, ohm = plan.switch.mosfet.id, plan.drive.gate_ohm
    assert mosfet in told  # by each, or once for all
    assert code(ohm, "resistance") in told


def test_a_wire_left_out_would_be_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    found = drawn(*solved("as it is"), monkeypatch)
    control = found.sheets[1]
    other = replace(
        control.circuit,
        parts=tuple(
            replace(part, nets=(part.nets[0], "comp")) if part.role == "slope resistor" else part
            for part in control.circuit.parts
        ),
    )
    with pytest.raises(SubwrightError, match="comp, cs are drawn joined"):
        agree(other, [control.svg])


def test_the_controller_has_its_supply_stopped_with_the_control_line() -> None:
    design, _ = solved("as it is")
    assert design.boost is not None
    circuit = boost_control_circuit(design.boost, rail=design.boost.set_v, control=12.0)
    upper = circuit.by_role("run transistor, PNP")[0]
    assert upper.nets[2] == "rail"
    feeds = [part for part in circuit.parts if "zener" in part.nets and part.kind == "resistor"]
    assert [part.nets for part in feeds] == [("allowed", "zener")]
