"""Readings in the field log: sensors, what they read, and what of it is flagged."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from microclimate.fieldlog.database import Database, seconds

Times = NDArray[np.datetime64]
Array = NDArray[np.float64]

SUPERSEDED = "superseded"  # by a later source that has another value for the same sensor and time
TAKEN_BACK = (SUPERSEDED, "withdrawn")  # what stands for a mistake of the log, not for a doubt: never lifted
_CHECK = "substr(f.reason, 1, instr(f.reason || ':', ':') - 1)"  # of a reason such as "curtain::0.45"
_STANDS = (
    "NOT EXISTS (SELECT 1 FROM lifted AS l WHERE l.sensor = f.sensor AND l.time = f.time AND l.source = f.source "
    f"AND l.check_name = {_CHECK})"
)
_UNFLAGGED = (
    "NOT EXISTS (SELECT 1 FROM flag AS f WHERE f.sensor = r.sensor AND f.time = r.time AND f.source = r.source "
    f"AND {_STANDS})"
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
    line: int = 0  # of its file
    detail: Mapping[str, Any] = field(default_factory=dict)  # how it was taken: instrument, corrections, minutes


@dataclass(frozen=True)
class Sensor:
    """What reads, and where; a probe that moves is another sensor."""

    number: int
    name: str
    quantity: str
    zone: str
    depth: float  # [m]
    first: np.datetime64  # UTC
    last: np.datetime64


class Readings(Database):
    """Adding and having back readings."""

    def sensor(self, name: str, quantity: str, zone: str = "", depth: float = 0.0) -> int:
        """The number of a sensor by what it is, measures and where."""
        row = (quantity, name, zone, round(float(depth), 6))
        query = "SELECT id FROM sensor WHERE quantity = ? AND name = ? AND zone = ? AND depth = ?"
        known = self._db.execute(query, row).fetchone()
        if known is None:
            with self._writing():
                self._db.execute("INSERT OR IGNORE INTO sensor (quantity, name, zone, depth) VALUES (?, ?, ?, ?)", row)
            known = self._db.execute(query, row).fetchone()
        return int(known[0])

    def sensors(self) -> list["Sensor"]:
        """Every sensor the log has heard of, with the span and number of its readings."""
        query = (
            "SELECT id, name, quantity, zone, depth, (SELECT min(time) FROM reading WHERE sensor = id), "
            "(SELECT max(time) FROM reading WHERE sensor = id) FROM sensor ORDER BY zone, depth, name"
        )
        return [
            Sensor(number, name, quantity, zone, depth, np.datetime64(first, "s"), np.datetime64(last, "s"))
            for number, name, quantity, zone, depth, first, last in self._db.execute(query)
            if first is not None
        ]

    def add_readings(self, readings: Iterable[Reading], source: int) -> int:
        """Add readings; what is there already is left as it is. Gives the count of new rows."""
        grouped: dict[tuple[str, str, str, float], list[Reading]] = {}
        for r in readings:
            grouped.setdefault((r.sensor, r.quantity, r.zone, r.depth), []).append(r)
        count = 0
        for what, rows in grouped.items():
            number = self.sensor(*what)
            times = np.array([seconds(r.time) for r in rows], dtype=np.int64)
            values = np.array([r.value for r in rows], dtype=float)
            new = self._news(number, times, values, source)
            columns = (
                times[new].tolist(),
                values[new].tolist(),
                [float(r.error) for r, n in zip(rows, new, strict=True) if n],
                [int(r.line) for r, n in zip(rows, new, strict=True) if n],
                [_text(r.detail) for r, n in zip(rows, new, strict=True) if n],
            )
            start = "INSERT OR IGNORE INTO reading (sensor, source, time, value, error, line, detail) VALUES"
            count += self._add_plain(start, f"({number}, {int(source)}, ?, ?, ?, ?, ?)", columns)
        return count

    def add_series(
        self,
        sensor: str,
        quantity: str,
        times: np.ndarray,
        values: np.ndarray,
        source: int,
        zone: str = "",
        depth: float = 0.0,
        *,
        error: float = 0.0,
        lines: np.ndarray | None = None,
    ) -> int:
        """Add a whole series of one sensor; missing values are passed over. Gives the count of new rows.

        Parameters
        ----------
        times : array of datetime64
            UTC.
        values : array
            SI.
        lines : array of int, optional
            Where each stood in its file.
        """
        number = self.sensor(sensor, quantity, zone, depth)
        stamps = times.astype("datetime64[s]").astype(np.int64)
        keep = np.isfinite(values)
        keep[keep] = self._news(number, stamps[keep], values[keep], source)
        at = np.zeros(len(values), dtype=np.int64) if lines is None else lines
        columns = (stamps[keep].tolist(), values[keep].tolist(), at[keep].tolist())
        start = "INSERT OR IGNORE INTO reading (sensor, source, error, time, value, line) VALUES"
        return self._add_plain(start, f"({number}, {int(source)}, {float(error)!r}, ?, ?, ?)", columns)

    def _news(self, sensor: int, stamps: NDArray[np.int64], values: Array, source: int) -> NDArray[np.bool_]:
        """Which values are not in the log; those that stand there otherwise are superseded, and flagged so."""
        new = np.ones(len(stamps), dtype=bool)
        if not len(stamps):
            return new
        query = (
            f"SELECT time, value, source FROM reading AS r WHERE sensor = ? AND time BETWEEN ? AND ? AND {_UNFLAGGED}"
        )
        there: dict[int, list[tuple[float, int]]] = {}
        for time, value, other in self._db.execute(query, (sensor, int(stamps.min()), int(stamps.max()))):
            there.setdefault(time, []).append((value, other))
        if not there:
            return new
        old: list[tuple[int, int]] = []
        for k, (time, value) in enumerate(zip(stamps.tolist(), values.tolist(), strict=True)):
            for known, other in there.get(time, ()):
                if abs(known - value) <= 1e-6 * (1.0 + abs(known)) or other == source:
                    new[k] = False
                else:
                    old.append((time, other))
        if old:
            self._add("flag", 4, ((sensor, time, other, f"{SUPERSEDED}:{source}") for time, other in old))
        return new

    def differing(self, name: str, quantity: str, zone: str, depth: float, times: Times, values: Array) -> int:
        """How many values of a series stand in the log otherwise than given here."""
        query = "SELECT id FROM sensor WHERE quantity = ? AND name = ? AND zone = ? AND depth = ?"
        known = self._db.execute(query, (quantity, name, zone, round(float(depth), 6))).fetchone()
        if known is None or not len(times):
            return 0
        there, kept = self.values(int(known[0]), times.min(), times.max())
        _, a, b = np.intersect1d(there, times.astype("datetime64[s]"), return_indices=True)
        return int((np.abs(kept[a] - values[b]) > 1e-6 * (1.0 + np.abs(kept[a]))).sum())

    def add_flags(self, flags: Iterable[tuple[str, str, np.datetime64, str]]) -> int:
        """Add flags (sensor, quantity, time, reason); the reading itself stays. Gives the count of new rows."""
        count = 0
        for name, quantity, when, why in flags:
            query = "SELECT id FROM sensor WHERE name = ? AND quantity = ?"
            for (number,) in self._db.execute(query, (name, quantity)).fetchall():
                count += self.flag_series(number, np.array([when]), why)
        return count

    def flag_series(self, sensor: int, times: Times, reason: str) -> int:
        """Flag the readings of one sensor that count at some times. Gives the count of new rows."""
        stamps = times.astype("datetime64[s]").astype(np.int64)
        if not len(stamps):
            return 0
        span = (sensor, int(stamps.min()), int(stamps.max()))
        wanted = set(stamps.tolist())
        query = "SELECT time, max(source) FROM reading WHERE sensor = ? AND time BETWEEN ? AND ? GROUP BY time"
        rows = [(sensor, time, source, reason) for time, source in self._db.execute(query, span) if time in wanted]
        return self._add("flag", 4, rows)

    def withdraw(self, source: int, reason: str) -> int:
        """Flag every reading of a source. Gives the count of new rows."""
        rows = self._db.execute("SELECT sensor, time FROM reading WHERE source = ?", (source,)).fetchall()
        return self._add("flag", 4, ((sensor, time, source, f"withdrawn:{reason}") for sensor, time in rows))

    def lift(
        self,
        sensor: int,
        made: np.datetime64,
        note: str,
        *,
        check: str | None = None,
        start: np.datetime64 | None = None,
        end: np.datetime64 | None = None,
        who: str = "",
    ) -> int:
        """Let flagged readings of a sensor count again; the flags stay, and the note beside them says why.

        Parameters
        ----------
        sensor : int
        made : datetime64
            UTC, now.
        note, who : str
        check : str, optional
            Only this one; a later run of the checks does not bring it back.
        start, end : datetime64, optional
            UTC; else all of them.

        Returns
        -------
        int
            Readings of which a flag was lifted now. What was superseded or withdrawn is not.
        """
        query = (
            f"SELECT DISTINCT f.time, f.source, {_CHECK} FROM flag AS f WHERE f.sensor = ? AND f.time >= ? "
            f"AND f.time <= ? AND {_STANDS}"
        )
        span = (-(2**62) if start is None else seconds(start), 2**62 if end is None else seconds(end))
        rows = [
            (sensor, time, source, name, seconds(made), note, who)
            for time, source, name in self._db.execute(query, (sensor, *span))
            if name not in TAKEN_BACK and check in (None, name)
        ]
        self._add("lifted", 7, rows)
        return len({row[1:3] for row in rows})

    def flags(self, sensor: int) -> dict[str, Times]:
        """Flagged times of one sensor by reason."""
        found: dict[str, list[int]] = {}
        for time, reason in self._db.execute("SELECT time, reason FROM flag WHERE sensor = ? ORDER BY time", (sensor,)):
            found.setdefault(reason, []).append(time)
        return {reason: np.array(times, dtype="datetime64[s]") for reason, times in found.items()}

    def series(
        self,
        quantity: str,
        sensor: str | None = None,
        start: np.datetime64 | None = None,
        end: np.datetime64 | None = None,
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Unflagged readings of one quantity in order of time: sensors (str), times (datetime64[s]), values."""
        numbers = dict(
            self._db.execute(
                "SELECT id, name FROM sensor WHERE quantity = ? AND name = ifnull(?, name)", (quantity, sensor)
            )
        )
        parts = [(name, *self.values(number, start, end)) for number, name in numbers.items()]
        names = np.concatenate([[name] * len(t) for name, t, _ in parts] or [[]]).astype(str)
        stamps = np.concatenate([t for _, t, _ in parts] or [np.zeros(0, "datetime64[s]")])
        found = np.concatenate([v for *_, v in parts] or [np.zeros(0)])
        order = np.lexsort((names, stamps))
        return names[order], stamps[order], found[order]

    def counts(self, sensor: int) -> tuple[int, int]:
        """How many readings of a sensor there are, and how many of them are flagged."""
        every = self._db.execute("SELECT count(*) FROM reading WHERE sensor = ?", (sensor,)).fetchone()[0]
        query = f"SELECT count(DISTINCT f.time || ' ' || f.source) FROM flag AS f WHERE f.sensor = ? AND {_STANDS}"
        return int(every), int(self._db.execute(query, (sensor,)).fetchone()[0])

    def values(
        self,
        sensor: int,
        start: np.datetime64 | None = None,
        end: np.datetime64 | None = None,
        *,
        flagged: bool = False,
    ) -> tuple[Times, Array]:
        """Readings of one sensor in order of time: times (datetime64[s]), values.

        With `flagged` those that a check has flagged too, but never what was superseded or withdrawn.
        """
        taken_back = "(f.reason LIKE 'superseded%' OR f.reason LIKE 'withdrawn%')"
        kept = _UNFLAGGED[:-1] + f" AND {taken_back})" if flagged else _UNFLAGGED
        query = f"SELECT time, value FROM reading AS r WHERE sensor = ? AND time >= ? AND time <= ? AND {kept}"
        span = (-(2**62) if start is None else seconds(start), 2**62 if end is None else seconds(end))
        rows = self._db.execute(query + " ORDER BY time, source", (sensor, *span)).fetchall()
        if not rows:
            return np.zeros(0, dtype="datetime64[s]"), np.zeros(0)
        stamps, numbers = (np.array(column) for column in zip(*rows, strict=True))
        last = np.append(stamps[1:] != stamps[:-1], True)  # of several sources the newest counts
        return stamps[last].astype("datetime64[s]"), numbers[last].astype(float)

    def detailed(self, quantity: str) -> list[tuple[Sensor, dict[str, Any], dict[str, Any]]]:
        """Unflagged readings of one quantity with how each was taken: sensor, row (with `source_name`), detail."""
        found = []
        for sensor in self.sensors():
            if sensor.quantity != quantity:
                continue
            cursor = self._db.execute(
                "SELECT r.time, r.value, r.error, r.line, r.detail, s.name AS source_name FROM reading AS r "
                "JOIN source AS s ON s.id = r.source WHERE r.sensor = ? "
                f"AND {_UNFLAGGED} ORDER BY r.time",
                (sensor.number,),
            )
            names = [column[0] for column in cursor.description]
            for values in cursor:
                row = dict(zip(names, values, strict=True))
                found.append((sensor, row, json.loads(row["detail"]) if row["detail"] else {}))
        return found


def _text(detail: Mapping[str, Any]) -> str:
    return json.dumps(dict(detail), sort_keys=True, ensure_ascii=False) if detail else ""
