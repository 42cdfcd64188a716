"""The guards around a simulator: whatever it leaves out, gets wrong or says is noticed."""

from __future__ import annotations

import os
import struct
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from subwright.base.errors import SubwrightError
from subwright.circuits.analysis import AcSweep, Current, Transient, Voltage
from subwright.circuits.embedded import Embedded, absent_devices
from subwright.circuits.netlist import Circuit, Part, Steady
from subwright.circuits.ngspice import Ngspice, read_raw
from subwright.circuits.simulate import Traces, check_own_text, check_talk, checked, run_process, simulate
from subwright.circuits.spice_text import Deck, deck

DIVIDER = Circuit(
    name="divider",
    parts=(
        Part(
            designator="BENCH_SOURCE",
            kind="voltage source",
            nets=("in", "0"),
            value=Steady(value=1.0),
            standing="bench",
        ),
        Part(designator="R1", kind="resistor", nets=("in", "out"), value=1e3, role="upper", part_id="1k"),
        Part(designator="R2", kind="resistor", nets=("out", "0"), value=1e3, role="lower", part_id="1k"),
    ),
)
RUN = Transient(stop_s=1e-3, step_s=1e-4)
DECK = deck(DIVIDER, RUN, [Voltage("out")])
TIME = np.linspace(0.0, 1e-3, 11)


def raw(names: tuple[str, ...], table: np.ndarray, flags: str = "real") -> bytes:
    rows = "".join(f"\t{k}\t{name}\tvoltage\n" for k, name in enumerate(names))
    head = (
        f"Title: x\nDate: today\nPlotname: run\nFlags: {flags}\nNo. Variables: {len(names)}\n"
        f"No. Points: {len(table)}\nVariables:\n{rows}Binary:\n"
    )
    return head.encode() + np.ascontiguousarray(table).tobytes()


def program(folder: Path, script: str) -> Ngspice:
    """A stand-in for the simulator: a script of our own."""
    path = folder / "stand-in"
    path.write_text(f"#!{sys.executable}\n{script}", encoding="utf-8")
    path.chmod(0o755)
    return Ngspice(program=str(path))


def write_result(content: bytes) -> str:
    return f"import pathlib\npathlib.Path('deck.raw').write_bytes({content!r})\n"


def written(time: np.ndarray, values: np.ndarray, name: str = "v(out)") -> str:
    return write_result(raw(("time", name), np.column_stack((time, values))))


GOOD = written(TIME, np.full(11, 0.5))


def test_a_whole_answer_passes(tmp_path: Path) -> None:
    traces = simulate(DIVIDER, RUN, [Voltage("out")], program(tmp_path, GOOD))
    np.testing.assert_array_equal(traces.axis, TIME)
    np.testing.assert_array_equal(traces.voltage("out"), 0.5)


@pytest.mark.parametrize(
    ("script", "complaint"),
    [
        (GOOD + "raise SystemExit(1)", "exit code is 1"),
        ("pass", "exit code is 0, limit 0, and a result file"),
        (GOOD + "print('Warning: R7 has no value, skipping')", "R7 has no value"),
        (GOOD + "import sys; print('Error: singular matrix', file=sys.stderr)", "singular"),
        (GOOD + "print('doAnalyses: TRAN:  Timestep too small')", "too small"),
        (write_result(b"no header"), "no binary part"),
        (write_result(raw(("time", "v(out)"), np.zeros((3, 2)))[:-1]), "holds 47 bytes of data for 48"),
        (written(TIME, TIME, "v(in)"), "returned no v\\(out\\)"),
        (written(TIME, TIME * np.nan), "not a finite number"),
        (written(TIME[:6], TIME[:6]), "it covered 0 to 0.0005"),
        (written(TIME[::-1], TIME), "does not ascend"),
        (written(TIME[-1:], TIME[-1:]), "returned 1 points"),
    ],
)  # fmt: skip
def test_a_bad_answer_is_refused(script: str, complaint: str, tmp_path: Path) -> None:
    with pytest.raises(SubwrightError, match=complaint):
        simulate(DIVIDER, RUN, [Voltage("out")], program(tmp_path, script))


def test_messages_about_a_detour_to_the_operating_point_are_harmless(tmp_path: Path) -> None:
    talk = "print('Warning: Dynamic gmin stepping failed')\nprint('Note: Starting source stepping')\n"
    assert simulate(DIVIDER, RUN, [Voltage("out")], program(tmp_path, GOOD + talk)).engine == "ngspice"


def test_a_run_without_end_is_ended(tmp_path: Path) -> None:
    slow = program(tmp_path, "import time\ntime.sleep(30)\n")
    with pytest.raises(SubwrightError, match=r"more than 0\.3 s"):
        simulate(DIVIDER, RUN, [Voltage("out")], slow, timeout_s=0.3)


def test_a_missing_simulator_is_named_with_a_remedy() -> None:
    with pytest.raises(SubwrightError, match=r"can't run: there is no program 'no-such-program'.*Remedy"):
        simulate(DIVIDER, RUN, [Voltage("out")], Ngspice(program="no-such-program"))


