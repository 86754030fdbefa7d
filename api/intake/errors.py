"""The one error of reading a file: file, line, column, what is wrong and what to do.

Must not do: be raised for one bad row among good ones (that is a ``RefusedRow``).
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from polars.exceptions import PolarsError
from python_calamine import CalamineError

from api.domain.errors import InputError


class FileError(InputError):
    """A file that cannot be read as it is; ``line`` and ``column`` are None where the whole file is meant."""

    def __init__(self, file: str, what: str, todo: str, line: int | None = None, column: str | None = None) -> None:
        self.file, self.what, self.todo, self.line, self.column = file, what, todo, line, column
        where = file if line is None else f"{file}, line {line}"
        where = where if column is None else f"{where}, column {column[:60]!r}"
        super().__init__(f"{where}: {what}; {todo}")


@contextmanager
def foreign(source: Path, what: str, todo: str, line: int | None = None) -> Iterator[None]:
    """Turn whatever a library says of a broken file into a FileError; a bug of ours goes through as it is."""
    try:
        yield
    except (PolarsError, CalamineError, OSError) as error:
        raise FileError(str(source), f"{what} ({_first(error)})", todo, line) from error
    except BaseException as error:
        # What is written in Rust panics on some broken files, and its panic is no Exception.
        if type(error).__name__ != "PanicException":
            raise
        raise FileError(str(source), f"{what} ({_first(error)})", todo, line) from error


def _first(error: BaseException) -> str:
    return str(error).partition("\n")[0][:120]


def shown(text: str, most: int = 40) -> str:
    """Some of a text from a file, quoted, without control signs."""
    return repr(text if len(text) <= most else text[: most - 1] + "…")
