"""The tables of the field log, and how an older file becomes a newer one.

A sensor is a name, a quantity and a place: a probe that moves, or that turns out to have been another one, is a new
sensor. Of one sensor and time several sources may have a value: the newest that is not flagged counts. So a mistake is
mended by adding what is right and flagging what was wrong, never by changing a row.
"""

import sqlite3
from collections.abc import Iterator

FORMAT = 3

_FIRST = """
CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
CREATE TABLE source (
    id INTEGER PRIMARY KEY, name TEXT NOT NULL, digest TEXT NOT NULL UNIQUE, added INTEGER NOT NULL,
    note TEXT NOT NULL DEFAULT '') STRICT;
CREATE TABLE reading (
    sensor TEXT NOT NULL, quantity TEXT NOT NULL, time INTEGER NOT NULL, value REAL NOT NULL,
    zone TEXT NOT NULL DEFAULT '', depth REAL NOT NULL DEFAULT 0, error REAL NOT NULL DEFAULT 0,
    source INTEGER NOT NULL REFERENCES source (id),
    PRIMARY KEY (sensor, quantity, time)) STRICT, WITHOUT ROWID;
CREATE TABLE flag (
    sensor TEXT NOT NULL, quantity TEXT NOT NULL, time INTEGER NOT NULL, reason TEXT NOT NULL,
    PRIMARY KEY (sensor, quantity, time, reason)) STRICT, WITHOUT ROWID;
CREATE TABLE forecast (
    issued INTEGER NOT NULL, valid INTEGER NOT NULL, quantity TEXT NOT NULL, member INTEGER NOT NULL,
    value REAL NOT NULL, source INTEGER NOT NULL REFERENCES source (id),
    PRIMARY KEY (source, issued, valid, quantity, member)) STRICT, WITHOUT ROWID;
CREATE TABLE advice (
    id INTEGER PRIMARY KEY, made INTEGER NOT NULL, issued INTEGER NOT NULL, event TEXT NOT NULL, plan TEXT NOT NULL,
    chance REAL, source INTEGER NOT NULL REFERENCES source (id), UNIQUE (made, event)) STRICT;
CREATE TABLE action (
    time INTEGER NOT NULL, zone TEXT NOT NULL, what TEXT NOT NULL, value REAL, who TEXT NOT NULL DEFAULT '',
    note TEXT NOT NULL DEFAULT '', PRIMARY KEY (time, zone, what)) STRICT, WITHOUT ROWID;
CREATE TABLE observed_state (
    time INTEGER NOT NULL, zone TEXT NOT NULL, state INTEGER NOT NULL CHECK (state BETWEEN 0 AND 8),
    method TEXT NOT NULL, who TEXT NOT NULL DEFAULT '', note TEXT NOT NULL DEFAULT '',
    PRIMARY KEY (time, zone, method)) STRICT, WITHOUT ROWID;
CREATE INDEX reading_by_time ON reading (quantity, time);
CREATE INDEX forecast_by_night ON forecast (quantity, valid, issued);
INSERT INTO meta VALUES ('format', '1');
"""

