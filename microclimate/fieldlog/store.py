"""One SQLite file per venue: what was measured, forecast, told, advised, done and seen.

History is only ever added to: triggers refuse a change or a deletion of any row. Every row has a natural key, so
reading the same file or storing the same forecast twice inserts nothing. All values are SI, all times whole seconds of
UTC (seconds since 1970-01-01).
"""

import hashlib
import json
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from microclimate.fieldlog.database import Database, seconds


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


class Store(Database):
    """The field log of one venue."""

    def source(
        self,
        name: str,
        content: bytes,
        added: np.datetime64,
        note: str = "",
        *,
        mapping: str = "",
        keep: bool = False,
    ) -> int:
        """The number of a source of rows, by its content; the same content keeps its first number.

        Parameters
        ----------
        name, note : str
        content : bytes
        added : datetime64
            UTC.
        mapping : str
            How it was read; the same content read in another way is another source.
        keep : bool
            Keep the content itself, packed.
        """
        digest = hashlib.sha256(content + (b"\0" + mapping.encode() if mapping else b"")).hexdigest()
        known = self._db.execute("SELECT id FROM source WHERE digest = ?", (digest,)).fetchone()
        if known is None:
            packed = zlib.compress(content, 1) if keep else None
            with self._writing():
                self._db.execute(
                    "INSERT OR IGNORE INTO source (name, digest, added, note, mapping, original) "
                    "VALUES (?, ?, ?, ?, ?, ?)",
                    (name, digest, seconds(added), note, mapping, packed),
                )
            known = self._db.execute("SELECT id FROM source WHERE digest = ?", (digest,)).fetchone()
        return int(known[0])

    def original(self, source: int) -> bytes | None:
        """The content of a source as it came, where it was kept."""
        packed = self._db.execute("SELECT original FROM source WHERE id = ?", (source,)).fetchone()
        return None if packed is None or packed[0] is None else zlib.decompress(packed[0])

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
        """Add readings; those already there are left as they are. Gives the count of new rows."""
        numbers: dict[tuple[str, str, str, float], int] = {}
        rows = []
        for r in readings:
            what = (r.sensor, r.quantity, r.zone, r.depth)
            if what not in numbers:
                numbers[what] = self.sensor(*what)
            detail = json.dumps(dict(r.detail), sort_keys=True, ensure_ascii=False) if r.detail else ""
            rows.append((numbers[what], seconds(r.time), float(r.value), float(r.error), source, r.line, detail))
        return self._add("reading", 7, rows)

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
        keep = np.isfinite(values)
        stamps = times[keep].astype("datetime64[s]").astype(np.int64).tolist()
        number = self.sensor(sensor, quantity, zone, depth)
        at = [0] * len(stamps) if lines is None else lines[keep].tolist()
        start = "INSERT OR IGNORE INTO reading (sensor, time, value, error, source, line) VALUES"
        row = f"({number}, ?, ?, {float(error)!r}, {int(source)}, ?)"
        return self._add_plain(start, row, (stamps, values[keep].tolist(), at)) if stamps else 0

    def differing(self, sensor: int, times: np.ndarray, values: np.ndarray) -> int:
        """How many values of a series stand in the log otherwise than given here."""
        keep = np.isfinite(values)
        stamps = times[keep].astype("datetime64[s]").astype(np.int64)
        if not stamps.size:
            return 0
        query = "SELECT time, value FROM reading WHERE sensor = ? AND time BETWEEN ? AND ?"
        there = dict(self._db.execute(query, (sensor, int(stamps.min()), int(stamps.max()))))
        kept = np.array([there.get(t, np.nan) for t in stamps.tolist()])
        return int((np.abs(kept - values[keep]) > 1e-6 * (1.0 + np.abs(kept))).sum())

    def add_rejected(self, source: int, rows: Iterable[tuple[int, str]]) -> int:
        """Add the lines of a source that could not be used, and why. Gives the count of new rows."""
        return self._add("rejected", 3, ((source, line, why) for line, why in rows))

    def add_note(self, time: np.datetime64, about: str, text: str, who: str = "") -> int:
        """Add what somebody wants remembered of a sensor, a zone or a night. Gives 1, or 0 when it is there already."""
        return self._add("note", 4, [(seconds(time), about, text, who)])

    def add_flags(self, flags: Iterable[tuple[str, str, np.datetime64, str]]) -> int:
        """Add flags (sensor, quantity, time, reason); the reading itself stays. Gives the count of new rows."""
        rows = []
        for name, quantity, when, why in flags:
            query = "SELECT id FROM sensor WHERE name = ? AND quantity = ?"
            rows += [(number, seconds(when), why) for (number,) in self._db.execute(query, (name, quantity))]
        return self._add("flag", 3, rows)

    def flag_series(self, sensor: int, times: np.ndarray, reason: str) -> int:
        """Flag readings of one sensor. Gives the count of new rows."""
        stamps = times.astype("datetime64[s]").astype(np.int64).tolist()
        return self._add("flag", 3, ((sensor, t, reason) for t in stamps))

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

    def values(
        self,
        sensor: int,
        start: np.datetime64 | None = None,
        end: np.datetime64 | None = None,
        *,
        flagged: bool = False,
    ) -> tuple[np.ndarray, np.ndarray]:
        """Readings of one sensor in order of time, without or with the flagged ones: times (datetime64[s]), values."""
        query = "SELECT time, value FROM reading AS r WHERE sensor = ? AND time >= ? AND time <= ?"
        if not flagged:
            query += " AND NOT EXISTS (SELECT 1 FROM flag AS f WHERE f.sensor = r.sensor AND f.time = r.time)"
        span = (-(2**62) if start is None else seconds(start), 2**62 if end is None else seconds(end))
        rows = self._db.execute(query + " ORDER BY time", (sensor, *span)).fetchall()
        stamps, numbers = zip(*rows, strict=True) if rows else ((), ())
        return np.array(stamps, dtype="datetime64[s]"), np.array(numbers, dtype=float)

    def detailed(self, quantity: str) -> list[tuple[Sensor, dict[str, Any], dict[str, Any]]]:
        """Unflagged readings of one quantity with how each was taken: sensor, row (with `source_name`), detail."""
        found = []
        for sensor in self.sensors():
            if sensor.quantity != quantity:
                continue
            cursor = self._db.execute(
                "SELECT r.time, r.value, r.error, r.line, r.detail, s.name AS source_name FROM reading AS r "
                "JOIN source AS s ON s.id = r.source WHERE r.sensor = ? AND NOT EXISTS "
                "(SELECT 1 FROM flag AS f WHERE f.sensor = r.sensor AND f.time = r.time) ORDER BY r.time",
                (sensor.number,),
            )
            names = [column[0] for column in cursor.description]
            for values in cursor:
                row = dict(zip(names, values, strict=True))
                found.append((sensor, row, json.loads(row["detail"]) if row["detail"] else {}))
        return found

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

    def add_told(
        self,
        made: np.datetime64,
        issued: np.datetime64,
        window: tuple[str, np.datetime64, np.datetime64],
        members: Mapping[tuple[str, str], np.ndarray],
        source: int,
    ) -> int:
        """Add what a run told of a window: its members by (zone, quantity), SI. Gives the count of new rows."""
        name, start, end = window
        rows = [
            (seconds(made), seconds(issued), seconds(start), seconds(end), name, zone, quantity,
             json.dumps([round(float(v), 3) for v in values if np.isfinite(v)]), source)
            for (zone, quantity), values in members.items()
        ]  # fmt: skip
        return self._add("told", 9, rows)
