"""`microclimate fieldlog`: readings into the venue's log and out of it again."""

from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from microclimate.errors import refuse
from microclimate.fieldlog import clock, export, logger, mapping, quality, sheet, spots
from microclimate.fieldlog.logger import Taken
from microclimate.fieldlog.mapping import Mapping, Stamp
from microclimate.fieldlog.quality import Place
from microclimate.fieldlog.store import Store
from microclimate.report import words_fieldlog as words
from microclimate.units import Shown
from microclimate.workflow import files

Say = Callable[[str], None]
Ask = Callable[[str], bool]
MOST_BYTES = 400_000_000  # of one file; ours


def add(
    path: Path,
    *,
    venue_path: Path | None = None,
    sensors: Sequence[str] = (),
    mapping_path: Path | None = None,
    timezone: str | None = None,
    stamp: Stamp = "end",
    log: Path | None = None,
    ask: Ask | None = None,
    say: Say = lambda text: None,
) -> str:
    """Read a logger's file, or a sheet of readings by hand, into the log; nothing is stored before a yes.

    Parameters
    ----------
    path : Path
    venue_path : Path, optional
        Gives zones, time zone, units, and the log beside it.
    sensors : sequence of str
        "HEADING = soil_temperature @ 25 mm @ ZONE [degF]".
    mapping_path : Path, optional
        Used when it is there, written after a yes when it is not.
    timezone : str, optional
        Of stamps without an offset; else the venue's.
    stamp : {"start", "end", "centre"}
        Part of its interval that a stamp names.
    log : Path, optional
        Else `fieldlog.db` beside the venue, or in this folder.
    ask : callable, optional
        Puts the question after what was shown; None is a yes.
    say : callable
        Is shown what was read.

    Raises
    ------
    InputError
        Everything that keeps the file from being read.
    """
    venue = None if venue_path is None else files.described(venue_path)
    shown = Shown() if venue is None else venue.shown
    zones = [] if venue is None else [zone.name for zone in venue.field.zones]
    content = _content(path)
    known = mapping.load(mapping_path) if mapping_path is not None and mapping_path.exists() else None
    marks = {} if known is None else {"delimiter": known.delimiter, "decimal": known.decimal}
    table = sheet.sheet(content, path.name, **marks)
    log = files.log(venue_path, log)
    zone = timezone or (shown.time_zone if venue is not None else "")
    if known is None and not sensors and spots.recognises(table.headings):
        if not zone:
            raise refuse(path.name, "a sheet of readings by hand", "a time zone", "add --venue or --timezone")
        return _add_spots(path, content, spots.read(table, zone, zones, path.name), shown, log, ask, say)
    codes: tuple[str, ...] = ()
    left: tuple[tuple[str, str], ...] = ()
    if known is None:
        found = logger.propose(
            table, path.name, sensors=sensors, zones=zones, us=shown.system == "US", time_zone=zone, stamp=stamp
        )
        known, codes, left = found.mapping, found.codes, found.left
    if venue is None:
        shown = Shown(shown.system, shown.clock, _named_zone(known))
    taken = logger.take(table, known, path.name)
    series = [s for s in taken.series if s.times.size]
    codes = (*codes, *taken.codes, *_swapped(taken))
    say(_looked(path.name, taken, known, codes, left, shown))
    if ask is not None and not ask(f"Add these {sum(s.times.size for s in series):,} readings to {log}?"):
        return "Nothing was added.\n"
    with Store(log) as store:
        kept = known.text()
        source = store.source(path.name, content, _now(), mapping=kept, keep=True)
        new = other = 0
        for one in series:
            c = one.column
            other += store.differing(c.name, c.quantity, c.zone, c.depth, one.times, one.values)
            new += store.add_series(c.name, c.quantity, one.times, one.values, source, c.zone, c.depth, lines=one.lines)
        store.add_rejected(source, taken.rejected)
    written = ""
    if mapping_path is not None and not mapping_path.exists():
        files.write_text(kept, mapping_path)
        written = str(mapping_path)
    total = sum(s.times.size for s in series)
    return words.added(new, total - new, other, 0, str(log), written)


def _content(path: Path) -> bytes:
    try:
        if path.stat().st_size > MOST_BYTES:
            raise refuse(path.name, f"{path.stat().st_size / 1e6:.0f} MB", f"at most {MOST_BYTES / 1e6:.0f} MB")
        return path.read_bytes()
    except OSError as error:
        raise refuse(
            str(path), f"cannot be read ({error.strerror})", "a logger's file, or a sheet of readings"
        ) from None


