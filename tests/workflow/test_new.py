"""`microclimate new`: what is written can be checked at once, bad answers are asked again, no file is lost."""

from pathlib import Path

import pytest
from typer.testing import CliRunner

from microclimate import cli
from microclimate.venue import load, starter

QUESTIONS = len(starter.questions())


def new(*words: str | Path, typed: str = "") -> tuple[int, str, str]:
    done = CliRunner().invoke(cli.app, ["new", *map(str, words)], input=typed)
    return done.exit_code, done.stdout, done.stderr


def test_nothing_known_still_makes_a_venue_that_passes_check(tmp_path: Path) -> None:
    code, _, _ = new(tmp_path / "v.toml", typed="\n" * QUESTIONS)
    assert code == 0
    assert (tmp_path / "v.toml").read_text(encoding="utf-8") == starter.from_answers({})
    checked = CliRunner().invoke(cli.app, ["check", str(tmp_path / "v.toml"), "--night", "2026-01-27"])
    assert checked.exit_code == 0
    assert "You did not know it, so its range is wide" in " ".join(checked.output.split())


def test_every_question_is_put_once_with_an_example_or_choices(tmp_path: Path) -> None:
    _, text, _ = new(tmp_path / "v.toml", typed="\n" * QUESTIONS)
    said = " ".join(text.split())
    for number, question in enumerate(starter.questions(), 1):
        assert f"{number}/{QUESTIONS} {question.text}" in said
        assert f"empty: {question.default}" in said
    assert QUESTIONS <= 15
    assert max(map(len, text.partition("Written:")[0].splitlines())) <= 80


def test_a_bad_answer_is_told_and_asked_again(tmp_path: Path) -> None:
    typed = ["Mill Lane", "imperial", "US", *[""] * 3, "105", "120 x 53 yd"]
    code, text, _ = new(tmp_path / "v.toml", typed="\n".join(typed) + "\n" * QUESTIONS)
    assert code == 0
    assert "'imperial': must be one of metric, US" in text
    assert "'105': wanted two numbers with an x between" in text
    venue = load.venue(tmp_path / "v.toml")
    assert (venue.name, venue.units) == ("Mill Lane", "US")
    assert venue.field.length == pytest.approx(120 * 0.9144)  # exact by the yard of 1959


def test_the_blank_file_is_written_without_questions(tmp_path: Path) -> None:
    code, text, _ = new(tmp_path / "v.toml", "--blank")
    assert code == 0
    assert "1/" not in text.replace(str(tmp_path), "")  # no question is numbered
    assert (tmp_path / "v.toml").read_text(encoding="utf-8") == starter.blank()


def test_a_file_that_is_there_is_kept_unless_replaced(tmp_path: Path) -> None:
    (tmp_path / "v.toml").write_text("mine", encoding="utf-8")
    code, text, error = new(tmp_path / "v.toml", "--blank")
    assert (code, text) == (2, "")
    assert error.endswith("v.toml: is there already; choose another name, or add --replace\n")
    assert (tmp_path / "v.toml").read_text(encoding="utf-8") == "mine"
    assert new(tmp_path / "v.toml", "--blank", "--replace")[0] == 0
    assert (tmp_path / "v.toml").read_text(encoding="utf-8") == starter.blank()


def test_answers_that_end_early_write_nothing(tmp_path: Path) -> None:
    code, _, error = new(tmp_path / "v.toml", typed="Mill Lane\nUS\n")
    assert code == 130
    assert "stopped; nothing half-written" in error
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(("place", "told"), [("", "is a folder"), ("no/v.toml", "its folder does not exist")])
def test_places_that_cannot_be_written(tmp_path: Path, place: str, told: str) -> None:
    code, _, error = new(tmp_path / place, "--blank")
    assert code == 2
    assert told in error
    assert list(tmp_path.iterdir()) == []
