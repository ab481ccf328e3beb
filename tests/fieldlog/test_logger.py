"""Logger files in the forms people have. Expected numbers are worked out by hand from the cells, in SI and UTC."""

import gzip

import numpy as np
import pandas as pd
import pytest

from microclimate.errors import InputError
from microclimate.fieldlog import logger, mapping
from microclimate.fieldlog.logger import Proposal, Series, Taken
from microclimate.fieldlog.sheet import sheet

ZONES = ("North goal", "South goal left")
NEW_YORK = {"time_zone": "America/New_York", "us": True, "zones": ZONES}


def read(text: str | bytes, **more: object) -> tuple[Proposal, Taken]:
    content = text.encode() if isinstance(text, str) else text
    table = sheet(content, "log.csv")
    proposal = logger.propose(table, "log.csv", **{**NEW_YORK, **more})  # type: ignore[arg-type]
    return proposal, logger.take(table, proposal.mapping, "log.csv")


def only(taken: Taken) -> Series:
    (series,) = taken.series
    return series


def utc(series: Series) -> list[str]:
    return [str(t)[:16] for t in series.times]


def test_decimal_comma_bom_two_header_lines_and_a_date_apart_from_its_clock() -> None:
    text = "\ufeffDate;Time;North goal T 25 mm;North goal T 100 mm\n;;°C;°F\n"
    text += "05.01.2026;18:30;1,5;41,0\n05.01.2026;19:30;\u22120,5;\n"
    proposal, taken = read(text)
    shallow, deep = taken.series
    assert utc(shallow) == ["2026-01-05T23:30", "2026-01-06T00:30"]
    np.testing.assert_allclose(shallow.values, [274.65, 272.65])
    np.testing.assert_allclose(deep.values, [278.15])
    assert (shallow.column.zone, shallow.column.depth, deep.column.depth) == ("North goal", 0.025, 0.1)
    assert {"decimal_comma", "unit_line"} <= set(proposal.codes)


def test_depth_in_inches_scale_in_the_heading_and_offset_in_the_heading() -> None:
    text = 'Plot Title: North\n"#","Date Time, GMT-05:00","Soil 4in Temp, °F (LGR S/N: 1)"\n'
    text += "1,01/25/26 12:00:00 AM,41.0\n2,01/25/26 12:15:00 PM,50.0\n"
    proposal, taken = read(text)
    one = only(taken)
    assert utc(one) == ["2026-01-25T05:00", "2026-01-25T17:15"]  # 12 AM is midnight, 12 PM is noon
    np.testing.assert_allclose(one.values, [278.15, 283.15])
    assert one.column.depth == pytest.approx(0.1016)
    assert "zone_in_heading=UTC-05:00" in proposal.codes
    assert proposal.left == (("#", "not known"),)


def test_four_header_lines_of_a_station_logger() -> None:
    text = (
        '"TOA5","station","logger","1"\n"TIMESTAMP","RECORD","Soil 1in","Air"\n'
        '"TS","RN","Deg C","Deg C"\n"","","Avg","Avg"\n'
        '"2026-01-05 00:00:00",1,3.2,-1.0\n"2026-01-05 00:15:00",2,"NAN",-1.5\n"2026-01-05 00:30:00",3,-7999,-2.0\n'
    )
    _, taken = read(text)
    soil, air = taken.series
    np.testing.assert_allclose(soil.values, [276.35])
    np.testing.assert_allclose(air.values, [272.15, 271.65, 271.15])
    assert soil.lines.tolist() == [5]
    assert taken.interval == 900.0
    assert not taken.rejected  # a sentinel is no fault


def test_scales_in_the_cells_and_both_in_one_column() -> None:
    _, taken = read(
        "time,soil 1in\n2026-01-05 16:30,41F\n2026-01-05 17:30,5.0 C\n2026-01-05 18:30,50 °F\n2026-01-05 19:30,7 mph\n"
    )
    np.testing.assert_allclose(only(taken).values, [278.15, 278.15, 283.15])
    ((line, why),) = taken.rejected
    assert line == 5
    assert "no unit of temperature" in why


