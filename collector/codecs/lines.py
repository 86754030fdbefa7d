"""Bytes as they come from a line to whole lines, whatever way they were cut up.

Pure: no I/O. Must not do: understand what a line says.
"""

from __future__ import annotations


class LineSplitter:
    """Feeds on bytes, gives whole lines without their end. What is held never exceeds ``max_bytes``.

    A line longer than that is thrown away up to its end and counted in ``overlong``; empty lines are passed over.
    """

    def __init__(self, end: bytes = b"\n", max_bytes: int = 1000) -> None:
        self.end, self.max_bytes = end, max_bytes
        self.overlong = 0
        self.cut = 0
        self._held = b""
        self._skipping = False
        self._cutting = False

    def skip_first(self) -> None:
        """What comes up to the next end is the rest of a line whose head was missed: throw it away, count it."""
        self._skipping = self._cutting = True

    def feed(self, data: bytes) -> list[bytes]:
        """The whole lines that ``data`` completes."""
        *whole, rest = (self._held + data).split(self.end)
        lines = []
        for line in whole:
            if self._skipping:
                self._end_skipping()
            elif len(line) > self.max_bytes:
                self.overlong += 1
            elif kept := line.strip(b"\r\n") if self.end.endswith((b"\n", b"\r")) else line:
                lines.append(kept)
        if self._skipping or len(rest) > self.max_bytes:
            self._skipping = True
            # the last bytes may be the first part of a line end of several bytes
            rest = rest[len(rest) - len(self.end) + 1 :] if len(self.end) > 1 else b""
        self._held = rest
        return lines

    def drop(self) -> bytes:
        """Forget an unfinished line, of which no more will come; what of it was held."""
        held, self._held = self._held, b""
        if self._skipping:
            self._end_skipping()
        return held

    def _end_skipping(self) -> None:
        if self._cutting:
            self.cut += 1
        else:
            self.overlong += 1
        self._skipping = self._cutting = False

    @property
    def held_bytes(self) -> int:
        """How much of an unfinished line is waiting."""
        return len(self._held)
