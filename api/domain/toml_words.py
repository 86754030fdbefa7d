"""A line that is no TOML, in words a keeper can act on. Pure. Must not do: read a file."""

from __future__ import annotations

import re

from api.domain.errors import RoomFileError

AT = re.compile(r" ?\(at line (\d+), column \d+\)")
CURLY = "“”„‟‘’‚«»"
HINTS = (
    ("Cannot declare", "Each tank, probe, care and person begins with double brackets, such as [[probe]]."),
    ("Cannot overwrite", "This key stands twice in its table; keep one of them."),
    ("Duplicate", "This key stands twice in its table; keep one of them."),
    ("Invalid value", "A text stands between straight quotes, such as name = \"North 1\"; a decimal has a point."),
    ("Expected '='", "Write key = value; lines that begin with # are remarks."),
    ("Invalid statement", "Write key = value, or a table such as [room]; lines that begin with # are remarks."),
    ("Illegal character", "A text stands between straight quotes and ends on its own line."),
    ("Unclosed array", "A list ends with ]."),
)  # fmt: skip


def toml_fault(error: Exception, text: str, file: str) -> RoomFileError:
    """The line at fault, what it says, and what it should look like."""
    said = str(error)
    found = AT.search(said)
    if found is None:
        return RoomFileError(file, None, f"this is not TOML: {said}.")
    number = int(found[1])
    line = (text.splitlines() or [""])[min(number, text.count("\n") + 1) - 1].strip()
    what = f"this is not TOML: {AT.sub('', said)}" + (f" in {line[:80]!r}." if line else ".")
    if any(mark in line for mark in CURLY):
        return RoomFileError(file, number, what, 'It has curly quotes; use straight ones: "')
    return RoomFileError(file, number, what, next((hint for words, hint in HINTS if words in said), ""))