def test_a_logger_set_from_fahrenheit_to_celsius_midway() -> None:
    cells = [41.0, 41.2, 41.1, 5.1, 5.2, 5.0, 5.1]
    rows = "".join(f"2026-01-05 {10 + k}:00,{cell}\n" for k, cell in enumerate(cells))
    _, taken = read("time,soil 1in [degF]\n" + rows)
    warm = [(c - 32) / 1.8 if c > 20 else c for c in cells]
    np.testing.assert_allclose(only(taken).values, np.array(warm) + 273.15)
    assert "unit_switch=soil 1in [degF]|5|degC" in taken.codes


def test_a_sudden_frost_is_no_change_of_scale() -> None:
    rows = "".join(f"2026-01-05 {10 + k}:00,{cell}\n" for k, cell in enumerate([9.0, 9.1, 9.0, 0.5, 0.2, 0.0, -0.2]))
    _, taken = read("time,surface [degC]\n" + rows)
    assert only(taken).values.min() == pytest.approx(272.95)
    assert not any(code.startswith("unit_switch") for code in taken.codes)


@pytest.mark.parametrize(
    ("cells", "us", "unit"),
    [
        ([33.0, 41.0, 52.0], False, "degF"),  # 52 degC is no winter soil
        ([-3.0, 0.5, 1.0], True, "degC"),  # -3 degF is no soil under turf
        ([274.1, 275.0, 276.0], True, "K"),
        ([10.0, 12.0, 14.0], False, "degC"),  # both could be: the venue's own
        ([33.0, 34.0, 35.0], True, "degF"),
    ],
)
def test_a_scale_that_nobody_names(cells: list[float], us: bool, unit: str) -> None:
    rows = "".join(f"2026-01-05 {10 + k}:00,{cell}\n" for k, cell in enumerate(cells))
    proposal, _ = read("time,soil 1in\n" + rows, us=us)
    assert proposal.mapping.columns[0].unit == unit
    assert any(code.startswith(f"scale=soil 1in|{unit}|") for code in proposal.codes)


def test_sentinels_and_the_value_a_probe_starts_with() -> None:
    cells = ["4.0", "4.1", "85.0", "-999", "4.2", "-127", "NAN", "4.3", "99.99"]
    rows = "".join(f"2026-01-05 {10 + k}:00,{cell}\n" for k, cell in enumerate(cells))
    _, taken = read("time,soil 1in [degC]\n" + rows)
    np.testing.assert_allclose(only(taken).values, np.array([4.0, 4.1, 4.2, 4.3]) + 273.15)
    assert "sentinel=soil 1in [degC]|4" in taken.codes


@pytest.mark.parametrize(
    ("clocks", "stamps"),
    [
        (
            ["12:30 AM", "1:00 AM", "1:30 AM", "1:00 AM", "1:30 AM", "2:00 AM"],
            ["04:30", "05:00", "05:30", "06:00", "06:30", "07:00"],
        ),
        (
            ["12:30 AM", "1:00 AM", "1:30 AM", "2:00 AM", "2:30 AM"],
            ["04:30", "05:00", "05:30", "06:00", "06:30"],
        ),  # never turned
    ],
)
def test_the_doubled_hour(clocks: list[str], stamps: list[str]) -> None:
    rows = "".join(f"11/1/2026 {clock},{40 + k}\n" for k, clock in enumerate(clocks))
    _, taken = read("time,soil 1in [degF]\n7/13/2026 1:00 AM,40\n" + rows)  # set in summer
    assert utc(only(taken))[1:] == [f"2026-11-01T{stamp}" for stamp in stamps]
    assert not taken.rejected


