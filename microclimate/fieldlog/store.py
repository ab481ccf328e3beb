"""One SQLite file per venue: what was measured, forecast, told, advised, done and seen.

History is only ever added to: triggers refuse a change or a deletion of any row. Every row has a natural key, so
reading the same file or storing the same forecast twice inserts nothing. All values are SI, all times whole seconds of
UTC (seconds since 1970-01-01).
"""

import hashlib
import json
import zlib
from collections.abc import Iterable, Mapping

import numpy as np

from microclimate.fieldlog.database import seconds
from microclimate.fieldlog.series import Reading, Readings, Sensor

__all__ = ["Reading", "Sensor", "Store", "seconds"]


class Store(Readings):
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

    def add_rejected(self, source: int, rows: Iterable[tuple[int, str]]) -> int:
        """Add the lines of a source that could not be used, and why. Gives the count of new rows."""
        return self._add("rejected", 3, ((source, line, why) for line, why in rows))

    def add_note(self, time: np.datetime64, about: str, text: str, who: str = "") -> int:
        """Add what somebody wants remembered of a sensor, a zone or a night. Gives 1, or 0 when it is there already."""
        return self._add("note", 4, [(seconds(time), about, text, who)])

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
