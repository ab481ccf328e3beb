"""The store: history is only added to, nothing twice, nothing acknowledged is lost, nobody waits long."""

import os
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from microclimate.errors import InputError
from microclimate.fieldlog import tables
from microclimate.fieldlog.store import Reading, Store

T = np.datetime64("2026-01-20T18:00:00", "s")
HOUR = np.timedelta64(3600, "s")


def test_the_same_twice_inserts_nothing(tmp_path: Path) -> None:
    with Store(tmp_path / "log.sqlite") as store:
        first = store.source("a.csv", b"abc", T)
        assert store.source("copy of a.csv", b"abc", T + HOUR) == first
        readings = [Reading("P1", "soil_temperature", T + i * HOUR, 275.0 + i, "West", 0.05) for i in range(5)]
        assert store.add_readings(readings, first) == 5
        assert store.add_readings(readings, first) == 0
        assert store.add_state(T, "West", 3, "seen") == 1
        assert store.add_state(T, "West", 3, "seen") == 0
        assert store.add_action(T, "West", "cover on") == 1
        assert store.add_action(T, "West", "cover on") == 0
        assert store.add_advice(T, T - HOUR, "game", "nothing", 0.4, first) == 1
        assert store.add_advice(T, T - HOUR, "game", "nothing", 0.4, first) == 0
    with Store(tmp_path / "log.sqlite") as again:
        assert again.count("reading") == 5
        assert again.rows("observed_state")[0]["state"] == 3


def test_history_cannot_be_rewritten(tmp_path: Path) -> None:
    with Store(tmp_path / "log.sqlite") as store:
        store.add_readings([Reading("P1", "soil_temperature", T, 275.0)], store.source("a", b"a", T))
    db = sqlite3.connect(tmp_path / "log.sqlite")
    for statement in ("UPDATE reading SET value = 0", "DELETE FROM reading"):
        with pytest.raises(sqlite3.IntegrityError, match="only added to"):
            db.execute(statement)
    db.close()


def test_a_row_needs_its_source(tmp_path: Path) -> None:
    with Store(tmp_path / "log.sqlite") as store, pytest.raises(sqlite3.IntegrityError, match="FOREIGN KEY"):
        store.add_readings([Reading("P1", "soil_temperature", T, 275.0)], 99)


def test_a_flag_hides_a_reading_and_keeps_it(tmp_path: Path) -> None:
    with Store(tmp_path / "log.sqlite") as store:
        source = store.source("a", b"a", T)
        times = T + HOUR * np.arange(4)
        store.add_series("P1", "soil_temperature", times, np.array([275.0, np.nan, 99.0, 274.0]), source)
        assert store.count("reading") == 3
        store.add_flags([("P1", "soil_temperature", times[2], "out of range")])
        names, stamps, values = store.series("soil_temperature")
        assert values.tolist() == [275.0, 274.0]
        assert names.tolist() == ["P1", "P1"]
        assert stamps.tolist() == [times[0].item(), times[3].item()]
        assert store.count("reading") == 3
        assert store.series("soil_temperature", "P2")[2].size == 0
        assert store.series("soil_temperature", start=times[1])[2].tolist() == [274.0]


def test_a_flag_is_lifted_by_a_row_beside_it(tmp_path: Path) -> None:
    with Store(tmp_path / "log.sqlite") as store:
        source = store.source("a", b"a", T)
        times = T + HOUR * np.arange(4)
        store.add_series("P1", "soil_temperature", times, np.array([275.0, 275.0, 282.0, 274.0]), source)
        number = store.sensors()[0].number
        store.flag_series(number, times[:2], "stuck")
        store.flag_series(number, times[2:3], "curtain::0.45")
        store.flag_series(number, times[1:3], "step")
        assert store.lift(number, T, "checked with ice water", check="stuck", who="A") == 2
        assert store.values(number)[1].tolist() == [275.0, 274.0]  # the second and third are jumps still
        assert store.counts(number) == (4, 2)
        assert store.lift(number, T, "a gap", end=times[1]) == 1
        assert store.lift(number, T, "the same again", check="stuck") == 0
        assert store.flag_series(number, times[:2], "stuck") == 0  # the checks again bring nothing back
        assert store.lift(number, T, "all else") == 1
        assert store.flag_series(number, times[2:3], "curtain::0.61") == 1  # of another size, as the log has grown
        assert store.values(number)[1].tolist() == [275.0, 275.0, 282.0, 274.0]
        assert (store.count("flag"), store.count("lifted")) == (6, 5)
        assert {row["note"] for row in store.rows("lifted")} == {"checked with ice water", "a gap", "all else"}
        assert store.withdraw(source, "wrong file") == 4
        assert store.lift(number, T, "taken back is taken back") == 0
        assert store.values(number)[1].size == 0
    db = sqlite3.connect(tmp_path / "log.sqlite")
    with pytest.raises(sqlite3.IntegrityError, match="only added to"):
        db.execute("DELETE FROM lifted")
    db.close()


