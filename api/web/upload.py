"""A file that comes with a form (multipart, RFC 7578), written to disk as it comes.

Must not do: hold the file in memory, or write a byte of it before the form's token was looked at.
"""

from __future__ import annotations

import hashlib
import os
import secrets
from collections.abc import Callable
from pathlib import Path

from python_multipart.exceptions import FormParserError
from python_multipart.multipart import MultipartParser, parse_options_header
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request

from api.domain.errors import InputError
from api.domain.import_job import GivenFile
from api.services.import_folder import ImportFolder

MOST_FIELDS_BYTES = 64_000
MOST_HEADER_BYTES = 4_000
WRITTEN_AT_ONCE = 1_000_000
MOST_DRAINED = 4_000_000_000
"""A browser shows an answer only when it could send all of its file. [bytes]"""
NOT_SENT = "no file came with the form: choose a file, then send it"
Allowed = Callable[[dict[str, str]], None]


class Parts:
    """Takes a multipart body apart: fields by name, and the one file piece by piece."""

    def __init__(self, boundary: bytes, begins: Callable[[dict[str, str], str], None]) -> None:
        self.fields: dict[str, str] = {}
        self.pieces: list[bytes] = []
        self._begins, self._small = begins, 0
        self._name, self._in_file, self._files = "", False, 0
        self._head, self._headers, self._value = bytearray(), dict[str, bytes](), bytearray()
        calls = {
            "on_part_begin": self._part, "on_header_field": self._header_name, "on_header_value": self._header_value,
            "on_header_end": self._header, "on_headers_finished": self._begun, "on_part_data": self._data,
            "on_part_end": self._end,
        }  # fmt: skip
        self._parser = MultipartParser(boundary, calls)  # type: ignore[arg-type]
        self.take, self.finish = self._parser.write, self._parser.finalize

    def _part(self) -> None:
        self._headers, self._value, self._in_file = {}, bytearray(), False
        self._label = bytearray()

    def _header_name(self, data: bytes, start: int, end: int) -> None:
        self._label += data[start:end]
        self._bounded(self._label, MOST_HEADER_BYTES)

    def _header_value(self, data: bytes, start: int, end: int) -> None:
        self._head += data[start:end]
        self._bounded(self._head, MOST_HEADER_BYTES)

    def _header(self) -> None:
        self._headers[self._label.decode("latin-1").lower()] = bytes(self._head)
        self._label, self._head = bytearray(), bytearray()

    def _begun(self) -> None:
        _, options = parse_options_header(self._headers.get("content-disposition", b""))
        self._name = options.get(b"name", b"").decode("utf-8", "replace")
        if b"filename" not in options:
            return
        name = options[b"filename"].decode("utf-8", "replace")
        if not name:
            raise InputError(NOT_SENT)
        self._files += 1
        if self._files > 1:
            raise InputError("send one file at a time")
        self._in_file = True
        self._begins(self.fields, name)

    def _data(self, data: bytes, start: int, end: int) -> None:
        if self._in_file:
            self.pieces.append(data[start:end])
            return
        self._value += data[start:end]
        self._small += end - start
        if self._small > MOST_FIELDS_BYTES:
            raise InputError("the form's fields are too long")

    def _end(self) -> None:
        if not self._in_file and self._name:
            self.fields[self._name] = self._value.decode("utf-8", "replace")

    def _bounded(self, text: bytearray, most: int) -> None:
        if len(text) > most:
            raise InputError("a header of the form is too long")


class Upload:
    """One file on its way to disk."""

    def __init__(self, folder: ImportFolder, allowed: Allowed) -> None:
        self.folder, self._allowed = folder, allowed
        self.name, self._size = "", 0
        self._digest = hashlib.sha256()
        self._path: Path = folder.arriving(f"upload-{secrets.token_hex(8)}")

    def begins(self, fields: dict[str, str], name: str) -> None:
        """The file's part begins; what the form said before it must allow it."""
        self._allowed(fields)
        self.name = name

    def write(self, pieces: list[bytes]) -> None:
        """Some of the file."""
        with self._path.open("ab") as file:
            for piece in pieces:
                file.write(piece)
                self._digest.update(piece)
                self._size += len(piece)
        self.folder.check_room(self.name or "the file", 0 if self.folder.room() else self._size)

    def done(self) -> GivenFile:
        """The file is whole."""
        if not self.name:
            raise InputError(NOT_SENT)
        with self._path.open("ab") as file:
            os.fsync(file.fileno())
        return self.folder.arrived(self._path, self.name, self._digest.hexdigest())

    def drop(self) -> None:
        """Leave nothing of a file that did not come whole."""
        self._path.unlink(missing_ok=True)


async def receive(request: Request, folder: ImportFolder, allowed: Allowed) -> tuple[GivenFile, dict[str, str]]:
    """The file and the fields of a form; ``allowed`` gets the fields that stand before the file and may raise.

    Raises InputError for a form without one file, one too large for the disk, or one that broke off.
    """
    kind, options = parse_options_header(request.headers.get("content-type", ""))
    if kind != b"multipart/form-data" or b"boundary" not in options:
        raise InputError("send the file as multipart/form-data")
    upload = Upload(folder, allowed)
    try:
        parts = Parts(options[b"boundary"], upload.begins)
        await _take(request, parts, upload)
        return await run_in_threadpool(upload.done), parts.fields
    except FormParserError as error:
        raise InputError(f"the form broke off or is none ({error}); send the file again") from error
    except ClientDisconnect as error:
        raise InputError("the file did not come whole; send it again") from error
    except OSError as error:
        raise InputError(f"the file cannot be kept: {error.strerror or error}; make room on the disk") from error
    finally:
        await run_in_threadpool(upload.drop)


async def _take(request: Request, parts: Parts, upload: Upload) -> None:
    stream, waiting = request.stream(), 0
    try:
        declared = request.headers.get("content-length", "")
        if declared.isdigit():
            await run_in_threadpool(upload.folder.check_room, "the file", int(declared))
        async for piece in stream:
            parts.take(piece)
            waiting += len(piece)
            if waiting >= WRITTEN_AT_ONCE:
                await run_in_threadpool(upload.write, parts.pieces)
                parts.pieces, waiting = [], 0
        parts.finish()
        await run_in_threadpool(upload.write, parts.pieces)
    except (InputError, FormParserError):
        drained = 0
        async for piece in stream:
            drained += len(piece)
            if drained > MOST_DRAINED:
                break
        raise
