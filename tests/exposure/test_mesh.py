"""Sunken fields, open fields, planks and outlines cut into triangles."""

from dataclasses import replace

import numpy as np
import pytest
from bowl_scene import ring
from test_exchange import seen_from

from microclimate.exposure import plan, sections
from microclimate.exposure.mesh import Finish, ear_clip
from microclimate.venue.bowl import Bowl


def test_a_sunken_field_has_its_bank() -> None:
    venue = ring()
    deep = venue.field.model_copy(update={"elevation_offset": -6.0})
    made = plan.venue_mesh(Bowl(), deep)
    bowl = seen_from(made, np.zeros((1, 3)))
    flat = seen_from(plan.venue_mesh(Bowl(), venue.field), np.zeros((1, 3)))
    assert flat.sky_view[0] == 1.0
    assert 0.9 < bowl.sky_view[0] < 0.999
    assert not bowl.sun_factor(200.0, 3.0).any()


def test_no_stands_at_all() -> None:
    """Open field: sun, sky and longwave are those of open ground, nothing comes off stands."""
    venue = ring()
    bowl = seen_from(plan.venue_mesh(Bowl(), venue.field), np.array([[0.0, 0.0], [40.0, 20.0]]))
    sun = (np.array([180.0]), np.array([30.0]), np.array([700.0]), np.array([80.0]))
    np.testing.assert_allclose(bowl.sky_light(*sun), 80.0, rtol=1e-9)
    assert not bowl.reflected(*sun).any()
    sky, stands = bowl.longwave(np.array([230.0]), np.array([270.0]), np.array([270.0]))
    np.testing.assert_allclose(sky, 230.0)
    assert not stands.any()
    assert bowl.crest(8)[1].max() == 0.0


def test_planks_and_backs_add_their_faces() -> None:
    grey = Finish("grey", 0.3, 0.9)
    rake = sections.Rake(7.0, 1.0, 0.8, 0.4, 5, grey, seats=grey, backs=True)
    assert len(sections.planks(rake, 1)) == 5
    assert rake.seat_height > replace(rake, backs=False).seat_height
    assert sections.planks(replace(rake, seats=None), 1) == []


def test_ears_of_a_comb() -> None:
    """A stepped outline is cut into n - 2 triangles of the same area."""
    outline = sections.stand(
        [sections.Rake(5.0, 1.0, 0.8, 0.4, 9, Finish("a", 0.3, 0.9))], 1.0, Finish("b", 0.3, 0.9)
    ).points
    x, y = outline.T
    area = 0.5 * abs(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    ears = outline[ear_clip(outline)]
    a, b = ears[:, 1] - ears[:, 0], ears[:, 2] - ears[:, 0]
    assert 0.5 * np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum() == pytest.approx(area)