def _now() -> np.datetime64:
    return np.datetime64(datetime.now(UTC).replace(tzinfo=None), "s")


def _named_zone(known: Mapping) -> str:
    """A zone by its name; stamps of a fixed offset are told in UTC."""
    return known.clock.zone if "/" in known.clock.zone else "UTC"


def _looked(
    name: str,
    taken: Taken,
    known: Mapping,
    codes: Sequence[str],
    left: Sequence[tuple[str, str]],
    shown: Shown,
) -> str:
    places = {c.column: words.place(c.zone, c.depth, c.quantity, shown) for c in known.columns}
    series = [s for s in taken.series if s.times.size]
    span = min(s.times[0] for s in series), max(s.times[-1] for s in series)
    longest = max(series, key=lambda s: s.times.size)
    rows = sorted({0, longest.times.size // 2, longest.times.size - 1})
    three = []
    for row in rows:
        line = int(longest.lines[row])
        cells = [
            (places[s.column.column], words.value(float(s.values[at[0]]), s.column.quantity, shown))
            for s in series
            if (at := np.flatnonzero(s.lines == line)).size
        ]
        three.append((line, longest.times[row], cells))
    columns = [(c.column, places[c.column], c.unit) for c in known.columns]
    assumptions = words.assumed(codes, places)
    return words.looked(
        name, taken.rows, span, taken.interval, columns, assumptions, left, three, taken.rejected, shown
    )


def _swapped(taken: Taken) -> list[str]:
    """Probes that look swapped, before they are stored."""
    places = {
        k: (Place(s.column.name, s.column.quantity, s.column.zone, s.column.depth), s.times, s.values)
        for k, s in enumerate(taken.series)
        if s.times.size
    }
    named = [f.sensor for f in quality.pairs(places) if f.reason == "swapped"]
    return [
        f"swapped={taken.series[a].column.name}|{taken.series[b].column.name}"
        for a, b in zip(named[::2], named[1::2], strict=False)
    ]


def _add_spots(
    path: Path, content: bytes, found: spots.Read, shown: Shown, log: Path, ask: Ask | None, say: Say
) -> str:
    """A sheet by hand, row by row."""
    by_line: dict[int, list[tuple[str, str]]] = {}
    times: dict[int, np.datetime64] = {}
    for one in found.readings:
        cell = (words.place(one.zone, one.depth, one.quantity, shown), words.value(one.value, one.quantity, shown))
        by_line.setdefault(one.line, []).append(cell)
        times.setdefault(one.line, one.time)
    lines = sorted(by_line)
    three = (
        [(line, times[line], by_line[line]) for line in sorted({lines[0], lines[len(lines) // 2], lines[-1]})]
        if lines
        else []
    )
    stamps = [*times.values(), *(state[0] for state in found.states)]
    assumptions = words.assumed(found.codes, {})
    say(
        words.looked(
            path.name, found.rows, (min(stamps), max(stamps)), np.nan, [], assumptions, [], three, found.rejected, shown
        )
    )
    count = len(found.readings) + len(found.states)
    if ask is not None and not ask(f"Add these {count:,} readings to {log}?"):
        return "Nothing was added.\n"
    with Store(log) as store:
        source = store.source(path.name, content, _now(), "by hand", mapping=f"sheet {shown.time_zone}", keep=True)
        new = store.add_readings(found.readings, source)
        states = sum(
            store.add_state(time, zone, int(state), "seen", who, note) for time, zone, state, who, note in found.states
        )
        store.add_rejected(source, found.rejected)
    return words.added(new, len(found.readings) - new, 0, states, str(log), "")


def exported(out: Path, *, venue_path: Path | None = None, log: Path | None = None) -> str:
    """Write the log for other programs: a folder gets everything, a file ending in .csv or .nc the readings.

    Raises
    ------
    InputError
        There is no log, or nothing can be written there.
    """
    shown = Shown() if venue_path is None else files.described(venue_path).shown
    written: list[Path] = []
    with _opened(venue_path, log) as store:
        try:
            if out.suffix.lower() in (".csv", ".nc"):
                if not out.resolve().parent.is_dir():
                    raise refuse(str(out), "its folder does not exist", "a folder that can be written")
                written.append(out)
            else:
                files.folder(out)
                written += [out / "readings.csv", out / "readings.nc"]
                for name, frame in export.others(store):
                    files.write_text(frame.to_csv(index=False, lineterminator="\n"), out / f"{name}.csv")
                    written.append(out / f"{name}.csv")
            for path in written[:2]:
                if path.suffix.lower() == ".csv" and path.stem not in export.TABLES:
                    files.write_text(export.table(store, shown).to_csv(index=False, lineterminator="\n"), path)
                elif path.suffix.lower() == ".nc":
                    with files.whole(path) as temporary:
                        export.netcdf(store, temporary)
        except OSError as error:
            raise refuse(str(out), f"cannot be written ({error.strerror})", "a folder that can be written") from None
        return words.exported(store.count("reading"), [str(path) for path in written])


def listed(*, venue_path: Path | None = None, log: Path | None = None) -> str:
    """What the log holds: sensors with their span and count, files with their number, counts of the rest."""
    shown = Shown() if venue_path is None else files.described(venue_path).shown
    with _opened(venue_path, log) as store:
        sensors = []
        for sensor in store.sensors():
            count, flagged = store.counts(sensor.number)
            where = words.place(sensor.zone, sensor.depth, sensor.quantity, shown)
            sensors.append((where, sensor.name, count, flagged, sensor.first, sensor.last))
        sources = [
            (int(row["id"]), str(row["name"]), np.datetime64(int(row["added"]), "s")) for row in store.rows("source")
        ]
        counts = {name: store.count(name) for name in ("told", "advice", "action", "observed_state", "note")}
        return words.listed(str(store.path), sensors, sources, counts, shown)


def noted(
    text: str,
    *,
    about: str = "",
    time: str | None = None,
    who: str = "",
    venue_path: Path | None = None,
    log: Path | None = None,
) -> str:
    """Add a note on a sensor, a zone or a night."""
    zone = "UTC" if venue_path is None else files.described(venue_path).shown.time_zone
    moment = _now() if time is None else clock.moment(time, zone, before=_now(), where="--time")
    with Store(files.log(venue_path, log)) as store:
        return "Noted.\n" if store.add_note(moment, about, text, who) else "It was noted already.\n"


def withdrawn(source: int, reason: str, *, venue_path: Path | None = None, log: Path | None = None) -> str:
    """Flag every reading of one file: it was read wrongly, or should not have been added."""
    with _opened(venue_path, log) as store:
        if source not in {int(row["id"]) for row in store.rows("source")}:
            raise refuse("fieldlog withdraw", f"no file has number {source}", "a number that `fieldlog list` shows")
        return words.withdrawn(store.withdraw(source, reason))


def lifted(
    name: str,
    note: str,
    *,
    check: str | None = None,
    start: str | None = None,
    end: str | None = None,
    who: str = "",
    venue_path: Path | None = None,
    log: Path | None = None,
) -> str:
    """Let flagged readings of a sensor count again, with the reason beside their flags.

    Raises
    ------
    InputError
        There is no such log, sensor, check or time; the note is empty.
    """
    where = "fieldlog lift"
    shown = Shown() if venue_path is None else files.described(venue_path).shown
    zone = "UTC" if venue_path is None else shown.time_zone
    if not note.strip():
        raise refuse(where, "an empty note", "why these readings are right", "add --note TEXT")
    if check is not None and check not in words.CHECKS:
        raise refuse(where, f"no check is called {check!r}", ", ".join(words.CHECKS))
    span = [
        None if text is None else clock.moment(text, zone, before=_now(), where=option)
        for text, option in ((start, "--from"), (end, "--to"))
    ]
    if span[0] is not None and span[1] is not None and span[0] > span[1]:
        raise refuse(where, f"--from {start} is after --to {end}", "a span of time", "change the two")
    with _opened(venue_path, log) as store:
        called = [(s.number, s.name, words.place(s.zone, s.depth, s.quantity, shown)) for s in store.sensors()]
        numbers = [number for number, *names in called if name in names]
        if not numbers:
            known = list(dict.fromkeys(place if "@" in own else own for _, own, place in called))
            raise refuse(where, f"no sensor is called {name!r}", "one of " + "; ".join(known[:12]))
        count = sum(
            store.lift(number, _now(), note, check=check, start=span[0], end=span[1], who=who) for number in numbers
        )
    return words.lifted(count)


def _opened(venue_path: Path | None, log: Path | None) -> Store:
    path = files.log(venue_path, log)
    if not path.exists():
        raise refuse(str(path), "there is no field log", "one that `fieldlog add` began", "add --log or --venue")
    return Store(path)
