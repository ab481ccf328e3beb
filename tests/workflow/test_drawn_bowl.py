"""A night in a bowl that came as a mesh file, from end to end; nothing of the demo is used."""

from datetime import datetime
from pathlib import Path

import drawn
import numpy as np
import pytest

from microclimate.workflow.check import check
from microclimate.workflow.tonight import tonight

pytest.importorskip("trimesh")
NOW = datetime(2026, 1, 15, 22)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The bowl drawn, the same field in the open, and a clear cold night as CSV."""
    place = tmp_path_factory.mktemp("night")
    drawn.obj(place / "bowl.obj", drawn.bowl())
    mesh = '[[mesh]]\nfile = "bowl.obj"\nmaterial = "bare aluminium"\n[[mesh.part]]\ngroup = "sheet"\nroof = true\n'
    (place / "venue.toml").write_text(drawn.VENUE + mesh)
    (place / "open.toml").write_text(drawn.VENUE)
    hours = np.arange("2026-01-15T18", "2026-01-16T21", dtype="datetime64[h]")
    air = 2.0 - 7.0 * np.sin(np.linspace(0.0, np.pi, len(hours)))
    head = "time,air_temperature [degC],dew_point_temperature [degC],wind_speed [m/s],wind_from_direction [degree],"
    rows = [f"{hour}:00Z,{warmth:.2f},-8,2,270,0" for hour, warmth in zip(hours, air, strict=True)]
    (place / "weather.csv").write_text("\n".join([head + "cloud_area_fraction [1]", *rows]))
    return place


def test_a_night_in_a_drawn_bowl_is_answered(folder: Path) -> None:
    """Every zone is told, the page is written; the stands move the coldest leaf, by less than a few kelvin (hidden
    cold sky and shelter from wind work against each other, .3 to 2.4 K each in a trial)."""
    answers = {}
    for name in ("venue", "open"):
        done = tonight(folder / f"{name}.toml", folder / "weather.csv", night="2026-01-15", out=folder / name, now=NOW)
        answers[name] = done.answer
        assert (folder / name / "briefing.html").stat().st_size > 10_000
        assert done.answer.risk.sizes["zone"] == 3
        assert np.isfinite(done.answer.risk["probability"]).all()
    cold = [
        answers[n].risk["canopy_temperature_worst"].sel(quantile=0.5).isel(event=0).min() for n in ("venue", "open")
    ]
    assert 0.02 < abs(float(cold[0] - cold[1])) < 3.0


def test_check_tells_the_drawing_back(folder: Path) -> None:
    text = check(folder / "venue.toml", night="2026-01-15", now=NOW)
    faces = sum(map(len, drawn.bowl().values()))
    assert f"bowl: {faces} faces of bare aluminium" in text
    assert "height of the stands" not in text  # a drawing's heights are known
