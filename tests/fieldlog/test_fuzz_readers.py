"""No file ends in a traceback: whatever stands in it is read or refused in words. 2,000 examples in all."""

import contextlib

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from microclimate.errors import InputError
from microclimate.fieldlog import logger, mapping, spots
from microclimate.fieldlog.sheet import sheet

ZONES = ("North goal", "South goal left")
CELLS = st.sampled_from(
    [
        "1.5",
        "1,5",
        "-999",
        "41F",
        "NAN",
        "",
        "85.0",
        "x",
        "\u22120.5",
        "1e5",
        "9" * 400,
        "nan",
        "inf",
        '"',
        "yes",
        "18 %",
    ]
)
STAMPS = st.sampled_from(
    [
        "2026-01-05 00:00",
        "2026-01-05T01:00Z",
        "1/5/2026 1:00 AM",
        "05.01.2026 02:00",
        "2026-11-01 01:30",
        "46027.5",
        "2026-03-08 02:30",
        "9999-99-99 99:99",
        "0001-01-01 00:00",
        "",
        "24:00",
        "5-Jan-26 03:00",
        "1767571200",
    ]
)
HEADS = st.sampled_from(
    [
        "time",
        "soil 1in",
        "soil_temperature @ 25 mm @ North goal [degC]",
        "Date",
        "T1 (°F)",
        "RH %",
        "energy kWh",
        "zone",
        "value",
        "depth",
        "wind [m/s]",
        "",
        "[",
        "infrared",
        "hardness",
        "takes a stud",
        "air",
        "state",
        "#",
        "utc",
    ]
)


def taken(content: bytes) -> None:
    """The whole way of a file, as `fieldlog add` takes it."""
    table = sheet(content, "f.csv")
    if spots.recognises(table.headings):
        found = spots.read(table, "America/New_York", ZONES, "f.csv")
        assert all(np.isfinite(one.value) for one in found.readings)
        return
    proposal = logger.propose(table, "f.csv", zones=ZONES, time_zone="America/New_York", us=True)
    got = logger.take(table, proposal.mapping, "f.csv")
    for series in got.series:
        assert np.isfinite(series.values).all()
        assert (np.diff(series.times) > np.timedelta64(0)).all()
        assert np.isin(series.lines, table.lines).all()


@settings(max_examples=700, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    st.lists(HEADS, min_size=1, max_size=5),
    st.lists(st.tuples(STAMPS, st.lists(CELLS, max_size=5)), max_size=8),
    st.sampled_from([",", ";", "\t"]),
)
def test_tables_of_likely_cells(heads: list[str], rows: list[tuple[str, list[str]]], mark: str) -> None:
    lines = [mark.join(["time", *heads]), *(mark.join([stamp, *cells]) for stamp, cells in rows)]
    with contextlib.suppress(InputError):
        taken("\n".join(lines).encode())


@settings(max_examples=500, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.binary(max_size=300))
def test_any_bytes(content: bytes) -> None:
    with contextlib.suppress(InputError):
        taken(content)


@settings(max_examples=500, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.text(alphabet=st.sampled_from('aT1590-.:/,;@[]"\n\t #°CF%Z'), max_size=160))
def test_any_text_after_good_headings(text: str) -> None:
    with contextlib.suppress(InputError):
        taken(b"time,soil_temperature @ 25 mm @ North goal [degC]\n2026-01-05 00:00,1\n" + text.encode())


@settings(max_examples=300, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    text=st.text(alphabet=st.sampled_from('time=[]"sensor\n#unit.quantity5{}'), max_size=120),
    key=st.sampled_from(["time", "layout", "delimiter", "stamp", "sensor", "time_zone", "decimal"]),
    value=st.sampled_from(['"x"', "5", "[1]", '["a"]', "{}", "true", '""', '[{column = "a", quantity = 5}]']),
)
def test_any_mapping(tmp_path_factory, text: str, key: str, value: str) -> None:
    path = tmp_path_factory.getbasetemp() / "mapping.toml"
    for content in (text, f"{key} = {value}\n", f"{key} = {value}\n{text}"):
        path.write_text(content, encoding="utf-8")
        with contextlib.suppress(InputError):
            mapping.load(path)