# 1 -> 2: sensors with a table of their own; where each row stood in its file; the file itself; notes; what was told
_SECOND = """
ALTER TABLE source ADD COLUMN mapping TEXT NOT NULL DEFAULT '';
ALTER TABLE source ADD COLUMN original BLOB;
CREATE TABLE sensor (
    id INTEGER PRIMARY KEY, name TEXT NOT NULL, quantity TEXT NOT NULL, zone TEXT NOT NULL, depth REAL NOT NULL,
    UNIQUE (quantity, name, zone, depth)) STRICT;
CREATE TABLE reading_of (
    sensor INTEGER NOT NULL REFERENCES sensor (id), time INTEGER NOT NULL, value REAL NOT NULL,
    error REAL NOT NULL DEFAULT 0, source INTEGER NOT NULL REFERENCES source (id), line INTEGER NOT NULL DEFAULT 0,
    detail TEXT NOT NULL DEFAULT '', PRIMARY KEY (sensor, time, source)) STRICT, WITHOUT ROWID;
CREATE TABLE flag_of (
    sensor INTEGER NOT NULL, time INTEGER NOT NULL, source INTEGER NOT NULL, reason TEXT NOT NULL,
    PRIMARY KEY (sensor, time, source, reason)) STRICT, WITHOUT ROWID;
INSERT INTO sensor (name, quantity, zone, depth) SELECT DISTINCT sensor, quantity, zone, depth FROM reading;
INSERT INTO reading_of (sensor, time, value, error, source) SELECT s.id, r.time, r.value, r.error, r.source
    FROM reading AS r JOIN sensor AS s
    ON s.name = r.sensor AND s.quantity = r.quantity AND s.zone = r.zone AND s.depth = r.depth;
INSERT INTO flag_of (sensor, time, source, reason) SELECT s.id, f.time, r.source, f.reason
    FROM flag AS f JOIN sensor AS s ON s.name = f.sensor AND s.quantity = f.quantity
    JOIN reading_of AS r ON r.sensor = s.id AND r.time = f.time;
DROP TABLE flag;
DROP TABLE reading;
ALTER TABLE reading_of RENAME TO reading;
ALTER TABLE flag_of RENAME TO flag;
CREATE TABLE rejected (
    source INTEGER NOT NULL REFERENCES source (id), line INTEGER NOT NULL, reason TEXT NOT NULL,
    PRIMARY KEY (source, line, reason)) STRICT, WITHOUT ROWID;
CREATE TABLE note (
    time INTEGER NOT NULL, about TEXT NOT NULL, text TEXT NOT NULL, who TEXT NOT NULL DEFAULT '',
    PRIMARY KEY (time, about, text)) STRICT, WITHOUT ROWID;
CREATE TABLE told (
    made INTEGER NOT NULL, issued INTEGER NOT NULL, start INTEGER NOT NULL, finish INTEGER NOT NULL,
    window TEXT NOT NULL, zone TEXT NOT NULL, quantity TEXT NOT NULL, members TEXT NOT NULL,
    source INTEGER NOT NULL REFERENCES source (id),
    PRIMARY KEY (start, finish, zone, quantity, made)) STRICT, WITHOUT ROWID;
UPDATE meta SET value = '2' WHERE key = 'format';
"""
# 2 -> 3: a flag is lifted by a row beside it, for one check (what stands before the first colon of its reason)
_THIRD = """
CREATE TABLE lifted (
    sensor INTEGER NOT NULL REFERENCES sensor (id), time INTEGER NOT NULL,
    source INTEGER NOT NULL REFERENCES source (id), check_name TEXT NOT NULL, made INTEGER NOT NULL,
    note TEXT NOT NULL, who TEXT NOT NULL DEFAULT '',
    PRIMARY KEY (sensor, time, source, check_name)) STRICT, WITHOUT ROWID;
UPDATE meta SET value = '3' WHERE key = 'format';
"""
_STEPS = (_FIRST, _SECOND, _THIRD)

HISTORY = (
    "source", "sensor", "reading", "flag", "lifted", "rejected", "note", "forecast", "told", "advice", "action",
    "observed_state",
)  # fmt: skip


def upgrade(db: sqlite3.Connection, found: int) -> None:
    """Bring the tables from format `found` (0: an empty file) to `FORMAT`; the caller holds the transaction."""
    for script in _STEPS[found:]:
        for statement in _statements(script):
            db.execute(statement)
    for table in HISTORY:
        for verb in ("UPDATE", "DELETE"):
            db.execute(
                f"CREATE TRIGGER IF NOT EXISTS {table}_{verb.lower()}_refused BEFORE {verb} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, 'the field log is only added to'); END"
            )


def _statements(script: str) -> Iterator[str]:
    """The statements of a script, one by one."""
    waiting = ""
    for line in script.splitlines(keepends=True):
        waiting += line
        if sqlite3.complete_statement(waiting):
            yield waiting
            waiting = ""
