"""The report of a run from end to end: words, page, table; units, limits, cautions, and bad input."""

import csv
import io
import sys
from pathlib import Path

import pytest

from microclimate.errors import InputError
from microclimate.sizing import options as opt
from microclimate.workflow.sizing import Question, sizing

sys.path.insert(0, str(Path(__file__).parent))
import lawn

EVENTS = """
[[event]]
name = "winter cup"
start = 2025-12-12T18:00:00
end = 20:00:00
"""


def _ran(folder: Path, text: str = lawn.TEXT, **asked: object) -> tuple[str, str, list[dict[str, str]]]:
    (folder / "lawn.toml").write_text(text, encoding="utf-8")
    (folder / "events.toml").write_text(EVENTS, encoding="utf-8")
    record = lawn.record(folder / "record.csv", years=2)
    grid = opt.Asked(power="60, 120", lead="24 h", policy=(opt.FROST, opt.LED))
    question = Question(
        folder / "events.toml", "12-01/12-30", grid=grid, out=folder / "out", **{"target": "90 %"} | asked
    )
    words = sizing(folder / "lawn.toml", [record], question)
    page = (folder / "out" / "sizing.html").read_text(encoding="utf-8")
    table = list(csv.DictReader(io.StringIO((folder / "out" / "sizing.csv").read_text(encoding="utf-8"))))
    return words, page, table


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, str, list[dict[str, str]]]:
    return _ran(tmp_path_factory.mktemp("metric"))


@pytest.mark.slow
def test_words_name_the_smallest_system_its_share_and_the_published_band(ran) -> None:  # type: ignore[no-untyped-def]
    words, _, _ = ran
    plain = " ".join(words.split())
    assert "90 % of event windows" in plain
    assert "smallest system tried" in plain or "No option tried" in plain
    for part in ("Installed W/m² is", "licensed engineers", "glycol", "What it hangs on", "Circuits at full load"):
        assert part in plain
    assert "fuel and current 25 % dearer" in plain.lower()
    assert "t of CO2 a season" in plain or "no heat" in plain
    for verdict in (" safe", "playable", "unplayable"):
        assert verdict not in plain.lower()


@pytest.mark.slow
def test_the_page_stands_alone_and_holds_its_figures(ran) -> None:  # type: ignore[no-untyped-def]
    _, page, _ = ran
    assert page.count("<svg") == 4
    assert "http://" not in page.replace("http://www.w3.org", "")
    assert "src=" not in page
    assert page.count("<tr") > 5


@pytest.mark.slow
def test_the_table_has_every_option_and_never_mixes_powers(ran) -> None:  # type: ignore[no-untyped-def]
    _, _, table = ran
    assert len(table) == (1 + 2 * 2) * 2
    for row in table:
        installed, mean, highest = (float(row[f"{key} [W/m2]"]) for key in ("installed", "mean power", "highest power"))
        assert mean <= highest <= installed + 1e-3
        assert 0.0 <= float(row["held low [1]"]) <= float(row["held [1]"]) <= float(row["held high [1]"]) <= 1.0
    # cost: gas at 0.10 per kWh and 90 %, and crew of 4 for half an hour each way at 30
    row = next(r for r in table if r["policy"] == "frost hold" and r["cover"] and float(r["installed [W/m2]"]) == 120)
    wanted = float(row["heat [kWh]"]) / 0.9 * 0.10 + float(row["cover laid"]) * 2 * 4 * 0.5 * 30
    assert float(row["cost [EUR]"]) == pytest.approx(wanted, rel=1e-4)


@pytest.mark.slow
def test_american_units_reach_every_number(tmp_path: Path) -> None:
    text = lawn.TEXT.replace('units = "metric"', 'units = "US"').replace("energy = 0.10", 'energy = "1.20 per therm"')
    words, page, table = _ran(tmp_path, text)
    for shown in (words, page):
        assert "°F" in shown
        assert "°C" not in shown
        assert " mm" not in shown
    assert "gpm" in words
    assert "MBtu/h" in words
    assert "therm" in words
    assert "depth [in]" in table[0]


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"target": "often"}, "--target"),
        ({"target": "250 %"}, "--target"),
        ({"season": "winter"}, "--season"),
        ({"season": "12-01/12-03"}, "7 to 300 days"),
        ({"season": "01-05/02-28"}, "outside the season"),
        ({"grid": opt.Asked(depth="3 m")}, "--depth"),
    ],
)
def test_bad_questions_are_refused_in_words(tmp_path: Path, asked: dict[str, object], words: str) -> None:
    (tmp_path / "lawn.toml").write_text(lawn.TEXT, encoding="utf-8")
    (tmp_path / "events.toml").write_text(EVENTS, encoding="utf-8")
    record = lawn.record(tmp_path / "record.csv", years=2)
    question = Question(tmp_path / "events.toml", **asked)  # type: ignore[arg-type]
    with pytest.raises(InputError, match=words):
        sizing(tmp_path / "lawn.toml", [record], question)


def test_a_grid_too_large_is_refused_with_what_it_would_take(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(opt, "MOST_MINUTES", 0.01)  # a grid that takes half an hour is slow to write down, too
    (tmp_path / "lawn.toml").write_text(lawn.TEXT, encoding="utf-8")
    record = lawn.record(tmp_path / "record.csv", years=2)
    question = Question(season="12-01/02-28", grid=opt.Asked(power="60, 90, 120 W/m2", depth="100, 150, 200 mm"))
    with pytest.raises(InputError, match=r"options over 2 winters take about \d+ min .* GB .*--yes"):
        sizing(tmp_path / "lawn.toml", [record], question)


def test_every_climate_that_fails_is_named(tmp_path: Path) -> None:
    (tmp_path / "lawn.toml").write_text(lawn.TEXT, encoding="utf-8")
    mild = lawn.record(tmp_path / "mild.csv", years=2, cold=19.0)
    with pytest.raises(InputError, match=r"(?s)mild\.csv.*none\.csv"):
        sizing(tmp_path / "lawn.toml", [mild, tmp_path / "none.csv"], Question())
