"""The keys of a probe that speaks through an MQTT broker, and whether they can be meant.

Must not do: connect, or read the files they name.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from api.domain.tables import Key, Place
from api.domain.tank import Mqtt, Probe, RoomFile, Value
from collector.codecs.json_pointer import tokens
from collector.codecs.times import FORMATS

BROKER_KEYS = (
    Key("host", str),
    Key("port", int, low=1, high=65535),
    Key("user", str),
    Key("password", str),
    Key("password_file", str),
    Key("tls", bool),
    Key("ca_file", str),
    Key("version", str, choices=("5", "3.1.1")),
)
BROKER = tuple(key.name for key in BROKER_KEYS)
KEYS = (
    Key("topic", str),
    Key("payload", str, choices=("number", "json", "senml")),
    Key("decimal", str, ".", choices=(".", ",")),
    Key("time_pointer", str),
    Key("time_format", str, "rfc3339", choices=FORMATS),
    Key("late_s", float, 60.0, low=0, high=86400),
    Key("max_bytes", int, 65536, low=16, high=1_000_000),
    Key("client_id", str),
    *BROKER_KEYS,
)
VALUE_KEYS = (Key("topic", str), Key("pointer", str))


def broker_of(options: Mapping[str, Any]) -> Mqtt:
    """The broker, with what is left out as in [room.mqtt]."""
    return Mqtt(**{name: options[name] for name in BROKER if options[name] is not None})


def with_broker(options: Mapping[str, Any], room: RoomFile, place: Place) -> Mapping[str, Any]:
    """The keys with the broker of [room.mqtt] where the probe names none of its own.

    Raises RoomFileError when it names half a one: a password must not go to another host than it was written for.
    """
    own = [name for name in BROKER if options[name] is not None]
    if options["host"] is not None:
        return options
    if own:
        todo = 'Add host = "..." here, or write it into [room.mqtt], which is for all probes.'
        raise place.wrong(f"{own[0]} is of a broker, but no host is named.", todo, own[0])
    shared = room.mqtt or Mqtt()
    return {**options, **{name: getattr(shared, name) for name in BROKER}}


def topic_of(value: Value, options: Mapping[str, Any]) -> str:
    """Where a value is published; empty when nobody said."""
    return value.options.get("topic") or options["topic"] or ""


def payload_of(probe: Probe, options: Mapping[str, Any]) -> str:
    """The form of the messages: as told, else by whether pointers are given."""
    pointed = any(value.options.get("pointer") is not None for value in probe.values)
    return options["payload"] or ("json" if pointed else "number")


def check_keys(probe: Probe, options: Mapping[str, Any], place: Place) -> None:
    """Check topics, pointers and the way to the broker.

    Raises RoomFileError.
    """
    form = payload_of(probe, options)
    seen = set()
    for value in probe.values:
        if value.field is not None or value.key is not None:
            raise place.wrong(f"{value.quantity} has field or key.", "A message has topic and pointer instead.")
        if [other.quantity for other in probe.values].count(value.quantity) > 1:
            raise place.wrong(f"gives {value.quantity} twice.", "One value for each quantity of a probe.")
        _check_topic(value, topic_of(value, options), place)
        _check_pointer(value, form, place)
        where = (topic_of(value, options), value.options.get("pointer"))
        if form != "senml" and where in seen:
            todo = "Give each its own topic, or a pointer into a JSON message."
            raise place.wrong(f"{value.quantity} is told apart by nothing from another value.", todo)
        seen.add(where)
    _check_time(form, options, place)
    _check_broker(options, place)


def _check_topic(value: Value, topic: str, place: Place) -> None:
    if not topic:
        raise place.wrong(f"{value.quantity} has no topic.", 'Add topic = "..." to the probe or to the value.')
    if topic.startswith("$") or any(letter in topic for letter in "+#\0") or len(topic.encode()) > 65535:
        raise place.wrong(f"topic = {topic[:80]!r} is not one topic.", "Write it without +, # and a leading $.")


def _check_pointer(value: Value, form: str, place: Place) -> None:
    pointer = value.options.get("pointer")
    if form != "json" and pointer is not None:
        raise place.wrong(f"{value.quantity} has a pointer, but payload = {form!r}.", 'Write payload = "json".')
    if form == "json":
        if pointer is None:
            raise place.wrong(f"{value.quantity} has no pointer.", 'Add pointer = "/..." to the value (RFC 6901).')
        _check_steps("pointer", pointer, place)


def _check_steps(key: str, pointer: str, place: Place) -> None:
    try:
        tokens(pointer)
    except ValueError as error:
        raise place.wrong(f"{key} = {pointer!r} {error}.", 'Write it like "/water/0/t" (RFC 6901).', key) from error


def _check_time(form: str, options: Mapping[str, Any], place: Place) -> None:
    if options["time_pointer"] is not None:
        if form != "json":
            raise place.wrong("time_pointer is for JSON messages only.", 'Write payload = "json".', "time_pointer")
        _check_steps("time_pointer", options["time_pointer"], place)


def _check_broker(options: Mapping[str, Any], place: Place) -> None:
    if options["host"] == "":
        raise place.wrong("host is empty.", "Give the broker's name or address.", "host")
    if options["password"] and options["password_file"]:
        raise place.wrong("has password and password_file.", "Keep one of them.", "password_file")
    if (options["password"] or options["password_file"]) and not options["user"]:
        raise place.wrong("has a password, but no user.", 'Add user = "...".', "user")
    client_id = options["client_id"]
    if client_id is not None and not (0 < len(client_id) <= 100 and client_id.isprintable()):
        raise place.wrong("client_id is not usable.", "Write 1 to 100 letters.", "client_id")
