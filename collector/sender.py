"""Messages through the Apprise library, for the second voice. Must not do: let an address into a log."""

from __future__ import annotations

import io
import logging


def send(url: str, title: str, body: str) -> str:
    """Deliver; the reason of failure, empty when it was delivered."""
    import apprise  # large: loaded when there is something to say

    said = io.StringIO()
    with apprise.LogCapture(level=logging.WARNING, fmt="%(message)s") as captured:  # type: ignore[no-untyped-call]
        try:
            sender = apprise.Apprise()
            if not sender.add(url):
                return "messages cannot be sent to this address; see [[notify]] in room.toml"
            done = sender.notify(body=body, title=title)
        except Exception as error:  # noqa: BLE001 some of the library's plugins raise what they please
            return f"{type(error).__name__}: {error}"
        said.write(captured.getvalue())
    return "" if done else (" ".join(said.getvalue().split())[:300] or "the receiver did not take it")