def test_a_lone_row_in_the_doubled_hour_is_named_and_left() -> None:
    rows = "11/13/2025 1:00 AM,40\n10/31/2026 11:00 PM,40\n11/1/2026 1:30 AM,40\n11/1/2026 5:00 AM,40\n"
    _, taken = read("time,soil 1in [degF]\n" + rows)
    assert only(taken).times.size == 3
    assert taken.rejected[0][0] == 4
    assert "skip or double" in taken.rejected[0][1]


@pytest.mark.parametrize(
    ("clocks", "stamps"),
    [
        (["1:00 AM", "1:30 AM", "3:00 AM", "3:30 AM"], ["06:00", "06:30", "07:00", "07:30"]),
        (["1:00 AM", "1:30 AM", "2:00 AM", "2:30 AM"], ["06:00", "06:30", "07:00", "07:30"]),  # standard time all year
    ],
)
def test_the_missing_hour(clocks: list[str], stamps: list[str]) -> None:
    rows = "".join(f"3/8/2026 {clock},{40 + k}\n" for k, clock in enumerate(clocks))
    proposal, taken = read("time,soil 1in [degF]\n1/13/2026 1:00 AM,40\n" + rows)
    assert utc(only(taken))[1:] == [f"2026-03-08T{stamp}" for stamp in stamps]
    assert ("fixed_clock=UTC-05:00" in proposal.codes) == ("2:00 AM" in clocks)


@pytest.mark.parametrize(
    ("dates", "us", "first", "code"),
    [
        (["05/01/2026", "06/01/2026", "13/01/2026"], True, "2026-01-05", "day_first"),
        (["01/05/2026", "01/06/2026", "01/13/2026"], False, "2026-01-05", "month_first"),
        (
            ["05/01/2026", "06/01/2026", "07/01/2026", "08/01/2026"],
            True,
            "2026-01-05",
            "day_first",
        ),  # daily, not monthly
        (["05/01/2026"], True, "2026-05-01", "month_first=assumed"),
        (["05/01/2026"], False, "2026-01-05", "day_first=assumed"),
        (["05.01.2026"], True, "2026-01-05", ""),  # dots: the day comes first
        (["5-Jan-26"], True, "2026-01-05", "two_digit_years"),
        (["20260105"], True, "2026-01-05", ""),
    ],
)
def test_day_and_month(dates: list[str], us: bool, first: str, code: str) -> None:
    rows = "".join(f"{date} 12:00,4\n{date} 13:00,4\n" for date in dates)
    proposal, taken = read("time,soil 1in [degC]\n" + rows, us=us)
    assert utc(only(taken))[0][:10] == first
    assert not code or code in proposal.codes


def test_days_of_a_spreadsheet_and_seconds_of_a_computer() -> None:
    # 46027 days after 1899-12-30 is 2026-01-05; 1767571200 s is 2026-01-05T00:00Z
    _, taken = read("46027.5,33.1\n46027.75,33.2\n", sensors=["2 = soil @ 4 in @ North goal [degF]"])
    assert utc(only(taken)) == ["2026-01-05T17:00", "2026-01-05T23:00"]
    _, taken = read("time,soil 1in [degC]\n1767571200,1\n1767574800,1\n")
    assert utc(only(taken)) == ["2026-01-05T00:00", "2026-01-05T01:00"]


def test_a_meter_that_starts_again() -> None:
    rows = "".join(f"2026-01-05 {10 + k}:00,{kwh}\n" for k, kwh in enumerate([100, 112, 130, 3, 9]))
    _, taken = read("time,energy kWh\n" + rows)
    np.testing.assert_allclose(only(taken).values / 3.6e6, [12, 18, 3, 6])
    assert "counter=energy kWh|1" in taken.codes


