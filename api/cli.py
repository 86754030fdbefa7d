"""The command ``intermolt``. Exit codes: 0 done, 1 it found something wrong, 2 bad usage or input.

Must not do: hold logic; each command calls the part that knows.
"""

from __future__ import annotations

import argparse
import getpass
import logging
import os
import sqlite3
import sys
from collections.abc import Sequence
from importlib.metadata import version
from typing import NoReturn

from api.domain.errors import IntermoltError
from api.settings import Settings, settings

DESCRIPTION = "Watches the water of a room of crayfish tanks and warns a keeper's phone in time."


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    given = _given(arguments)
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(name)s %(levelname)s %(message)s")
    logging.getLogger("httpx").setLevel(logging.WARNING)
    mine = settings(given.room, given.data)
    try:
        return int(given.work(given, mine))
    except IntermoltError as error:
        print(f"intermolt: {error}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return 0
    except BrokenPipeError:  # whoever read what is printed has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        return 0
    except (OSError, sqlite3.Error) as error:
        from api.trouble import disk_words

        print(f"intermolt: {disk_words(error, mine.data)}", file=sys.stderr)
        return 2
    except Exception as error:  # noqa: BLE001 - the last border: a keeper gets words, the trace goes into a file
        from api.trouble import fault_words

        print(f"intermolt: {fault_words(error)}", file=sys.stderr)
        return 1


def _given(arguments: Sequence[str] | None) -> argparse.Namespace:
    """The words given; a name or file may also stand behind the options, where argparse does not look for it."""
    parser = _parser()
    given, rest = parser.parse_known_args(arguments)
    behind = next((name for name in ("file", "name") if getattr(given, name, None) == ""), None)
    if behind is not None and len(rest) == 1 and not rest[0].startswith("-"):
        setattr(given, behind, rest.pop())
    if rest:
        parser.error(f"not understood: {' '.join(rest)}; 'intermolt COMMAND --help' lists the options")
    return given


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser("intermolt", description=DESCRIPTION)
    parser.add_argument("--version", action="version", version=f"intermolt {version('intermolt')}")
    commands = parser.add_subparsers(required=True, metavar="command")
    shared = argparse.ArgumentParser(add_help=False)
    shared.add_argument("--room", help="the room's description (default: room.toml here)")
    shared.add_argument("--data", help="folder of everything kept (default: intermolt-data beside the room file)")
    run = commands.add_parser("run", parents=[shared], help="service and collector together, watched")
    run.add_argument("--port", type=int, help="the page's port (default: as in the room file, else 8080)")
    run.set_defaults(work=_run)
    serve = commands.add_parser("serve", parents=[shared], help="the service and its pages only")
    serve.add_argument("--host", help="address to listen on (default: as in the room file, else 127.0.0.1)")
    serve.add_argument("--port", type=int, help="port to listen on")
    serve.set_defaults(work=_serve)
    collect = commands.add_parser("collect", parents=[shared], help="the collector only; its own options follow --")
    collect.add_argument("--check", action="store_true", help="speak to each probe once and print what it says")
    collect.add_argument("rest", nargs="*", help="other options of the collector, after --")
    collect.set_defaults(work=_collect)
    room = commands.add_parser("room", parents=[shared], help="check the room file, or write out what is known")
    room.add_argument("action", choices=("check", "write"), help="is room.toml right; or print the room as it is now")
    room.set_defaults(work=_room)
    animals = commands.add_parser("animals", parents=[shared], help="animals in from a CSV file, or out to one")
    animals.add_argument("action", choices=("import", "export"))
    animals.add_argument("file", nargs="?", default="", help="the file; export without one prints")
    animals.add_argument("--person", default="", help="who enters them (default: your name on this computer)")
    animals.add_argument("--events", action="store_true", help="export the events instead of the animals")
    animals.set_defaults(work=_animals)
    _looking(commands, shared)
    user = commands.add_parser("user", parents=[shared], help="keepers' passwords")
    user.add_argument("action", choices=("list", "password", "remove"), help="who has one; set one; take one away")
    user.add_argument("name", nargs="?", default="", help="the keeper")
    user.set_defaults(work=_user)
    _keeping(commands, shared)
    return parser


def _looking(commands: argparse._SubParsersAction[argparse.ArgumentParser], shared: argparse.ArgumentParser) -> None:
    review = commands.add_parser("review", parents=[shared], help="are tanks fit for the molts of the days ahead")
    review.add_argument("--tanks", action="append", help="ids, comma between; several times (default: with animals)")
    review.add_argument("--from", dest="start", help="day or time, in the room's zone without an offset (default: now)")
    review.add_argument("--to", dest="end", help="until when; a day is taken whole (default: 21 days on)")
    review.add_argument("--report", action="store_true", help="what the water was instead (default: the last 14 days)")
    review.add_argument("--out", help="with --report: a new file .csv or .json (default: print)")
    review.set_defaults(work=_review)
    rehearsal = commands.add_parser("rehearse", parents=[shared], help="what recorded readings would have raised")
    rehearsal.add_argument(
        "files", nargs="+", metavar="FILE", help="CSV of probe,quantity,time,value,unit, an export, or a logger's file"
    )
    rehearsal.add_argument(
        "--answer",
        action="append",
        metavar="KEY=VALUE",
        help="to what a logger's file leaves open; may stand several times",
    )
    rehearsal.add_argument("--out", help="a new file for the alerts, one JSON object a line")
    rehearsal.add_argument("--delays", help="delays to compare, in minutes (default: 2,10; an empty text: none)")
    rehearsal.set_defaults(work=_rehearse)


def _keeping(commands: argparse._SubParsersAction[argparse.ArgumentParser], shared: argparse.ArgumentParser) -> None:
    backup = commands.add_parser("backup", parents=[shared], help="a whole, checked copy, while the service runs")
    backup.add_argument("--to", help="folder of the backups (default: intermolt-backups beside the data folder)")
    backup.add_argument("--keep", type=int, help="remove the oldest whole backups beyond so many (default: none)")
    backup.set_defaults(work=_backup)
    restore = commands.add_parser("restore", parents=[shared], help="put a backup in place, the service being stopped")
    restore.add_argument("folder", help="a folder intermolt-YYYYMMDD-HHMMSS that backup made")
    restore.set_defaults(work=_restore)
    into = commands.add_parser("import", parents=[shared], help="readings in from any logger's file")
    into.add_argument("files", nargs="+", metavar="FILE", help="CSV, TSV, XLSX or Parquet")
    into.add_argument("--dry-run", action="store_true", help="say how the files are understood, and keep nothing")
    into.add_argument(
        "--answer", action="append", metavar="KEY=VALUE", help="answer a question; may stand several times"
    )
    into.add_argument("--recipe", metavar="NAME", help="read them by an understanding kept before")
    into.add_argument("--keep-recipe", metavar="NAME", help="keep how the first file is understood under a name")
    into.set_defaults(work=_import)
    out = commands.add_parser("export", parents=[shared], help="readings into CSV or Parquet, with a descriptor")
    out.add_argument("--tank", action="append", help="a tank's id; may stand several times (default: everything)")
    out.add_argument("--quantity", action="append", help="such as oxygen; may stand several times (default: all)")
    out.add_argument("--from", dest="start", help="day or time, in the room's zone without an offset (default: all)")
    out.add_argument("--to", dest="end", help="until when; a day alone is taken whole (default: now)")
    out.add_argument("--format", choices=("csv", "parquet"), help="default: as the ending of --out, else csv")
    out.add_argument("--out", required=True, help="a new file .csv or .parquet, a folder, or - to print")
    out.set_defaults(work=_export)


def _run(given: argparse.Namespace, mine: Settings) -> int:
    from api.run import run

    return run(mine, given.port)


def _serve(given: argparse.Namespace, mine: Settings) -> int:
    from api.serve import serve

    return serve(mine, given.host, given.port)


def _collect(given: argparse.Namespace, mine: Settings) -> NoReturn:
    asked = ["--check"] if given.check else []
    command = [
        sys.executable,
        "-m",
        "collector",
        "--room",
        str(mine.room),
        "--data",
        str(mine.data),
        *asked,
        *given.rest,
    ]
    os.execv(sys.executable, command)  # noqa: S606 - our own interpreter and arguments


def _room(given: argparse.Namespace, mine: Settings) -> int:
    from api.room_command import check, write_out

    print(check(mine.room) if given.action == "check" else write_out(mine.data))
    return 0


def _animals(given: argparse.Namespace, mine: Settings) -> int:
    from api.animals_command import export_file, import_file

    if given.action == "import":
        return import_file(mine.data, given.file, given.person)
    return export_file(mine.data, given.file, given.events)


def _backup(given: argparse.Namespace, mine: Settings) -> int:
    from api.backup_command import backup

    return backup(mine, given.to, given.keep)


def _restore(given: argparse.Namespace, mine: Settings) -> int:
    from api.restore_command import restore

    return restore(mine, given.folder)


def _export(given: argparse.Namespace, mine: Settings) -> int:
    from api.export_command import export

    return export(mine, given)


def _import(given: argparse.Namespace, mine: Settings) -> int:
    from api.import_command import import_files

    return import_files(mine, given)


def _rehearse(given: argparse.Namespace, mine: Settings) -> int:
    from api.rehearsal.command import rehearse

    return rehearse(mine.room, given)


def _review(given: argparse.Namespace, mine: Settings) -> int:
    from api.review_command import review

    return review(mine, given)


def _user(given: argparse.Namespace, mine: Settings) -> int:
    from api.keepers_command import keepers_command

    def password() -> str:
        return getpass.getpass("Password: ") if sys.stdin.isatty() else sys.stdin.readline().rstrip("\n")

    for line in keepers_command(mine.data, given.action, given.name, password):
        print(line)
    return 0


if __name__ == "__main__":
    sys.exit(main())
