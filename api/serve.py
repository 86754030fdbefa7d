"""``intermolt serve``: the service and its pages in this process. Refuses to listen to strangers without a password."""

from __future__ import annotations

import ipaddress
import os
import socket
import sqlite3
import time
from importlib import import_module

import uvicorn

from api.domain.errors import InputError
from api.domain.tank import ServiceSettings
from api.keepers_command import open_keepers
from api.mqtt.line import Broker
from api.room_text import read_room
from api.service import Service
from api.settings import DATA_VARIABLE, ROOM_VARIABLE, Settings
from api.standing import Standing
from api.storage.base import StoreUnavailable
from api.trouble import disk_words

GRACE_S = 2
"""Open requests are given so long when the service ends. [s]"""


class Server(uvicorn.Server):
    """The web server, which tells the service manager when it listens, that it goes on, and when it ends."""

    def __init__(self, config: uvicorn.Config, service: Service) -> None:
        super().__init__(config)
        self._service, self._standing = service, Standing(self._late_s)
        self._turned_s = time.monotonic()

    def _late_s(self) -> dict[str, float]:
        return {"web": time.monotonic() - self._turned_s, **self._service.parts.late_s()}

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Listen; only then is the service ready."""
        await super().startup(sockets)
        if self.started:
            self._standing.ready()

    async def on_tick(self, counter: int) -> bool:
        """Ten times a second, as long as the loop that answers requests goes round."""
        self._turned_s = time.monotonic()
        return await super().on_tick(counter)

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Stop listening, let open requests end, then close the service."""
        self._standing.stopping()
        self._service.parts.ask_to_end()
        await super().shutdown(sockets)


def listening(mine: Settings, host: str | None, port: int | None) -> tuple[str, int]:
    """Address and port: as given, else as in the room file, else loopback 8080.

    Raises RoomFileError for a room file that cannot be used.
    """
    described = ServiceSettings()
    if mine.room.exists():
        described = read_room(mine.room).service
    return host or described.host, described.port if port is None else port


def is_loopback(host: str) -> bool:
    """Whether only this machine can reach the address."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def serve(mine: Settings, host: str | None = None, port: int | None = None) -> int:
    """Serve until told to stop.

    Raises InputError when the address is open to others and no keeper's password is set, and for a broker's file
    that cannot be read; StoreUnavailable when the database cannot be used now.
    """
    try:
        server = _server(mine, host, port)
    except (sqlite3.Error, OSError) as error:
        raise StoreUnavailable(disk_words(error, mine.data)) from error
    server.run()
    return 0 if server.started else 1


def _server(mine: Settings, host: str | None, port: int | None) -> Server:
    address, number = listening(mine, host, port)
    if not is_loopback(address) and not _password_set(mine):
        raise InputError(
            f"listening on {address} lets other machines in, and no keeper's password is set."
            " Set one first: intermolt user password NAME"
        )
    _broker_usable(mine)
    os.environ[ROOM_VARIABLE], os.environ[DATA_VARIABLE] = str(mine.room), str(mine.data)
    app = import_module("dashboard.app").build()
    config = uvicorn.Config(
        app, host=address, port=number, log_level="warning", timeout_graceful_shutdown=GRACE_S, server_header=False,
        access_log=False, http="httptools", loop="auto",
    )  # fmt: skip
    return Server(config, app.state.service)


def _broker_usable(mine: Settings) -> None:
    file = read_room(mine.room) if mine.room.exists() else None
    if file is not None and file.mqtt is not None:
        Broker.of(file.mqtt, mine.room.parent)


def _password_set(mine: Settings) -> bool:
    with open_keepers(mine.data) as keepers:
        return keepers.password_set()
