"""The keys of ``room.toml``: name, kind, default and range of each. Must not do: read a file (``roomfile.py``)."""

from __future__ import annotations

from api.domain.quantity import Quantity
from api.domain.tables import Key

TOP = ("room", "tank", "probe", "care", "notify", "person")
QUANTITIES = tuple(str(q) for q in Quantity)
ROOM = (
    Key("name", str, required=True),
    Key("zone", str, required=True),
    Key("altitude_m", float, 0.0, low=-430, high=9000),
    Key("pressure_kpa", float, low=30, high=115),
    Key("salinity_psu", float, 0.0, low=0, high=40),
    Key("service", dict, {}),
    Key("collector", dict, {}),
    Key("simulated", dict),
    Key("mqtt", dict),
    Key("heartbeat", dict),
    Key("ladder", dict, {}),
    Key("morning", dict, {}),
)
SERVICE = (
    Key("host", str, "127.0.0.1"),
    Key("port", int, 8080, low=0, high=65535),
    Key("hosts", list, []),
    Key("address", str, ""),
    Key("quiet_after_missed", int, 3, low=1, high=1000),
    Key("quiet_grace_s", float, 300.0, low=0, high=86400),
    Key("late_after_s", float, 900.0, low=60, high=86400),
)
COLLECTOR = (
    Key("service", str, ""),
    Key("spool_max_mb", float, 2000.0, low=1, high=1_000_000),
    Key("pack_size", int, 200, low=1, high=5000),
    Key("uplink", str, "http", choices=("http", "mqtt")),
    Key("second_voice_after_s", float, 900.0, low=60, high=86400),
)
MQTT = (
    Key("host", str, "127.0.0.1"),
    Key("port", int, 1883, low=1, high=65535),
    Key("user", str, ""),
    Key("password", str, ""),
    Key("password_file", str, ""),
    Key("tls", bool, False),
    Key("ca_file", str, ""),
    Key("version", str, "5", choices=("5", "3.1.1")),
)
HEARTBEAT = (
    Key("url", str, required=True),
    Key("every_s", float, 300.0, low=10, high=86400),
)
SIMULATED = (
    Key("seed", int, 7),
    Key("history_days", float, 7.0, low=0, high=370),
    Key("history_every_s", float, 60.0, low=1, high=3600),
    Key("speed", float, 1.0, low=0.1, high=1000),
)
TANK = (
    Key("id", str, required=True),
    Key("name", str),
    Key("volume_l", float, low=0.1, high=1_000_000),
    Key("species", str, ""),
    Key("care", str, ""),
    Key("note", str, ""),
    Key("salinity_psu", float, low=0, high=40),
)
PROBE = (
    Key("id", str, required=True),
    Key("driver", str, required=True),
    Key("tank", str),
    Key("every_s", float, 60.0, low=0.1, high=86400),
    Key("value", list, required=True),
)
VALUE = (
    Key("quantity", str, required=True, choices=QUANTITIES),
    Key("unit", str, required=True),
    Key("field", int, low=1, high=1000),
    Key("key", str),
    Key("checks", dict, {}),
    Key("calibrate_every_days", float, low=1, high=3650),
)
NOTIFY = (
    Key("name", str, required=True),
    Key("url", str, required=True),
    Key("priority", str, "today", choices=("urgent", "today", "note")),
)
LIMITS = ("target_low", "target_high", "tolerable_low", "tolerable_high", "danger_low", "danger_high")
RANGE = (
    *(Key(name, float) for name in LIMITS),
    Key("deadband", float, 0.0, low=0),
    Key("on_delay_s", float, 600.0, low=0, high=86400),
    Key("danger_on_delay_s", float, 120.0, low=0, high=86400),
    Key("off_delay_s", float, 600.0, low=0, high=86400),
    Key("change_per_hour", float, low=0),
    Key("change_per_day", float, low=0),
    Key("source", str, "set in room.toml"),
    Key("sources", dict, {}),
)
CARE = (Key("name", str, required=True), Key("source", str, ""), *(Key(q, dict) for q in QUANTITIES))
