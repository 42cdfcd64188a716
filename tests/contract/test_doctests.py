"""The worked examples in the docstrings run, and print what they say."""

from __future__ import annotations

import doctest
import importlib

import pytest
from codebase import Module, modules

WITH_EXAMPLES = [m for m in modules() if ">>> " in m.path.read_text(encoding="utf-8")]


@pytest.mark.parametrize("module", WITH_EXAMPLES, ids=str)
def test_examples(module: Module) -> None:
    outcome = doctest.testmod(importlib.import_module(module.name), optionflags=doctest.NORMALIZE_WHITESPACE)
    assert outcome.attempted
    assert not outcome.failed
