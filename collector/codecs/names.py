"""The name that a line of text carries, by which it is one probe's and not another's.

Pure. Must not do: take a name that only looks alike.
"""

from __future__ import annotations

from dataclasses import dataclass

from collector.codecs.fields import FieldLayout


@dataclass(frozen=True, slots=True)
class LineName:
    """One probe's name in lines that say whose they are: in a field (from 1), or behind a key (``id=T3``)."""

    name: str
    layout: FieldLayout
    field: int = 1
    key: str | None = None

    def is_in(self, text: str) -> bool:
        """Whether the line is this probe's."""
        if self.key is not None:
            return self.layout.texts_by_key(self.key, text) == [self.name]
        cells = self.layout.split(text)
        return len(cells) >= self.field and cells[self.field - 1] == self.name