def test_rain_by_the_hour_is_no_meter() -> None:
    rows = "".join(f"2026-01-05 {10 + k}:00,{mm}\n" for k, mm in enumerate([0, 0.2, 0.5, 0, 0, 1.2, 0]))
    _, taken = read("time,rain [mm]\n" + rows)
    np.testing.assert_allclose(only(taken).values * 1000, [0, 0.2, 0.5, 0, 0, 1.2, 0])


def test_the_stamp_becomes_the_end_of_its_interval() -> None:
    rows = "2026-01-05 10:00,1\n2026-01-05 11:00,1\n"
    _, taken = read("time,soil 1in [degC]\n" + rows, stamp="start")
    assert utc(only(taken)) == ["2026-01-05T16:00", "2026-01-05T17:00"]


def test_a_half_good_file_gives_its_good_rows_and_names_the_others() -> None:
    text = (
        b"time,T 25 mm (\xb0C)\n2026-01-05 00:00,1\n2026-01-05 01:00,1\nyesterday,2\n2026-01-05 02:00,1,,\n"
        b"2026-01-05 03:00\n2026-13-05 02:00,3\n2026-01-05 04:00,warm\n2026-01-05 05:00,200\n2026-01-05 01:00,7\n"
    )
    proposal, taken = read(text)
    np.testing.assert_allclose(only(taken).values, [274.15] * 3)
    assert only(taken).lines.tolist() == [2, 3, 5]
    assert [line for line, _ in taken.rejected] == [4, 6, 7, 8, 9, 10]
    words = [why for _, why in taken.rejected]
    for word, part in zip(
        words, ["cannot be read", "1 cells", "cannot be read", "no number", "outside", "a second value"], strict=True
    ):
        assert part in word
    assert "encoding=cp1252" in proposal.codes
    assert taken.rows == 9


def test_columns_that_nobody_knows_are_left_alone_and_named() -> None:
    proposal, _ = read("time,soil 1in [degC],soil,Battery V,soil 2in [mph]\n2026-01-05 00:00,1,1,3,3\n")
    assert dict(proposal.left)["soil"] == "no depth"
    assert dict(proposal.left)["Battery V"] == "not known"
    assert "does not fit" in dict(proposal.left)["soil 2in [mph]"]


def test_what_is_told_counts_and_nothing_else_is_guessed() -> None:
    sensors = ["P7 = soil_temperature @ 50 mm @ South goal left [degF]"]
    proposal, taken = read("time,P7,soil 1in [degC]\n2026-01-05 00:00,41,1\n", sensors=sensors)
    one = only(taken)
    assert (one.column.name, one.column.depth, one.column.zone) == ("P7", 0.05, "South goal left")
    assert one.values[0] == pytest.approx(278.15)
    assert proposal.left == (("soil 1in [degC]", "not asked for"),)


