"""Broken venue files: one clear line for each fault, with its table, number and cure."""

import re
import tomllib
from pathlib import Path

import pytest

from microclimate.errors import InputError
from microclimate.venue import load

WHOLE = """
format = 1
name = "Test ground"
units = "metric"
clock = 24
[site]
latitude = 50.0
longitude = 8.0
elevation = 100
time_zone = "Europe/Berlin"
[field]
length = 100
width = 60
bearing = 0
zone_rows = 1
zone_columns = 2
[turf]
species = "perennial ryegrass"
[[ground]]
build = "sand over gravel"
circuit = "all"
[[circuit]]
name = "all"
depth = 0.25
set_point = 3
[[stand]]
name = "East"
side = "right"
setback = 8
[[stand.tier]]
front_height = 1
tread = 0.8
riser = 0.4
rows = 10
[[stand]]
name = "West"
side = "left"
setback = 8
[[stand.tier]]
front_height = 1
tread = 0.8
riser = 0.4
rows = 10
[stand.roof]
depth = 8
height_front = 9
height_back = 9
[[cover]]
name = "sheet"
kind = "permeable"
[[event]]
name = "match"
start = 2026-01-21T19:30:00
end = 21:30:00
"""


def refused(content: str) -> list[str]:
    """The lines a file is refused with."""
    with pytest.raises(InputError) as caught:
        load.text(content)
    assert caught.value.exit_code == 2
    return [str(problem) for problem in caught.value.problems]


def test_the_whole_file_is_fine() -> None:
    assert [zone.name for zone in load.text(WHOLE).field.zones] == ["A1", "A2"]


CASES = tomllib.loads((Path(__file__).parent / "broken.toml").read_text(encoding="utf-8"))["case"]


@pytest.mark.parametrize("case", CASES, ids=[case["name"] for case in CASES])
def test_one_fault_one_line(case: dict[str, str]) -> None:
    assert WHOLE.count(case["old"]) >= 1
    lines = refused(WHOLE.replace(case["old"], case["new"], 1))
    assert len(lines) == 1, lines
    assert case["wanted"] in lines[0]
    assert lines[0].startswith("venue.toml: ")
    assert not re.search(r"pydantic|traceback|type=|input_value", lines[0], re.IGNORECASE)


def test_stands_that_meet_at_a_corner_are_seen() -> None:
    """A head stand 120 m wide and a side stand that runs 10 m past the corner share the ground between them."""
    longer = WHOLE.replace('side = "left"', 'side = "left"\nend = 60')
    lines = refused(longer.replace('side = "right"\nsetback = 8', 'side = "head"\nstart = -60\nend = 60\nsetback = 2'))
    assert lines == ["venue.toml: [[stand]] 2: overlaps [[stand]] 1 (East); move start, end or setback of one of them"]


def test_faults_of_settings_and_of_their_fit_are_told_together() -> None:
    """A key that does not exist, a number out of range, stands on each other and a far event, in one go."""
    broken = (
        WHOLE.replace("bearing = 0", "bering = 0")
        .replace('kind = "permeable"', 'kind = "permeable"\nminutes = -5')
        .replace('side = "right"', 'side = "left"')
        .replace("end = 21:30:00", "end = 2026-01-20T21:30:00")
    )
    lines = refused(broken)
    assert lines == [
        "venue.toml: [field]: bering is not a setting; did you mean bearing?",
        "venue.toml: [[cover]] 1: minutes must be 0..1440 min, got -5",
        "venue.toml: [[stand]] 2: overlaps [[stand]] 1 (East); move start, end or setback of one of them",
        "venue.toml: [[event]] 1: end must be later than start",
    ]


def test_numbers_are_those_of_the_file_when_a_table_before_is_broken() -> None:
    """The first stand is dropped for its riser; the overlap of the second and third still says 2 and 3."""
    third = WHOLE[WHOLE.index('[[stand]]\nname = "West"') : WHOLE.index("[[cover]]")].replace("West", "Other")
    broken = WHOLE.replace("[[cover]]", third + "[[cover]]").replace("riser = 0.4", "riser = 9", 1)
    lines = refused(broken)
    assert lines == [
        "venue.toml: [[stand]] 1, tier 1: riser must be 0.01..1.5 m, got 9",
        "venue.toml: [[stand]] 3: overlaps [[stand]] 2 (West); move start, end or setback of one of them",
    ]


def test_every_word_of_many_faults_is_printed_at_once() -> None:
    with pytest.raises(InputError, match="2 things to mend") as caught:
        load.text(WHOLE.replace("latitude = 50.0", "latitude = 95").replace("elevation = 100", 'elevation = "1 kg"'))
    assert str(caught.value).splitlines()[1:] == [
        "  - venue.toml: [site]: latitude must be -90..90 degree, got 95",
        "  - venue.toml: [site]: elevation must be a number of m, or text with a unit "
        "('kg' is no unit known here), got '1 kg'",
    ]


@pytest.mark.parametrize(
    ("raw", "wanted"),
    [
        (b"\xff\xfen\x00", "venue.toml: is saved as UTF-16; wanted UTF-8 text; save it again as UTF-8"),
        (b'format = 1\nname = "Stra\xdfe"', "venue.toml: byte 0xdf in line 2 is not UTF-8; wanted UTF-8 text"),
        (b"", "[site] is missing"),
        (b"\x00\x01", "venue.toml: line 1: "),
    ],
)
def test_files_that_are_no_text(tmp_path: Path, raw: bytes, wanted: str) -> None:
    path = tmp_path / "venue.toml"
    path.write_bytes(raw)
    with pytest.raises(InputError) as caught:
        load.venue(path)
    assert wanted in str(caught.value)


def test_a_missing_file_and_a_folder(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="there is no such file"):
        load.venue(tmp_path / "none.toml")
    with pytest.raises(InputError, match="cannot be read"):
        load.venue(tmp_path)


def test_a_calibration_of_another_venue(tmp_path: Path) -> None:
    (tmp_path / "venue.toml").write_text(WHOLE, encoding="utf-8")
    (tmp_path / "calibration.toml").write_text("[zone_wind_factor]\nA1 = 0.9\nB17 = 1.1\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load.venue(tmp_path / "venue.toml", tmp_path / "calibration.toml")
    assert [str(problem) for problem in caught.value.problems] == [
        "calibration.toml: [zone_wind_factor]: there is no zone 'B17'"
    ]


def test_a_calibration_is_carried(tmp_path: Path) -> None:
    (tmp_path / "venue.toml").write_text(WHOLE, encoding="utf-8")
    (tmp_path / "calibration.toml").write_text('wind_factor = 0.8\nair_offset = "-1.8 degF"\n', encoding="utf-8")
    learned = load.venue(tmp_path / "venue.toml", tmp_path / "calibration.toml").calibration
    assert learned.wind_factor == 0.8
    assert learned.air_offset == pytest.approx(-1.0)  # a difference: 1.8 degF = 1 K


def test_a_broken_calibration(tmp_path: Path) -> None:
    (tmp_path / "venue.toml").write_text(WHOLE, encoding="utf-8")
    (tmp_path / "calibration.toml").write_text("wind_facter = 0.8\nair_offset = 30\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load.venue(tmp_path / "venue.toml", tmp_path / "calibration.toml")
    assert [str(problem) for problem in caught.value.problems] == [
        "calibration.toml: air_offset must be -8..8 K, got 30",
        "calibration.toml: wind_facter is not a setting; did you mean wind_factor?",
    ]
