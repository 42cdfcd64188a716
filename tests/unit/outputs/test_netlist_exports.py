"""The whole build's netlist: one net across sheets, as a table and as board-test records, read back."""

from __future__ import annotations

import csv
import io
import re
import shutil
import subprocess
from collections import defaultdict
from functools import cache
from pathlib import Path

import pytest

from subwright import service
from subwright.outputs.board_test import OFF_BOARD
from subwright.outputs.joined_nets import JoinedPin, plain_name
from subwright.outputs.schematic_files import build_pins, netlist_files
from subwright.outputs.schematic_trace import drawn_nets, real_nets
from subwright.outputs.schematics import Schematics, schematics
from subwright.parts.library import Library
from subwright.service.solved import library_of

EXAMPLES = sorted((Path(__file__).parents[3] / "examples").glob("*.build.toml"))

pytestmark = pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name.partition(".")[0])


@cache
def made(path: Path) -> tuple[Schematics, Library, dict[str, str]]:
    solved = service.solve(path)
    library = library_of(solved)
    drawn = schematics(solved.design, library)
    return drawn, library, dict(netlist_files(solved.design, library, drawn))


@cache
def pins(path: Path) -> tuple[JoinedPin, ...]:
    drawn, library, _ = made(path)
    return build_pins(drawn, library)


def rows(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(made(path)[2]["netlist.csv"])))


def test_every_pin_of_every_block_is_in_the_table_once(path: Path) -> None:
    listed = [(row["block"], row["part"], row["pin"]) for row in rows(path)]
    assert len(set(listed)) == len(listed)
    wanted = sum(
        len(real_nets(block.circuit, with_inherent=block.drawn_inherent, without=block.elsewhere))
        for block in made(path)[0].blocks
    )
    assert len(listed) == wanted


def test_pins_of_one_block_are_joined_as_in_its_netlist(path: Path) -> None:
    for block in made(path)[0].blocks:
        real = real_nets(block.circuit, with_inherent=block.drawn_inherent, without=block.elsewhere)
        found = [pin for pin in pins(path) if pin.block == block.key]
        joined: dict[str, set[str]] = defaultdict(set)
        for pin, net in zip(found, real.values(), strict=True):
            joined[pin.net].add(net)
        assert all(len(nets) == 1 for nets in joined.values()), joined
        assert len(joined) == len(set(real.values()))


def test_nets_meet_where_two_sheets_print_the_same_name(path: Path) -> None:
    """By another route: the name that the drawing itself prints at each run of wire."""
    drawn = made(path)[0]
    across: dict[str, set[str]] = defaultdict(set)
    for pin in pins(path):
        across[pin.net].add(pin.block)
    meeting = {net for net, found in across.items() if len(found) > 1} - {"GND"}
    bearers: dict[str, set[str]] = defaultdict(set)
    for sheet in drawn.sheets:
        for name, _ in sheet.references:
            bearers[name].add(sheet.block)
    assert meeting == {plain_name(name) for name in drawn.shared if len(bearers[name]) > 1}
    for sheet in drawn.sheets:
        names = {name for name, _ in sheet.references}
        block = next(block for block in drawn.blocks if block.key == sheet.block)
        found, _ = drawn_nets([sheet.svg])
        shown = {block.names.get(net, net) for net in found.values()}
        assert names <= shown | {"GND"}


def test_names_are_fit_for_other_programmes(path: Path) -> None:
    for row in rows(path):
        assert re.fullmatch(r"[A-Z0-9][!-~]*", row["net"]), row
        assert not row["pin"].startswith(("'", "+", "-")), row
        assert 1 <= len(row["case pin"]) <= 4, row


def test_sections_of_a_case_have_pins_of_their_own(path: Path) -> None:
    """But for the common pins of a twin diode and the supply of an amplifier's case."""
    nets: dict[tuple[str, str], set[str]] = defaultdict(set)
    for pin in pins(path):
        nets[pin.case, pin.code].add(f"{pin.block}:{pin.net}")
    assert [key for key, found in nets.items() if len(found) > 1] == []