@pytest.mark.parametrize(
    ("text", "more", "words"),
    [
        ("", {}, "holds no rows"),
        ("PK\x03\x04rest", {}, "is a spreadsheet"),
        ("a\x00b", {}, "is no text"),
        ("one,two\nthree,four\n", {}, "no row with a time and a number"),
        ("time,note\n2026-01-05 00:00,1\n", {}, "no column is known"),
        ("time,soil_temperature @ 25 mm @ Nort goal [degC]\n2026-01-05 00:00,1\n", {}, "did you mean 'North goal'"),
        ("time,soil_temperature [degC]\n2026-01-05 00:00,1\n", {}, "no depth"),
        ("time,wind\n2026-01-05 00:00,1\n", {}, "no unit"),
        ("time,soil 1in\n2026-01-05 00:00,1\n", {"time_zone": ""}, "add --timezone"),
        ("time,T1\n2026-01-05 00:00,1\n", {"sensors": ["T1 soil"]}, "no equals sign"),
        ("time,T1\n2026-01-05 00:00,1\n", {"sensors": ["T2 = soil @ 1 in"]}, "did you mean 'T1'"),
        (
            "time,T1\n2026-01-05 00:00,1\n",
            {"sensors": ["T1 = soul_temperature @ 1 in"]},
            "did you mean soil_temperature",
        ),
        ("time,T1\n2026-01-05 00:00,1\n", {"sensors": ["T1 = soil @ 1 in [mph]"]}, "is no temperature"),
        ("# issued: 2026-01-05\ntime,soil 1in [degC]\n2026-01-05 00:00,1\n", {}, "is a forecast"),
        ("time,soil 1in [degC]\n2026-01-05 00:00,hot\n2026-01-05 00:00,1000\n", {}, "not one row can be used"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_in_words(text: str, more: dict[str, object], words: str) -> None:
    with pytest.raises(InputError) as error:
        read(text, **more)
    assert words in str(error.value)


def test_a_mapping_reads_the_next_file_the_same_way(tmp_path) -> None:
    text = "Datum;Uhrzeit;P1;Zähler\n05.01.2026;18:30;1,5;100\n05.01.2026;19:30;2,5;110\n05.01.2026;20:30;2,5;120\n"
    sensors = ["P1 = soil @ 25 mm @ North goal [degC]", "Zähler = heating_energy [kWh]"]
    proposal, taken = read(text, sensors=sensors, time_zone="Europe/Vienna")
    (tmp_path / "probe.toml").write_text(proposal.mapping.text(), encoding="utf-8")
    again = mapping.load(tmp_path / "probe.toml")
    assert again == proposal.mapping
    table = sheet(text.encode(), "next.csv", delimiter=again.delimiter, decimal=again.decimal)
    second = logger.take(table, again, "next.csv")
    for one, other in zip(taken.series, second.series, strict=True):
        assert one.column == other.column
        np.testing.assert_array_equal(one.values, other.values)
        np.testing.assert_array_equal(one.times, other.times)
    with pytest.raises(InputError, match="no column 'P1'"):
        logger.take(sheet(b"time,other\n2026-01-05 00:00,1\n", "x.csv"), again, "x.csv")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("format = 9\n", "format 9"),
        ("time = []\n", "no [[sensor]]"),
        ("surprise = 1\n", "surprise is no setting"),
        ('time_zone = "Middle/Earth"\n', "not known"),
        ("this is no toml", "cannot be read"),
        ('time=["t"]\n[[sensor]]\ncolumn="a"\nquantity="warmth"\nunit="degC"\n', "quantity"),
        ('time=["t"]\n[[sensor]]\ncolumn="a"\nquantity="soil_temperature"\nunit="mph"\n', "a unit of temperature"),
        ('time=["t"]\nsensor=5\n', "no [[sensor]]"),
    ],
)
def test_a_mapping_that_is_wrong_is_refused_in_words(tmp_path, text: str, words: str) -> None:
    path = tmp_path / "m.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as error:
        mapping.load(path)
    assert words in str(error.value)


def test_a_packed_file_and_an_even_delimiter() -> None:
    text = "# logger 7\ntime|soil 1in [degC]|note\n2026-01-05 00:00|1.5|a, b; c\n2026-01-05 01:00|1.5|\n"
    _, taken = read(gzip.compress(text.encode()))
    np.testing.assert_allclose(only(taken).values, [274.65, 274.65])
    assert only(taken).lines.tolist() == [3, 4]


def test_a_whole_year_of_a_zone_with_summer_time_comes_back_as_it_went_out() -> None:
    """Closed form: an even UTC series written on the zone's clock and read again."""
    stamps = pd.date_range("2025-07-01", "2026-07-01", freq="30min")
    written = stamps.tz_localize("UTC").tz_convert("America/New_York").strftime("%m/%d/%Y %I:%M %p")
    text = "time,soil 1in [degC]\n" + "".join(f"{stamp},{k % 7}\n" for k, stamp in enumerate(written))
    _, taken = read(text)
    np.testing.assert_array_equal(only(taken).times, stamps.to_numpy().astype("datetime64[ns]"))
    assert not taken.rejected
