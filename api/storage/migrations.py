"""Schema of the embedded database, step by step; each step and the record that it was taken are one transaction.

Must not do: lose a row that was ever kept.
"""

from __future__ import annotations

import sqlite3

STEPS: tuple[tuple[str, str], ...] = (
    (
        "0001 readings and summaries",
        """
        CREATE TABLE channel (
            id INTEGER PRIMARY KEY, probe TEXT NOT NULL, quantity TEXT NOT NULL, derived INTEGER NOT NULL DEFAULT 0,
            last_ms INTEGER NOT NULL DEFAULT -1, last_value REAL, last_flag INTEGER NOT NULL DEFAULT 9,
            last_reason TEXT NOT NULL DEFAULT '', last_raw REAL, last_unit TEXT NOT NULL DEFAULT '',
            UNIQUE (probe, quantity));
        CREATE TABLE reading (
            channel INTEGER NOT NULL, time_ms INTEGER NOT NULL, raw REAL NOT NULL, unit TEXT NOT NULL,
            value REAL, flag INTEGER NOT NULL, reason TEXT, PRIMARY KEY (channel, time_ms)) WITHOUT ROWID;
        CREATE TABLE summary (
            step_s INTEGER NOT NULL, channel INTEGER NOT NULL, start_ms INTEGER NOT NULL, count INTEGER NOT NULL,
            sum REAL NOT NULL, sum_squares REAL NOT NULL, low REAL, high REAL, flagged INTEGER NOT NULL,
            PRIMARY KEY (step_s, channel, start_ms)) WITHOUT ROWID;
        """,
    ),
    (
        "0002 records",
        """
        CREATE TABLE document (name TEXT PRIMARY KEY, body TEXT NOT NULL, changed_ms INTEGER NOT NULL) WITHOUT ROWID;
        CREATE TABLE tank (id TEXT PRIMARY KEY, body TEXT NOT NULL, position INTEGER NOT NULL) WITHOUT ROWID;
        CREATE TABLE probe (id TEXT PRIMARY KEY, body TEXT NOT NULL) WITHOUT ROWID;
        CREATE TABLE care (name TEXT PRIMARY KEY, body TEXT NOT NULL) WITHOUT ROWID;
        CREATE TABLE notify (name TEXT PRIMARY KEY, body TEXT NOT NULL) WITHOUT ROWID;
        CREATE TABLE collector (name TEXT PRIMARY KEY, body TEXT NOT NULL, seen_ms INTEGER NOT NULL) WITHOUT ROWID;
        CREATE TABLE track (subject TEXT PRIMARY KEY, body TEXT NOT NULL) WITHOUT ROWID;
        CREATE TABLE alert (
            id INTEGER PRIMARY KEY AUTOINCREMENT, subject TEXT NOT NULL, tank TEXT, kind TEXT NOT NULL, probe TEXT,
            quantity TEXT, state TEXT NOT NULL, priority TEXT NOT NULL, since_ms INTEGER NOT NULL,
            raised_ms INTEGER NOT NULL, ended_ms INTEGER, found_late INTEGER NOT NULL DEFAULT 0,
            value REAL, worst REAL, limit_value REAL, text TEXT NOT NULL, first_check TEXT NOT NULL,
            acknowledged_by TEXT, acknowledged_ms INTEGER, note TEXT);
        CREATE INDEX alert_open ON alert (ended_ms, subject);
        CREATE TABLE alert_event (
            id INTEGER PRIMARY KEY AUTOINCREMENT, alert INTEGER NOT NULL REFERENCES alert, event TEXT NOT NULL,
            time_ms INTEGER NOT NULL, person TEXT NOT NULL DEFAULT '', text TEXT NOT NULL DEFAULT '');
        CREATE INDEX alert_event_of ON alert_event (alert);
        CREATE TABLE outbox (
            id INTEGER PRIMARY KEY AUTOINCREMENT, alert INTEGER, target TEXT NOT NULL, title TEXT NOT NULL,
            body TEXT NOT NULL, created_ms INTEGER NOT NULL, attempts INTEGER NOT NULL DEFAULT 0,
            next_ms INTEGER NOT NULL, delivered_ms INTEGER, last_error TEXT NOT NULL DEFAULT '');
        CREATE INDEX outbox_due ON outbox (delivered_ms, next_ms);
        CREATE TABLE counter (name TEXT PRIMARY KEY, value INTEGER NOT NULL) WITHOUT ROWID;
        """,
    ),
    (
        "0003 late readings and calibrations",
        """
        ALTER TABLE reading ADD COLUMN arrival INTEGER NOT NULL DEFAULT 0;
        CREATE TABLE waiting (
            probe TEXT NOT NULL, quantity TEXT NOT NULL, why TEXT NOT NULL, start_ms INTEGER NOT NULL,
            end_ms INTEGER NOT NULL, touched_ms INTEGER NOT NULL, PRIMARY KEY (probe, quantity, why)) WITHOUT ROWID;
        CREATE TABLE calibration (
            id INTEGER PRIMARY KEY AUTOINCREMENT, probe TEXT NOT NULL, quantity TEXT NOT NULL, from_ms INTEGER NOT NULL,
            body TEXT NOT NULL, entered_ms INTEGER NOT NULL, withdrawn_ms INTEGER,
            withdrawn_by TEXT NOT NULL DEFAULT '');
        CREATE INDEX calibration_of ON calibration (probe, quantity, from_ms);
        """,
    ),
    (
        "0004 animals",
        """
        CREATE TABLE animal (id INTEGER PRIMARY KEY AUTOINCREMENT, body TEXT NOT NULL, touched INTEGER NOT NULL);
        CREATE INDEX animal_touched ON animal (touched);
        CREATE TABLE animal_version (
            id INTEGER PRIMARY KEY AUTOINCREMENT, animal INTEGER NOT NULL REFERENCES animal, body TEXT NOT NULL,
            entered_ms INTEGER NOT NULL, entered_by TEXT NOT NULL);
        CREATE INDEX animal_version_of ON animal_version (animal);
        CREATE TABLE husbandry (
            id INTEGER PRIMARY KEY AUTOINCREMENT, kind TEXT NOT NULL, time_ms INTEGER NOT NULL, tank TEXT,
            animal INTEGER REFERENCES animal, body TEXT NOT NULL, entered_ms INTEGER NOT NULL,
            entered_by TEXT NOT NULL, replaces INTEGER REFERENCES husbandry, withdrawn_ms INTEGER,
            withdrawn_by TEXT NOT NULL DEFAULT '');
        CREATE INDEX husbandry_animal ON husbandry (animal, time_ms);
        CREATE INDEX husbandry_tank ON husbandry (tank, time_ms);
        CREATE INDEX husbandry_time ON husbandry (time_ms);
        CREATE INDEX husbandry_replaces ON husbandry (replaces) WHERE replaces IS NOT NULL;
        CREATE TABLE photograph (
            id INTEGER PRIMARY KEY AUTOINCREMENT, animal INTEGER NOT NULL REFERENCES animal, content BLOB NOT NULL,
            media_type TEXT NOT NULL, entered_ms INTEGER NOT NULL, entered_by TEXT NOT NULL);
        CREATE INDEX photograph_of ON photograph (animal);
        """,
    ),
    (
        "0005 people and their ladder",
        """
        ALTER TABLE outbox ADD COLUMN purpose TEXT NOT NULL DEFAULT 'alert';
        ALTER TABLE outbox ADD COLUMN withdrawn_ms INTEGER;
        CREATE INDEX outbox_target ON outbox (target, created_ms);
        CREATE TABLE ladder (alert INTEGER PRIMARY KEY REFERENCES alert, next_ms INTEGER, body TEXT NOT NULL);
        CREATE TABLE told (
            outbox INTEGER NOT NULL REFERENCES outbox, alert INTEGER NOT NULL REFERENCES alert, target TEXT NOT NULL,
            tell INTEGER NOT NULL, PRIMARY KEY (outbox, alert)) WITHOUT ROWID;
        CREATE INDEX told_alert ON told (alert, tell);
        CREATE TABLE link_use (
            link TEXT PRIMARY KEY, person TEXT NOT NULL, answer TEXT NOT NULL, time_ms INTEGER NOT NULL) WITHOUT ROWID;
        """,
    ),
    (
        "0006 newest test messages",
        "CREATE INDEX outbox_test ON outbox (target, id) WHERE purpose = 'test'",
    ),
    (
        "0007 reasons of alerts",
        """
        ALTER TABLE alert ADD COLUMN reasons TEXT NOT NULL DEFAULT '';
        """,
    ),
    (
        "0008 air tests",
        """
        CREATE TABLE air_test (
            id INTEGER PRIMARY KEY AUTOINCREMENT, tank TEXT NOT NULL, person TEXT NOT NULL, off_ms INTEGER NOT NULL,
            stop_ms INTEGER, on_ms INTEGER, ended_ms INTEGER, why TEXT NOT NULL DEFAULT '');
        CREATE INDEX air_test_of ON air_test (tank, id);
        """,
    ),
    (
        "0009 alerts at rest",
        """
        CREATE TABLE rest (
            id INTEGER PRIMARY KEY AUTOINCREMENT, state TEXT NOT NULL, scope TEXT NOT NULL, key TEXT NOT NULL,
            person TEXT NOT NULL, reason TEXT NOT NULL, from_ms INTEGER NOT NULL, until_ms INTEGER,
            priority TEXT NOT NULL, ended_ms INTEGER, ended_by TEXT NOT NULL DEFAULT '',
            outcome TEXT NOT NULL DEFAULT '');
        CREATE INDEX rest_running ON rest (id) WHERE ended_ms IS NULL;
        CREATE INDEX alert_of ON alert (subject, id);
        """,
    ),
    (
        "0010 care ranges over time",
        """
        CREATE TABLE care_change (
            id INTEGER PRIMARY KEY AUTOINCREMENT, scope TEXT NOT NULL, key TEXT NOT NULL, stage TEXT NOT NULL,
            quantity TEXT NOT NULL, name TEXT NOT NULL, value REAL, withdrawn INTEGER NOT NULL, person TEXT NOT NULL,
            reason TEXT NOT NULL, from_ms INTEGER NOT NULL);
        CREATE TABLE care_version (
            id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL, body TEXT NOT NULL, from_ms INTEGER NOT NULL);
        CREATE INDEX care_version_of ON care_version (name, id);
        """,
    ),
    (
        "0011 imports",
        """
        CREATE TABLE import_job (
            id INTEGER PRIMARY KEY AUTOINCREMENT, digest TEXT NOT NULL, state TEXT NOT NULL, body TEXT NOT NULL);
        CREATE INDEX import_job_of ON import_job (digest, id);
        CREATE INDEX import_job_state ON import_job (state, id);
        CREATE TABLE import_recipe (name TEXT PRIMARY KEY, body TEXT NOT NULL) WITHOUT ROWID;
        """,
    ),
    (
        "0012 steps of alerts by time",
        "CREATE INDEX alert_event_time ON alert_event (time_ms)",
    ),
    (
        "0013 changes of people",
        """
        CREATE TABLE people_change (
            id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL, step TEXT NOT NULL, body TEXT NOT NULL,
            by TEXT NOT NULL, from_ms INTEGER NOT NULL);
        """,
    ),
    (
        "0014 recorded readings to be judged",
        """
        CREATE TABLE unjudged (
            import INTEGER NOT NULL, probe TEXT NOT NULL, quantity TEXT NOT NULL, last_ms INTEGER NOT NULL,
            newest_ms INTEGER NOT NULL, changes_ms INTEGER NOT NULL, at_end INTEGER NOT NULL,
            PRIMARY KEY (import, probe, quantity)) WITHOUT ROWID;
        CREATE TABLE unjudged_span (
            import INTEGER NOT NULL, probe TEXT NOT NULL, quantity TEXT NOT NULL, first_ms INTEGER NOT NULL,
            last_ms INTEGER NOT NULL, PRIMARY KEY (import, probe, quantity, first_ms)) WITHOUT ROWID;
        """,
    ),
)


def migrate(connection: sqlite3.Connection) -> list[str]:
    """Bring the schema up to date and return the names of the steps taken."""
    connection.execute("CREATE TABLE IF NOT EXISTS migration (name TEXT PRIMARY KEY) WITHOUT ROWID")
    done = {name for (name,) in connection.execute("SELECT name FROM migration")}
    taken = []
    for name, script in STEPS:
        if name in done:
            continue
        connection.execute("BEGIN IMMEDIATE")
        try:
            for statement in filter(None, (part.strip() for part in script.split(";"))):
                connection.execute(statement)
            connection.execute("INSERT INTO migration VALUES (?)", (name,))
            connection.execute("COMMIT")
        except BaseException:
            connection.execute("ROLLBACK")
            raise
        taken.append(name)
    return taken