def test_a_program_that_can_not_start_is_no_traceback(tmp_path: Path) -> None:
    path = tmp_path / "broken"
    path.write_text("#!/no/such/interpreter\n", encoding="utf-8")
    path.chmod(0o755)
    with pytest.raises(SubwrightError, match="could not be started"):
        simulate(DIVIDER, RUN, [Voltage("out")], Ngspice(program=str(path)))


def test_a_missing_package_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(SubwrightError, match="'neospice' is not installed"):
        simulate(DIVIDER, RUN, [Voltage("out")], Embedded())


def test_the_simulator_gets_no_environment_of_ours(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SUBWRIGHT_PROBE", "leak")
    look = (
        "import os, pathlib\n"
        "assert 'SUBWRIGHT_PROBE' not in os.environ\n"
        "assert pathlib.Path(os.environ['HOME']) == pathlib.Path.cwd()\n"
    )
    simulate(DIVIDER, RUN, [Voltage("out")], program(tmp_path, look + GOOD))


def test_the_folder_is_gone_afterwards(tmp_path: Path) -> None:
    note = f"import pathlib\npathlib.Path({str(tmp_path / 'where')!r}).write_text(str(pathlib.Path.cwd()))\n"
    simulate(DIVIDER, RUN, [Voltage("out")], program(tmp_path, note + GOOD))
    assert not Path((tmp_path / "where").read_text(encoding="utf-8")).exists()


@pytest.mark.parametrize(
    "line",
    [".control", ".CONTROL", ".include /etc/passwd", ".lib x", ".shell date", "R1 a b `date`", "R1 a b Ω"],
)
@pytest.mark.parametrize("engine", [Ngspice(), Embedded()], ids=["ngspice", "neospice"])
def test_a_text_that_is_not_ours_is_not_run(line: str, engine: Ngspice | Embedded) -> None:
    foreign = replace(DECK, text=DECK.text.replace(".end\n", f"{line}\n.end\n"))
    with pytest.raises(SubwrightError, match="not one that subwright writes"):
        engine.run(foreign, 1.0)


def test_our_own_text_passes() -> None:
    check_own_text(DECK, "ngspice")


def test_talk_is_searched_line_by_line() -> None:
    check_talk("Circuit: divider\nNo. of Data Rows : 11\nNote: No compatibility mode selected!\n", DECK, "x")
    with pytest.raises(SubwrightError, match="it said: Unknown model type"):
        check_talk("fine\nUnknown model type zener - ignored\n", DECK, "x")


def test_a_failing_process_reports_everything_it_said(tmp_path: Path) -> None:
    script = "import sys; print('one'); print('two', file=sys.stderr); sys.exit(3)"
    code, talk = run_process((sys.executable, "-c", script), tmp_path, dict(os.environ), DECK, "x", 10.0)
    assert code == 3
    assert talk.split() == ["one", "two"]


def test_raw_complex_numbers() -> None:
    table = np.array([[10.0 + 0j, 1 + 2j], [20.0 + 0j, 3 - 4j]])
    axis, columns = read_raw(raw(("frequency", "V(OUT)"), table, "complex"))
    np.testing.assert_array_equal(axis, [10.0, 20.0])
    np.testing.assert_array_equal(columns["v(out)"], [1 + 2j, 3 - 4j])
    assert not np.iscomplexobj(axis)


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"Binary:\n",
        b"Flags: real\nBinary:\n" + struct.pack("d", 1.0),
        b"\xff\xfeBinary:\n",
        raw((), np.zeros((1, 0))),
    ],
)
def test_a_broken_raw_file_is_no_traceback(content: bytes) -> None:
    with pytest.raises(SubwrightError, match="can't be read"):
        read_raw(content)


def test_an_ac_sweep_may_stop_short_of_its_end_by_less_than_a_step() -> None:
    sweep = deck(DIVIDER, AcSweep(low_hz=10.0, high_hz=500.0, per_decade=40), [Voltage("out")])
    hertz = 10.0 * 10.0 ** (np.arange(68) / 40)
    assert checked(sweep, "x", hertz, {"v(out)": np.ones(68, dtype=complex)}).axis[-1] < 500.0
    with pytest.raises(SubwrightError, match="it covered"):
        checked(sweep, "x", hertz[:60], {"v(out)": np.ones(60, dtype=complex)})


def test_phasors_are_not_read_as_courses() -> None:
    probe = Current("L1")
    traces = Traces(engine="x", axis=np.ones(2), values={probe: np.array([1j, 2j])})
    np.testing.assert_array_equal(traces.phasor(probe), [1j, 2j])
    with pytest.raises(SubwrightError, match="is a phasor"):
        traces.current("L1")


def test_every_element_must_have_been_loaded() -> None:
    assert absent_devices(("R1", "XU1A", "KT1_1"), ["r1", "xu1a.b1", "Kt1_1"]) == ()
    assert absent_devices(("R1", "R10"), ["R10"]) == ("R1",)
    assert isinstance(DECK, Deck)
