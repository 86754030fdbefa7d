"""Text that people type, before it is kept: no longer than it may be, and such as a page and a database can write.

Must not do: change a text in silence; ``shortened`` is for what is shown or kept as one line.
"""

from __future__ import annotations

from api.domain.errors import InputError

MOST_NAME = 80


def writable(what: str, text: str, most: int | None = None) -> None:
    """Raises InputError for text that is too long, or that no page and no database could write."""
    if most is not None and len(text) > most:
        raise InputError(f"{what}: {len(text)} characters are too many; use at most {most}")
    if any(ord(letter) < 32 and letter not in "\t\n\r" for letter in text):
        raise InputError(f"{what} holds a character that cannot be written; type it again")
    try:
        text.encode()
    except UnicodeEncodeError as error:
        raise InputError(f"{what} holds half a character; type it again") from error


def shortened(text: str, most: int) -> str:
    """One line of at most so many characters."""
    return " ".join(text.split())[:most]


def person_name(person: str, done: str) -> str:
    """A person's name as it is kept; ``done`` says what only a person does ("a calibration is made").

    Raises InputError without a name, or for one that cannot be written.
    """
    name = shortened(person, MOST_NAME)
    writable("your name", name)
    if not name:
        raise InputError(f"{done} by a person: give a name")
    return name
