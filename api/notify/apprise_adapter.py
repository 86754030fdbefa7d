"""A notifier over the Apprise library: e-mail, phone messages, webhooks by one kind of address.

Must not do: let an address's secret into a log or a page.
"""

from __future__ import annotations

import io
import logging

import apprise

from api.notify.base import Delivery


class AppriseNotifier:
    """Delivers through Apprise."""

    def send(self, url: str, title: str, body: str) -> Delivery:
        """Deliver, or say why not."""
        said = io.StringIO()
        with apprise.LogCapture(level=logging.WARNING, fmt="%(message)s") as captured:  # type: ignore[no-untyped-call]
            try:
                sender = apprise.Apprise()
                if not sender.add(url):
                    return Delivery(False, "messages cannot be sent to this address; see [[notify]] in room.toml")
                done = sender.notify(body=body, title=title)
            except Exception as error:  # noqa: BLE001 - some of the library's plugins raise what they please
                return Delivery(False, f"{type(error).__name__}: {error}")
            said.write(captured.getvalue())
        if done:
            return Delivery(True)
        return Delivery(False, " ".join(said.getvalue().split())[:300] or "the receiver did not take it")


def usable(url: str) -> bool:
    """Whether messages could be sent to an address, as far as its form tells."""
    log = logging.getLogger("apprise")
    before, log.disabled = log.disabled, True  # it would repeat parts of the address
    try:
        return bool(apprise.Apprise().add(url))
    finally:
        log.disabled = before
