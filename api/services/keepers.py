"""Keepers' passwords, the collector's token and the keys that sign cookies, all made and kept here.

Passwords are kept as Argon2 hashes; key files are readable by the service's user only. Must not do: print a secret.
"""

from __future__ import annotations

import hashlib
import os
import secrets
from collections.abc import Callable
from hmac import compare_digest
from pathlib import Path

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from api.domain.errors import InputError
from api.storage.base import Store

SHORTEST_PASSWORD = 10
DOCUMENT = "keepers"


class Keepers:
    """Who may look and who may send."""

    def __init__(self, store: Store, folder: Path) -> None:
        self._store, self._folder = store, folder
        self._hasher = PasswordHasher()
        self._nobody = self._hasher.hash(secrets.token_hex())
        self._token = self._key_file("collector.token", lambda: secrets.token_urlsafe(32).encode()).strip()

    def names(self) -> list[str]:
        """Keepers who have a password."""
        return sorted(self._store.state.document(DOCUMENT) or {})

    def password_set(self) -> bool:
        """Whether the pages are closed to strangers."""
        return bool(self.names())

    def set_password(self, name: str, password: str, now_ms: int) -> None:
        """Set or change a keeper's password.

        Raises InputError when the name is empty or the password is short.
        """
        name = " ".join(name.split())
        if not name or len(name) > 80:
            raise InputError("give the keeper a name of 1 to 80 characters")
        if len(password) < SHORTEST_PASSWORD:
            raise InputError(f"a password needs {SHORTEST_PASSWORD} characters or more")
        hashes = {**(self._store.state.document(DOCUMENT) or {}), name: self._hasher.hash(password)}
        self._store.write(lambda: self._store.state.set_document(DOCUMENT, hashes, now_ms)).result()

    def remove(self, name: str, now_ms: int) -> None:
        """Take a keeper's password away.

        Raises InputError when there is no such keeper.
        """
        hashes = self._store.state.document(DOCUMENT) or {}
        if name not in hashes:
            raise InputError(f"there is no keeper {name!r}; known: {', '.join(sorted(hashes)) or 'none'}")
        del hashes[name]
        self._store.write(lambda: self._store.state.set_document(DOCUMENT, hashes, now_ms)).result()

    def check_password(self, name: str, password: str) -> bool:
        """Whether the password is the keeper's; takes as long for a name that is not there."""
        known = (self._store.state.document(DOCUMENT) or {}).get(name)
        try:
            return self._hasher.verify(known or self._nobody, password) and known is not None
        except (VerificationError, InvalidHashError):
            return False

    def password_mark(self) -> str:
        """A mark that changes whenever any password does; sessions carry it and end with it."""
        hashes = self._store.state.document(DOCUMENT) or {}
        return hashlib.sha256(repr(sorted(hashes.items())).encode()).hexdigest()[:16]

    def token_ok(self, bearer: str) -> bool:
        """Whether a sender knows the collector's token."""
        return compare_digest(bearer.encode(), self._token)

    def secret(self, name: str) -> bytes:
        """A random key of this installation, made at first use."""
        return self._key_file(f"{name}.key", lambda: secrets.token_bytes(32))

    def _key_file(self, name: str, make: Callable[[], bytes]) -> bytes:
        path = self._folder / name
        if not path.exists():
            descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(descriptor, "wb") as file:
                file.write(make())
                file.flush()
                os.fsync(file.fileno())
        return path.read_bytes()
