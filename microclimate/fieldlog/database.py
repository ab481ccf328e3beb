"""The field log's file: opening it, one transaction at a time beside other processes, adding and counting rows."""

import itertools
import sqlite3
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np

from microclimate.errors import refuse
from microclimate.fieldlog.tables import FORMAT, HISTORY, upgrade

WAIT = 2.0  # [s] a second process waits this long for the first one's transaction
BATCH = 20_000  # rows in one transaction of a long import; another process gets its turn between two
TURN, TRY = 0.004, 0.002  # [s] the pause between two batches, and how often a waiting process tries
TOGETHER = 1000  # rows in one statement: halves the time of a long import


class Database:
    """One file, opened for reading and adding.

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
            # a write lock is waited for in `_writing`; the timeout is for the moments that SQLite locks by itself
            self._db = sqlite3.connect(path, timeout=WAIT, isolation_level=None)
            self._db.execute("PRAGMA foreign_keys = ON")
            self._db.execute("PRAGMA journal_mode = WAL")
            self._db.execute("PRAGMA synchronous = FULL")  # an acknowledged row survives a power cut
            self._prepare()
        except sqlite3.OperationalError as error:
            raise refuse(str(path), f"cannot be opened ({error})", "a file in a folder that can be written") from None
        except sqlite3.DatabaseError as error:
            raise refuse(str(path), f"is no field log ({error})", "a file this program made", "move it away") from None

    def _prepare(self) -> None:
        if self._format() == FORMAT:
            return
        with self._writing():
            found = self._format()  # another process may have been quicker
            if found < FORMAT:
                upgrade(self._db, found)

    def _format(self) -> int:
        """Format of the file, 0 when it is empty."""
        names = {row[0] for row in self._db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        if not names:
            return 0
        if "meta" not in names:
            raise refuse(str(self.path), "is another program's database", "a field log", "name another file")
        found = int(self._db.execute("SELECT value FROM meta WHERE key = 'format'").fetchone()[0])
        if found > FORMAT:
            raise refuse(str(self.path), f"format {found}", f"format {FORMAT} or older", "update the program")
        return found

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
        self._begin()
        try:
            yield
        except BaseException:
            self._db.execute("ROLLBACK")
            raise
        self._db.execute("COMMIT")

    def _begin(self) -> None:
        """Take the write lock, trying often: the lock of a long import is free for `TURN` only, between two batches."""
        until = time.monotonic() + WAIT
        self._db.execute("PRAGMA busy_timeout = 0")
        try:
            while True:
                try:
                    self._db.execute("BEGIN IMMEDIATE")
                    return
                except sqlite3.OperationalError as error:
                    if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY:
                        raise
                if time.monotonic() > until:
                    raise refuse(str(self.path), "another program is writing to it", "", "try again")
                time.sleep(TRY)
        finally:
            self._db.execute(f"PRAGMA busy_timeout = {round(WAIT * 1000)}")

    def _add(self, table: str, columns: int, rows: Iterable[Sequence[Any]]) -> int:
        marks = ", ".join("?" * columns)
        before = self._db.total_changes
        batch: list[Sequence[Any]] = []
        for row in rows:
            if len(batch) == BATCH:
                self._insert(table, marks, batch)
                batch = []
                time.sleep(TURN)
            batch.append(row)
        if batch:
            self._insert(table, marks, batch)
        return self._db.total_changes - before

    def _insert(self, table: str, marks: str, batch: list[Sequence[Any]]) -> None:
        with self._writing():
            self._db.executemany(f"INSERT OR IGNORE INTO {table} VALUES ({marks})", batch)

    def _add_plain(self, start: str, row: str, columns: Sequence[Sequence[Any]]) -> int:
        """Add many rows of a few columns by `start` ("INSERT ... VALUES") and `row` ("(?, ?)")."""
        before, count = self._db.total_changes, len(columns[0])
        for first in range(0, count, BATCH):
            if first:
                time.sleep(TURN)
            with self._writing():
                for at in range(first, min(first + BATCH, count), TOGETHER):
                    parts = [column[at : min(at + TOGETHER, first + BATCH)] for column in columns]
                    marks = ", ".join([row] * len(parts[0]))
                    self._db.execute(f"{start} {marks}", list(itertools.chain.from_iterable(zip(*parts, strict=True))))
        return self._db.total_changes - before

    def count(self, table: str) -> int:
        """Rows of one table."""
        if table not in HISTORY:
            raise ValueError(table)
        return int(self._db.execute(f"SELECT count(*) FROM {table}").fetchone()[0])

    def rows(self, table: str) -> list[dict[str, Any]]:
        """All of one table, for export: column -> value; packed originals are left out."""
        if table not in HISTORY:
            raise ValueError(table)
        cursor = self._db.execute(f"SELECT * FROM {table}")
        names = [column[0] for column in cursor.description]
        return [{name: value for name, value in zip(names, row, strict=True) if name != "original"} for row in cursor]


def seconds(time: np.datetime64) -> int:
    """Whole seconds since 1970-01-01 UTC."""
    return int(time.astype("datetime64[s]").astype(np.int64))
