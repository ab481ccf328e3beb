"""One SQLite file per venue: what was measured, forecast, advised, done and seen.

History is only ever added to: triggers refuse a change or a deletion of any row. Every row has a natural key, so
reading the same file or storing the same forecast twice inserts nothing. All values are SI, all times whole seconds of
UTC (seconds since 1970-01-01).
"""

import hashlib
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np

from microclimate.errors import refuse

FORMAT = 1
WAIT = 2.0  # [s] a second process waits this long for the first one's transaction
BATCH = 20_000  # rows in one transaction of a long import; another process gets its turn between two

_TABLES = """
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
"""
_HISTORY = ("source", "reading", "flag", "forecast", "advice", "action", "observed_state")
_TRIGGERS = "".join(
    f"CREATE TRIGGER {table}_{verb.lower()}_refused BEFORE {verb} ON {table} "
    f"BEGIN SELECT RAISE(ABORT, 'the field log is only added to'); END;\n"
    for table in _HISTORY
    for verb in ("UPDATE", "DELETE")
)


@dataclass(frozen=True)
class Reading:
    """One reading, SI."""

    sensor: str
    quantity: str  # CF standard name
    time: np.datetime64  # UTC
    value: float
    zone: str = ""
    depth: float = 0.0  # [m]
    error: float = 0.0  # one standard deviation, 0 when not known