def test_a_forecast_is_known_only_once_issued(tmp_path: Path) -> None:
    with Store(tmp_path / "log.sqlite") as store:
        for i, issued in enumerate((T, T + 12 * HOUR)):
            source = store.source(f"f{i}", bytes([i]), issued)
            store.add_forecast(
                issued, np.array([T + 24 * HOUR]), "air_temperature", np.array([[270.0 + i, np.nan, 272.0]]), source
            )
        early = store.forecasts("air_temperature", T + 6 * HOUR)
        assert [members.tolist() for *_, members in early] == [[270.0, 272.0]]
        assert len(store.forecasts("air_temperature", T + 12 * HOUR)) == 2


@pytest.mark.parametrize("content", [b"not a database at all, only text that is long enough", b"\x00" * 5000])
def test_another_file_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "log.sqlite"
    path.write_bytes(content)
    with pytest.raises(InputError, match="is no field log"):
        Store(path)
    assert path.read_bytes() == content


def test_another_database_and_a_newer_log_are_refused(tmp_path: Path) -> None:
    other = sqlite3.connect(tmp_path / "other.sqlite")
    other.execute("CREATE TABLE music (title TEXT)")
    other.commit()
    other.close()
    with pytest.raises(InputError, match="another program's database"):
        Store(tmp_path / "other.sqlite")
    Store(tmp_path / "new.sqlite").close()
    newer = sqlite3.connect(tmp_path / "new.sqlite")
    newer.execute("UPDATE meta SET value = '99' WHERE key = 'format'")
    newer.commit()
    newer.close()
    with pytest.raises(InputError, match="format 99; wanted format 3 or older; update the program"):
        Store(tmp_path / "new.sqlite")


_WRITER = """
import sys
from pathlib import Path
import numpy as np
from microclimate.fieldlog.store import Reading, Store
with Store(Path(sys.argv[1])) as store:
    source = store.source("a", b"a", np.datetime64(0, "s"))
    for i in range(int(sys.argv[2]), 100000):
        stamps = [np.datetime64(i * 10 + k, "s") for k in range(10)]
        store.add_readings([Reading("P", "soil_temperature", t, 270.0) for t in stamps], source)
        print(i, flush=True)
"""


def test_a_kill_loses_no_acknowledged_row(tmp_path: Path) -> None:
    """Four kills in one file: every acknowledged batch of ten is whole, and at most one more."""
    path, acknowledged = tmp_path / "log.sqlite", 0
    for _ in range(4):
        child = subprocess.Popen(
            [sys.executable, "-c", _WRITER, str(path), str(acknowledged)], stdout=subprocess.PIPE, text=True
        )
        assert child.stdout is not None
        for _ in range(25):
            acknowledged = int(child.stdout.readline()) + 1
        os.kill(child.pid, signal.SIGKILL)
        rest = child.stdout.read().split()
        acknowledged = max(acknowledged, int(rest[-1]) + 1) if rest else acknowledged
        child.wait()
        with Store(path) as store:
            rows = store.count("reading")
        assert rows in (acknowledged * 10, acknowledged * 10 + 10)
        acknowledged = rows // 10


def test_a_long_import_lets_a_reader_and_a_writer_in(tmp_path: Path) -> None:
    path = tmp_path / "log.sqlite"
    Store(path).close()
    script = (
        "import sys, numpy as np\nfrom pathlib import Path\nfrom microclimate.fieldlog.store import Store\n"
        "with Store(Path(sys.argv[1])) as s:\n"
        "    src = s.source('big', b'big', np.datetime64(0, 's'))\n    print('on', flush=True)\n"
        "    t = np.arange(400000).astype('datetime64[s]')\n"
        "    s.add_series('P', 'soil_temperature', t, np.full(400000, 275.0), src)\n"
    )
    child = subprocess.Popen([sys.executable, "-c", script, str(path)], stdout=subprocess.PIPE, text=True)
    assert child.stdout is not None
    child.stdout.readline()
    waits = []
    with Store(path) as store:
        i = 0
        while child.poll() is None:
            began = time.monotonic()
            store.add_state(T + i * HOUR, "West", 0, "seen")
            store.count("reading")
            waits.append(time.monotonic() - began)
            i += 1
            time.sleep(0.05)
        assert store.count("reading") == 400000
        assert store.count("observed_state") == i
    assert max(waits) < 2.0


