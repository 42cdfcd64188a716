"""What the contract tests read of the code without running it: modules, imports, names and docstrings."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import subwright

PACKAGE = Path(subwright.__file__).parent
ROOT = PACKAGE.parent.parent


@dataclass(frozen=True, kw_only=True)
class Module:
    """One source file."""

    name: str  # "subwright.base.units"
    path: Path
    tree: ast.Module

    @property
    def layer(self) -> str:
        """Package below ``subwright`` ("base"), or the module itself ("service"); "" for the root."""
        return [*self.name.split("."), ""][1]

    def __str__(self) -> str:
        return self.name


@cache
def modules() -> tuple[Module, ...]:
    """Every module of the package."""
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        found.append(Module(name=name, path=path, tree=ast.parse(path.read_text(encoding="utf-8"))))
    return tuple(found)


def imports(module: Module) -> Iterator[tuple[str, int]]:
    """Dotted names that a module imports, anywhere in it, with their lines."""
    known = {other.name for other in modules()}
    package = module.name.split(".") if module.path.name == "__init__.py" else module.name.split(".")[:-1]
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Import):
            yield from ((alias.name, node.lineno) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            above = package[: len(package) - node.level + 1] if node.level else []
            base = ".".join([*above, *([node.module] if node.module else [])])
            for alias in node.names:
                deeper = f"{base}.{alias.name}"
                yield (deeper if deeper in known else base), node.lineno


def public_definitions(module: Module) -> Iterator[tuple[str, ast.stmt]]:
    """Public names that the module itself defines at top level."""
    for node in module.tree.body:
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)):
            if not node.name.startswith("_"):
                yield node.name, node
        elif isinstance(node, (ast.Assign, ast.AnnAssign)):
            if isinstance(node.value, ast.Call) and ast.unparse(node.value.func).endswith("TypeVar"):
                continue
            for target in node.targets if isinstance(node, ast.Assign) else [node.target]:
                if isinstance(target, ast.Name) and not target.id.startswith("_"):
                    yield target.id, node


def exported(module: Module) -> tuple[str, ...] | None:
    """The names in ``__all__``; None where the module has none."""
    for node in module.tree.body:
        if isinstance(node, ast.Assign) and any(
            isinstance(target, ast.Name) and target.id == "__all__" for target in node.targets
        ):
            return tuple(ast.literal_eval(node.value))
    return None


def docstrings(module: Module) -> Iterator[tuple[str, str]]:
    """Every docstring of a module with the dotted name that it belongs to."""
    text = ast.get_docstring(module.tree)
    if text:
        yield module.name, text
    for node in ast.walk(module.tree):
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)):
            text = ast.get_docstring(node)
            if text:
                yield f"{module.name}.{node.name}", text