def test_records_of_the_board_test(path: Path) -> None:
    """Columns as published for IPC-D-356A: 80 a record; 317 in 1-3, net 4-17, designator 21-26, pin 28-31."""
    text = made(path)[2]["netlist.d356"]
    assert text.isascii()
    lines = text.split("\n")
    assert lines.pop() == ""
    assert {len(line) for line in lines} == {80}
    assert lines[0].startswith("P  JOB   ")
    head = [line[3:9].strip() for line in lines if line.startswith("P")]
    assert head[:7] == ["JOB", "CODE", "UNITS", "TITLE", "NUM", "REV", "VER"]
    assert "P  VER   IPC-D-356A" in text
    assert lines[-1].rstrip() == "999"
    alias = {line[3:12].strip(): line[13:].strip() for line in lines if line.startswith("P  NNAME")}
    records = [line for line in lines if line.startswith("317")]
    assert lines.index(records[0]) > max(k for k, line in enumerate(lines) if line.startswith("P"))
    found = set()
    for line in records:
        net = line[3:17].strip()
        assert line[17:20] == "   "
        assert line[26] == "-"
        assert line[38:41] == "A00"
        assert line[41:].strip() == ""  # no place until there is a board
        found.add((alias.get(net, net), line[20:26].strip(), line[27:31].strip()))
    wanted = {
        (pin.net, pin.case, pin.code)
        for pin in pins(path)
        if pin.part.standing == "bought" and pin.block not in OFF_BOARD
    }
    assert found == wanted
    assert {name for name in alias if not name.startswith("NNAME")} == set()


@pytest.mark.spice
def test_every_block_runs_alone_in_ngspice(path: Path, tmp_path: Path) -> None:
    """As a stranger would: the file, the programme, nothing else."""
    program = shutil.which("ngspice")
    if program is None:
        pytest.skip("NOT CHECKED BY SIMULATION: ngspice is missing.")
    for name, text in made(path)[2].items():
        if not name.endswith(".cir"):
            continue
        (tmp_path / name).write_text(text, encoding="ascii")
        done = subprocess.run(
            [program, "-b", "-r", f"{name}.raw", name],
            cwd=tmp_path,
            capture_output=True,
            text=True,
            timeout=300,
            check=False,
        )
        said = done.stdout + done.stderr
        assert done.returncode == 0, (name, said)
        assert not re.search(r"(?i)error|singular|unrecognized|aborted", said), (name, said)
        raw = (tmp_path / f"{name}.raw").read_bytes()
        points = re.search(rb"No\. Points: (\d+)", raw)
        assert points is not None, name
        assert int(points.group(1)) > 50, name


def test_every_test_point_is_in_its_table_with_each_state(path: Path) -> None:
    drawn, _, files = made(path)
    text = files["test_points.csv"]
    assert text.count("\r\n") == text.count("\n")
    listed = list(csv.DictReader(io.StringIO(text, newline="")))
    assert list(listed[0]) == ["point", "net", "circuit", "what", "state", "dc_v", "ripple_v", "waveform"]
    nets = {pin.net for pin in pins(path)}
    kept = iter(listed)
    for block in drawn.blocks:
        for point in block.circuit.test_points:
            for reading in point.readings or (None,):
                row = next(kept)
                assert (row["point"], row["circuit"], row["what"]) == (
                    point.designator,
                    block.circuit.name,
                    point.what,
                )
                assert row["net"] in nets
                if reading is not None:
                    assert row["state"] == reading.at
                    assert float(row["dc_v"]) == pytest.approx(reading.dc_v, rel=1e-5, abs=1e-12)
                    assert float(row["ripple_v"]) == pytest.approx(reading.ripple_v, rel=1e-5, abs=1e-12)
                    assert row["waveform"].lstrip("'") == reading.waveform
    assert next(kept, None) is None
