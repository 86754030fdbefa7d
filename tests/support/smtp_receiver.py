"""A real SMTP server on a loopback port that remembers the messages it was given.

Must not do: refuse; a server that is down is simply not started.
"""

from __future__ import annotations

import email
import email.policy
from types import TracebackType

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session

from tests.bench.rooms import free_port


class SmtpReceiver:
    """Use as a context; ``messages`` are (subject, plain text) in the order they came."""

    def __init__(self) -> None:
        self.port = free_port()
        self.messages: list[tuple[str, str]] = []
        self._controller = Controller(self, hostname="127.0.0.1", port=self.port)

    @property
    def url(self) -> str:
        """The address for [[notify]]."""
        return f"mailto://127.0.0.1:{self.port}/?from=room@lab.example&to=keeper@lab.example&mode=insecure"

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        """A message came."""
        content = envelope.content if isinstance(envelope.content, bytes) else (envelope.content or "").encode()
        message = email.message_from_bytes(content, policy=email.policy.default)
        body = message.get_body(("plain", "html"))
        self.messages.append((str(message["Subject"]), body.get_content() if body is not None else ""))
        return "250 kept"

    def __enter__(self) -> SmtpReceiver:
        self._controller.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._controller.stop()
