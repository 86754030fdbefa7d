"""README names every command there is, and no other."""

from __future__ import annotations

import argparse
import re
from pathlib import Path

from api.cli import _parser

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")


def commands() -> set[str]:
    """Every command, with its action where it has one."""
    found = set()
    (choices,) = (one.choices for one in _parser()._actions if isinstance(one, argparse._SubParsersAction))
    for name, parser in choices.items():
        actions = next((one.choices for one in parser._actions if one.dest == "action"), None)
        found |= {f"{name} {action}" for action in actions} if actions else {name}
    return found


def test_the_list_of_commands_is_whole() -> None:
    """In the paragraph a stranger reads first."""
    (told,) = re.findall(r"Commands, each with `--help`: `intermolt ([^`]+)`", README)
    assert {" ".join(one.split()) for one in told.split("|")} == commands()


def test_commands_elsewhere_are_commands() -> None:
    """Every `intermolt WORD` of the text, in line or in a block."""
    used = set(re.findall(r"(?:`|    )intermolt ([a-z]+)", README))
    assert used <= {one.split()[0] for one in commands()}