def test_a_log_of_the_first_format_is_taken_over_whole(tmp_path: Path) -> None:
    path = tmp_path / "old.sqlite"
    old = sqlite3.connect(path, isolation_level=None)
    for statement in tables._statements(tables._FIRST):
        old.execute(statement)
    old.execute("INSERT INTO source VALUES (1, 'a.csv', 'digest', 5, 'a note')")
    old.executemany(
        "INSERT INTO reading VALUES (?, 'soil_temperature', ?, ?, 'West', 0.1, 0.2, 1)",
        [("P1", 100, 275.0), ("P1", 200, 276.0), ("P2", 100, 277.0)],
    )
    old.execute("INSERT INTO flag VALUES ('P1', 'soil_temperature', 200, 'spike')")
    old.execute("INSERT INTO advice VALUES (1, 10, 5, 'game', 'nothing', 0.5, 1)")
    old.close()
    with Store(path) as store:
        assert [(s.name, s.zone, s.depth) for s in store.sensors()] == [("P1", "West", 0.1), ("P2", "West", 0.1)]
        names, times, values = store.series("soil_temperature")
        assert (names.tolist(), times.astype(int).tolist(), values.tolist()) == (
            ["P1", "P2"],
            [100, 100],
            [275.0, 277.0],
        )
        assert store.rows("advice")[0]["plan"] == "nothing"
        assert store.rows("source")[0]["mapping"] == ""
        assert store.rows("reading")[0]["error"] == 0.2
    db = sqlite3.connect(path)
    with pytest.raises(sqlite3.IntegrityError, match="only added to"):
        db.execute("DELETE FROM reading")
    db.close()
    Store(path).close()


def test_a_source_keeps_its_file_and_how_it_was_read(tmp_path: Path) -> None:
    with Store(tmp_path / "log.sqlite") as store:
        plain = store.source("a.csv", b"1,2,3", T)
        read = store.source("a.csv", b"1,2,3", T, mapping="comma", keep=True)
        assert plain != read
        assert store.source("a.csv", b"1,2,3", T, mapping="comma", keep=True) == read
        assert (store.original(plain), store.original(read)) == (None, b"1,2,3")
        assert store.add_rejected(read, [(2, "no time"), (3, "no value")]) == 2
        assert store.add_rejected(read, [(2, "no time")]) == 0
        assert store.add_note(T, "P1", "battery changed", "A") == 1
        assert store.rows("note")[0]["text"] == "battery changed"
        assert "original" not in store.rows("source")[0]


def test_a_probe_that_was_another_one_is_added_beside_and_the_first_flagged(tmp_path: Path) -> None:
    times, values = T + HOUR * np.arange(3), np.array([275.0, 276.0, 277.0])
    with Store(tmp_path / "log.sqlite") as store:
        source = store.source("a", b"a", T)
        store.add_series("P1", "soil_temperature", times, values, source, "West", 0.025, lines=np.arange(3) + 2)
        store.add_series("P1", "soil_temperature", times, values, source, "West", 0.1)
        wrong = store.sensor("P1", "soil_temperature", "West", 0.025)
        assert store.flag_series(wrong, times, "swapped") == 3
        right = store.sensor("P1", "soil_temperature", "West", 0.1)
        assert store.values(wrong)[1].size == 0
        assert store.values(wrong, flagged=True)[1].size == 3
        assert store.values(right)[1].tolist() == values.tolist()
        assert store.series("soil_temperature")[2].size == 3
        assert store.differing("P1", "soil_temperature", "West", 0.1, times, values + np.array([0.0, 0.5, 0.0])) == 1
        assert [row["line"] for row in store.rows("reading") if row["sensor"] == wrong] == [2, 3, 4]


def test_what_a_run_told_is_kept_by_window_zone_and_quantity(tmp_path: Path) -> None:
    with Store(tmp_path / "log.sqlite") as store:
        source = store.source("forecast", b"f", T)
        members = {("West", "canopy_temperature_min"): np.array([271.2, np.nan, 272.0004])}
        window = ("tonight", T, T + 12 * HOUR)
        assert store.add_told(T, T, window, members, source) == 1
        assert store.add_told(T, T, window, members, source) == 0
        assert store.rows("told")[0]["members"] == "[271.2, 272.0]"


def test_a_writer_that_never_lets_go_is_told_of_in_words(tmp_path: Path) -> None:
    path = tmp_path / "log.sqlite"
    Store(path).close()
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with Store(path) as store, pytest.raises(InputError, match="another program is writing"):
        store.add_state(T, "West", 0, "seen")
    other.execute("COMMIT")
    other.close()
