"""The answer to a poll without the poll itself, which some adapters and two-wire lines give back before it.

Pure. Must not do: take a letter of the poll for one of the answer, or guess when both could be meant.
"""

from __future__ import annotations

SPACE = b" \t\r\n"
IN_NUMBERS = b"0123456789+-.,eE"


def is_ended(poll: bytes) -> bool:
    """Whether the poll ends in a control letter such as a carriage return, as no number does."""
    return poll[-1:] < b" "


def could_be_a_number(poll: bytes) -> bool:
    """Whether an answer that is glued to an echo of this poll could be read as another number."""
    return not is_ended(poll) and poll[-1:] in IN_NUMBERS


def answers(line: bytes, poll: bytes, echo: bool | None) -> list[bytes]:
    """What the first line after a poll may be as an answer, the likeliest first; empty: it is nothing but the poll.

    ``echo`` True: the poll always comes back; False: never; None: perhaps.

    Raises ValueError, in plain words, when the poll should have come back and did not.
    """
    sent = poll.strip(SPACE)
    if echo is False or not sent:
        return [line]
    if line.strip(SPACE) == sent:
        return []
    begins = line.startswith(poll)
    if echo and not begins:
        raise ValueError("does not begin with the poll, which should come back first (echo = true)")
    if not begins:
        return [line]
    rest = line[len(poll) :]
    return [rest] if echo or is_ended(poll) else [line, rest]
