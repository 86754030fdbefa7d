"""Messages through the Apprise library, for the second voice: each in a process of its own that ends afterwards.

The library takes half as much memory as the whole collector, and a receiver that never answers can so be given up.
Must not do: let an address into a log or a command line.
"""

from __future__ import annotations

import io
import json
import logging
import subprocess
import sys

GIVE_UP_S = 60.0


def send(url: str, title: str, body: str) -> str:
    """Deliver; the reason of failure, empty when it was delivered."""
    letter = json.dumps({"url": url, "title": title, "body": body})
    command = [sys.executable, "-m", "collector.sender"]
    try:
        done = subprocess.run(command, input=letter, capture_output=True, text=True, timeout=GIVE_UP_S, check=False)
    except subprocess.TimeoutExpired:
        return f"no answer within {GIVE_UP_S:g} s"
    except OSError as error:
        return f"no message can be sent: {error.strerror or error}"
    if done.returncode == 0:
        return ""
    said = done.stdout.strip() or f"the sending process ended with {done.returncode}"
    return said.replace(url, "the address")[:300]


def deliver(url: str, title: str, body: str) -> str:
    """Deliver in this process; the reason of failure, empty when it was delivered."""
    import apprise  # large: only the process that sends loads it

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


if __name__ == "__main__":
    reason = deliver(**json.load(sys.stdin))
    print(reason)
    sys.exit(1 if reason else 0)
