"""What can go wrong while reading probes and passing readings on, with the fields a caller decides by.

    IntermoltError
    ├── InputError (exit code 2)
    │   └── DataDirInUse          another collector keeps its readings there
    ├── Transient                 back off, then the same again
    │   ├── PortTrouble           a port or file that cannot be read now   (probe, port, reason)
    │   ├── SpoolTrouble          the disk takes nothing now               (reason)
    │   └── ServiceTrouble        no usable answer from the service        (status)
    └── Permanent                 the same again would fail again
        ├── PackRefused           the service cannot use these readings    (status)
        │   └── PackTooLarge      too many at once
        ├── SpoolDamaged          the spool file is not a database any more (path)
        └── Stopped               we closed it ourselves

Must not do: print, log, or decide how long to wait.
"""

from __future__ import annotations

from enum import StrEnum

from api.domain.errors import InputError, Permanent, Transient


class PortReason(StrEnum):
    """Why a port cannot be read."""

    MISSING = "missing"
    REFUSED = "refused"
    BUSY = "busy"
    UNPLUGGED = "unplugged"
    SILENT = "silent"
    STUCK = "stuck"
    SETTINGS = "settings"


class SpoolReason(StrEnum):
    """Why the spool takes nothing."""

    DISK = "disk"
    LIMIT = "limit"


class DataDirInUse(InputError):
    """Another collector keeps its readings in this folder."""

    def __init__(self, folder: str, process: str) -> None:
        self.folder, self.process = folder, process
        who = f"another collector (process {process})" if process else "another collector"
        super().__init__(f"{who} keeps its readings in {folder}: stop it, or give this one its own folder with --data")


class PortTrouble(Transient):
    """A port or file that cannot be read now."""

    def __init__(self, probe: str, port: str, reason: PortReason, what: str) -> None:
        self.probe, self.port, self.reason, self.what = probe, port, reason, what
        super().__init__(f"{port}: {what}")


class SpoolTrouble(Transient):
    """The spool cannot keep a batch now; its source should offer it again."""

    def __init__(self, reason: SpoolReason, what: str) -> None:
        self.reason, self.what = reason, what
        super().__init__(what)


class ServiceTrouble(Transient):
    """The service gave no answer that can be used; ``status`` is 0 when there was none at all."""

    def __init__(self, what: str, status: int = 0) -> None:
        self.what, self.status = what, status
        super().__init__(what)


class PackRefused(Permanent):
    """The service says it cannot use this pack as it is."""

    def __init__(self, what: str, status: int) -> None:
        self.what, self.status = what, status
        super().__init__(what)


class PackTooLarge(PackRefused):
    """The pack holds too many readings for one request."""


class SpoolDamaged(Permanent):
    """The spool file is not a usable database."""

    def __init__(self, path: str, what: str) -> None:
        self.path, self.what = path, what
        super().__init__(f"{path} is damaged: {what}")


class Stopped(Permanent):
    """The part that was asked has been closed by ourselves."""
