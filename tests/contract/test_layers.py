"""Imports point down only; stages know nothing of each other; outputs calculate nothing."""

from __future__ import annotations

import ast

import pytest
from codebase import Module, imports, modules

LAYERS = (
    ("base",),
    ("physics",),
    ("parts",),
    ("stages",),
    ("circuits",),
    ("boards",),
    ("build",),
    ("outputs",),
    ("service",),
    ("session",),
    ("workspace",),
    ("web",),
    ("cli",),
)
RANK = {name: rank for rank, names in enumerate(LAYERS) for name in names}
STAGES = (
    *(
        "amplifier",
        "battery_guard",
        "board",
        "cabin",
        "control",
        "converter",
        "driver",
        "enclosure",
        "filter",
    ),
    *("goal", "heat", "input", "protection", "signal", "speaker_guard", "supply", "transformer", "wiring"),
)
ROOT_MODULES = {"subwright", "subwright.__main__"}


def below(name: str) -> str:
    """Layer of an imported dotted name; "" where it is not ours or the root package."""
    parts = name.split(".")
    return parts[1] if parts[0] == "subwright" and len(parts) > 1 else ""


def stage_of(name: str) -> str:
    """Stage that a module of ``stages`` belongs to: ``converter_timing`` belongs to ``converter``."""
    module = name.split(".")[2] if name.count(".") >= 2 else ""
    return next((stage for stage in STAGES if module == stage or module.startswith(stage + "_")), module)


@pytest.mark.parametrize("module", modules(), ids=str)
def test_every_module_is_in_a_layer(module: Module) -> None:
    assert module.name in ROOT_MODULES or module.layer in RANK


@pytest.mark.parametrize("module", modules(), ids=str)
def test_imports_point_down(module: Module) -> None:
    if module.name in ROOT_MODULES:
        return
    wrong = [
        f"line {line}: {name}"
        for name, line in imports(module)
        if below(name) and below(name) != module.layer and RANK[below(name)] >= RANK[module.layer]
    ]
    assert not wrong, f"{module} imports from its own height or above: {'; '.join(wrong)}"


@pytest.mark.parametrize("module", [m for m in modules() if m.layer == "stages"], ids=str)
def test_stages_do_not_import_each_other(module: Module) -> None:
    if module.path.name == "__init__.py":
        return
    wrong = [
        f"line {line}: {name}"
        for name, line in imports(module)
        if below(name) == "stages" and stage_of(name) not in ("", "common", stage_of(module.name))
    ]
    assert not wrong, f"{module} imports another stage: {'; '.join(wrong)}"


@pytest.mark.parametrize("module", [m for m in modules() if m.layer == "outputs"], ids=str)
def test_outputs_do_not_import_physics(module: Module) -> None:
    wrong = [f"line {line}: {name}" for name, line in imports(module) if below(name) == "physics"]
    assert not wrong, f"{module} could calculate: {'; '.join(wrong)}"


@pytest.mark.parametrize("module", [m for m in modules() if m.layer == "base"], ids=str)
def test_base_needs_no_scipy(module: Module) -> None:
    assert not [name for name, _ in imports(module) if name.split(".")[0] == "scipy"]


@pytest.mark.parametrize("module", modules(), ids=str)
def test_slow_libraries_are_imported_inside_functions(module: Module) -> None:
    """Top-level imports run at start-up; scipy costs a second there."""
    slow = {"scipy", "matplotlib", "numba", "typst", "ezdxf", "fastapi", "uvicorn", "neospice", "soundfile"}
    if module.layer == "web":
        slow -= {"fastapi", "uvicorn"}
    top = [node for node in module.tree.body if isinstance(node, (ast.Import, ast.ImportFrom))]
    names = [alias.name for node in top if isinstance(node, ast.Import) for alias in node.names]
    names += [node.module or "" for node in top if isinstance(node, ast.ImportFrom) and not node.level]
    assert not [name for name in names if name.split(".")[0] in slow]


def test_the_layer_test_can_fail() -> None:
    """An upward import, written out, is found."""
    source = ast.parse("def f():\n    from subwright.stages import supply\n")
    module = Module(
        name="subwright.physics.made_up", path=modules()[0].path.parent / "made_up.py", tree=source
    )
    assert [(below(name), line) for name, line in imports(module)] == [("stages", 2)]
    assert RANK["stages"] > RANK["physics"]