class Store:
    """The field log of one venue, opened for reading and adding.

    Parameters
    ----------
    path : Path
        The file; made when absent.

    Raises
    ------
    InputError
        When the file is no field log, or was written by a newer version.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        try:
            self._db = sqlite3.connect(path, timeout=WAIT, isolation_level=None)
            self._db.execute("PRAGMA foreign_keys = ON")
            self._db.execute("PRAGMA journal_mode = WAL")
            self._db.execute("PRAGMA synchronous = FULL")  # an acknowledged row survives a power cut
            self._prepare()
        except sqlite3.DatabaseError as error:
            raise refuse(str(path), f"is no field log ({error})", "a file this program made", "move it away") from None

    def _prepare(self) -> None:
        with self._writing():
            names = {row[0] for row in self._db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
            if not names:
                for statement in _statements(_TABLES + _TRIGGERS):
                    self._db.execute(statement)
                self._db.execute("INSERT INTO meta VALUES ('format', ?)", (str(FORMAT),))
                return
            if "meta" not in names:
                raise refuse(str(self.path), "is another program's database", "a field log", "name another file")
            found = int(self._db.execute("SELECT value FROM meta WHERE key = 'format'").fetchone()[0])
        if found > FORMAT:
            raise refuse(str(self.path), f"format {found}", f"format {FORMAT} or older", "update the program")

    def close(self) -> None:
        """Close the file."""
        self._db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @contextmanager
    def _writing(self) -> Iterator[None]:
        """One transaction: all of it or nothing."""
        self._db.execute("BEGIN IMMEDIATE")
        try:
            yield
        except BaseException:
            self._db.execute("ROLLBACK")
            raise
        self._db.execute("COMMIT")

    def source(self, name: str, content: bytes, added: np.datetime64, note: str = "") -> int:
        """The number of a source of rows, by its content; the same content keeps its first number."""
        digest = hashlib.sha256(content).hexdigest()
        with self._writing():
            self._db.execute(
                "INSERT OR IGNORE INTO source (name, digest, added, note) VALUES (?, ?, ?, ?)",
                (name, digest, seconds(added), note),
            )
        return int(self._db.execute("SELECT id FROM source WHERE digest = ?", (digest,)).fetchone()[0])

    def add_readings(self, readings: Iterable[Reading], source: int) -> int:
        """Add readings; those already there are left as they are. Gives the count of new rows."""
        rows = (
            (r.sensor, r.quantity, seconds(r.time), float(r.value), r.zone, float(r.depth), float(r.error), source)
            for r in readings
        )
        return self._add("reading", 8, rows)

    def add_series(
        self,
        sensor: str,
        quantity: str,
        times: np.ndarray,
        values: np.ndarray,
        source: int,
        zone: str = "",
        depth: float = 0.0,
    ) -> int:
        """Add a whole series of one sensor; missing values are passed over. Gives the count of new rows."""
        keep = np.isfinite(values)
        stamps = times[keep].astype("datetime64[s]").astype(np.int64).tolist()
        rows = (
            (sensor, quantity, t, v, zone, depth, 0.0, source)
            for t, v in zip(stamps, values[keep].tolist(), strict=True)
        )
        return self._add("reading", 8, rows)

    def add_flags(self, flags: Iterable[tuple[str, str, np.datetime64, str]]) -> int:
        """Add flags (sensor, quantity, time, reason); the reading itself stays. Gives the count of new rows."""
        return self._add("flag", 4, ((s, q, seconds(t), why) for s, q, t, why in flags))

    def add_forecast(
        self, issued: np.datetime64, valid: np.ndarray, quantity: str, values: np.ndarray, source: int
    ) -> int:
        """Add one forecast, `values` (time, member) of `quantity` at the times `valid`. Gives the count of new rows."""
        stamps = valid.astype("datetime64[s]").astype(np.int64).tolist()
        made = seconds(issued)
        rows = (
            (made, t, quantity, member, value, source)
            for t, row in zip(stamps, values.tolist(), strict=True)
            for member, value in enumerate(row)
            if value == value  # not NaN
        )
        return self._add("forecast", 6, rows)

    def add_advice(
        self, made: np.datetime64, issued: np.datetime64, event: str, plan: str, chance: float | None, source: int
    ) -> int:
        """Add one advice with the forecast it came from. Gives 1, or 0 when it is there already."""
        row = (None, seconds(made), seconds(issued), event, plan, chance, source)
        return self._add("advice", 7, [row])

    def add_action(
        self, time: np.datetime64, zone: str, what: str, value: float | None = None, who: str = "", note: str = ""
    ) -> int:
        """Add what was done. Gives 1, or 0 when it is there already."""
        return self._add("action", 6, [(seconds(time), zone, what, value, who, note)])

    def add_state(self, time: np.datetime64, zone: str, state: int, method: str, who: str = "", note: str = "") -> int:
        """Add a surface state that somebody saw. Gives 1, or 0 when it is there already."""
        return self._add("observed_state", 6, [(seconds(time), zone, int(state), method, who, note)])

    def _add(self, table: str, columns: int, rows: Iterable[Sequence[Any]]) -> int:
        marks = ", ".join("?" * columns)
        before = self._db.total_changes
        batch: list[Sequence[Any]] = []
        for row in rows:
            batch.append(row)
            if len(batch) == BATCH:
                self._insert(table, marks, batch)
                batch = []
        if batch:
            self._insert(table, marks, batch)
        return self._db.total_changes - before

    def _insert(self, table: str, marks: str, batch: list[Sequence[Any]]) -> None:
        with self._writing():
            self._db.executemany(f"INSERT OR IGNORE INTO {table} VALUES ({marks})", batch)

    def series(
        self,
        quantity: str,
        sensor: str | None = None,
        start: np.datetime64 | None = None,
        end: np.datetime64 | None = None,
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Unflagged readings of one quantity in order of time: sensors (str), times (datetime64[s]), values."""
        query = (
            "SELECT sensor, time, value FROM reading AS r WHERE quantity = ? AND NOT EXISTS (SELECT 1 FROM flag AS f "
            "WHERE f.sensor = r.sensor AND f.quantity = r.quantity AND f.time = r.time)"
        )
        values: list[Any] = [quantity]
        for clause, value in (
            (" AND sensor = ?", sensor),
            (" AND time >= ?", None if start is None else seconds(start)),
            (" AND time <= ?", None if end is None else seconds(end)),
        ):
            if value is not None:
                query += clause
                values.append(value)
        rows = self._db.execute(query + " ORDER BY time, sensor", values).fetchall()
        names, stamps, numbers = zip(*rows, strict=True) if rows else ((), (), ())
        return np.array(names, dtype=str), np.array(stamps, dtype="datetime64[s]"), np.array(numbers, dtype=float)

    def forecasts(
        self, quantity: str, known_by: np.datetime64
    ) -> list[tuple[np.datetime64, np.datetime64, np.ndarray]]:
        """Every forecast issued no later than `known_by`: (issued, valid, members) in order of valid time."""
        rows = self._db.execute(
            "SELECT issued, valid, value FROM forecast WHERE quantity = ? AND issued <= ? "
            "ORDER BY valid, issued, source, member",
            (quantity, seconds(known_by)),
        )
        grouped: dict[tuple[int, int], list[float]] = {}
        for issued, valid, value in rows:
            grouped.setdefault((issued, valid), []).append(value)
        return [
            (np.datetime64(issued, "s"), np.datetime64(valid, "s"), np.array(members))
            for (issued, valid), members in grouped.items()
        ]

    def count(self, table: str) -> int:
        """Rows of one table."""
        if table not in _HISTORY:
            raise ValueError(table)
        return int(self._db.execute(f"SELECT count(*) FROM {table}").fetchone()[0])

    def rows(self, table: str) -> list[dict[str, Any]]:
        """All of one table, for export: column -> value."""
        if table not in _HISTORY:
            raise ValueError(table)
        cursor = self._db.execute(f"SELECT * FROM {table}")
        names = [column[0] for column in cursor.description]
        return [dict(zip(names, row, strict=True)) for row in cursor]


def seconds(time: np.datetime64) -> int:
    """Whole seconds since 1970-01-01 UTC."""
    return int(time.astype("datetime64[s]").astype(np.int64))


def _statements(script: str) -> Iterator[str]:
    """The statements of a script; a trigger's body holds semicolons of its own."""
    waiting = ""
    for line in script.splitlines(keepends=True):
        waiting += line
        if sqlite3.complete_statement(waiting):
            yield waiting
            waiting = ""
