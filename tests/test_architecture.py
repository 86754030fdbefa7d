"""The rules of the house that no other tool checks: small files, short functions, every module says what it is for."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
MODULES = sorted(path for folder in ("api", "collector", "dashboard") for path in (ROOT / folder).rglob("*.py"))
MOST_LINES, MOST_FUNCTION_LINES = 300, 40


@pytest.mark.parametrize("path", MODULES, ids=[str(path.relative_to(ROOT)) for path in MODULES])
def test_small_and_named(path: Path) -> None:
    """At most 300 lines a file, 40 a function without its docstring, and a docstring for every module with code."""
    text = path.read_text(encoding="utf-8")
    tree = ast.parse(text)
    assert len(text.splitlines()) <= MOST_LINES
    assert not tree.body or ast.get_docstring(tree)
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            doc = node.body[0] if ast.get_docstring(node) else None
            said = (doc.end_lineno or 0) - doc.lineno + 1 if doc is not None else 0
            assert (node.end_lineno or 0) - node.lineno + 1 - said <= MOST_FUNCTION_LINES, node.name


def test_the_collector_stays_light() -> None:
    """It loads no web framework, no validation library and no NumPy."""
    heavy = ("fastapi", "pydantic", "numpy", "starlette")
    code = f"import collector.runner, sys; print([m for m in {heavy} if m in sys.modules])"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert out.stdout.strip() == "[]"


def test_packages_that_must_load_nothing() -> None:
    """Empty, so that importing one part never brings another."""
    for package in ("api", "collector"):
        assert (ROOT / package / "__init__.py").read_text(encoding="utf-8").strip() == ""


def test_version_and_changes_agree() -> None:
    """The newest heading under Changes is the version."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    newest = readme.split("## Changes", 1)[1].split("### ", 1)[1].split()[0]
    assert f'version = "{newest}"' in (ROOT / "pyproject.toml").read_text(encoding="utf-8")


def test_commands_and_drivers_are_in_the_documents() -> None:
    """Every command and driver stands in the README or the example room."""
    from api.cli import _parser
    from collector.drivers.table import DRIVERS

    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    example = (ROOT / "deploy" / "room.example.toml").read_text(encoding="utf-8")
    commands = next(action.choices for action in _parser()._actions if isinstance(action.choices, dict))
    assert [name for name in commands if name not in readme] == []
    assert [name for name in DRIVERS if name not in example] == []


def test_test_files_have_names_of_their_own() -> None:
    """Two test files of one name cannot be collected together."""
    names = [path.name for path in (ROOT / "tests").rglob("test_*.py")]
    assert sorted(names) == sorted(set(names))
