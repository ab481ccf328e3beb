"""Bowl air, stands and floor: closed budgets, limits, convergence, published bands, and guards that can fail."""

from dataclasses import replace

import ht
import numpy as np
import pytest
from air_nights import BOX, FLUSHED, excess, night, surfaces
from scipy.optimize import brentq

from microclimate.constants import HEAT_CAPACITY_AIR, STEFAN_BOLTZMANN
from microclimate.exposure import air, box, planks
from microclimate.physics import vapour

BEST = air.Air()
WINDS = np.array([0.3, 0.5, 0.8, 1.0, 1.5, 2.0, 3.0, 5.0])


def run(outside: air.Outside, made=None, step: float = 300.0, parameters=BEST, **more) -> air.Inside:
    return air.run(step, BOX, made or surfaces(), outside, air.table(len(outside.wind), parameters), **more)


@pytest.mark.parametrize("step", [60.0, 300.0, 900.0, 3600.0])
@pytest.mark.parametrize("dew_point", [265.15, 272.65])
def test_heat_and_moisture_close_at_any_step(step: float, dew_point: float) -> None:
    budget = run(night(WINDS, step, dew_point=dew_point), step=step).budget
    for part in (budget[..., :4], budget[..., 4:]):
        residual = part[..., 0] - part[..., 1:].sum(axis=-1)
        gross = np.abs(part).sum(axis=-1).max()
        assert np.abs(residual).max() <= 1e-12 * gross


def test_fog_keeps_the_air_at_saturation_and_the_budgets_closed() -> None:
    outside = night([0.3], dew_point=272.65)
    chilled = replace(outside, field_heat=np.full_like(outside.wind, -6e5))
    inside = run(chilled, replace(surfaces(), area=np.full(3, 1e-9)))
    full = vapour.specific_humidity(vapour.saturation_pressure_water(inside.temperature), 1e5)
    assert (inside.humidity <= full * (1 + 1e-6)).all()
    assert (inside.budget[..., 3] > 0.0).any()
    residual = inside.budget[..., 0] - inside.budget[..., 1:4].sum(axis=-1)
    assert np.abs(residual).max() <= 1e-12 * np.abs(inside.budget[..., :4]).sum(axis=-1).max()


def test_water_on_the_stands_is_what_the_air_lost_to_them() -> None:
    made = surfaces(floor=1e-6)
    inside = run(night([0.5], dew_point=272.65), made)
    on_stands = (made.area[:, None] * inside.film[0]).sum(axis=0)
    np.testing.assert_allclose(on_stands[-1], -inside.budget[0, :, 5].sum() * 300.0, rtol=1e-9)
    assert on_stands[-1] > 100.0  # kg on two hectares: it did dew


def test_strong_wind_gives_the_air_outside() -> None:
    winds = np.array([5.0, 10.0, 20.0, 40.0])
    outside = night(winds)
    apart = np.abs(excess(run(outside), outside))
    assert (np.diff(apart) < 0).all()
    assert apart[-1] < 0.1


def test_a_box_without_surfaces_gives_the_air_outside() -> None:
    outside = night(WINDS, inversion=0.0)
    empty = replace(surfaces(), area=np.full(3, 1e-9))
    steady = replace(outside, temperature=np.full_like(outside.temperature, 273.0))
    np.testing.assert_allclose(run(steady, empty).temperature, 273.0, atol=1e-6)


def test_ten_kilowatts_into_three_hundred_cubic_metres_a_second() -> None:
    """Closed form: Q / (rho c V') = 10 kW / (1.2 * 1005 * 300) = 0.0276 K."""
    outside = replace(night([0.0], inversion=0.0, first=290.0, last=290.0), pressure=np.full((1, 156), 1.0e5))
    outside = replace(outside, field_heat=np.full_like(outside.wind, 1e4))
    flow = air.Air(top=0.0, plume=0.0, calm=300.0 / BOX.top)
    found = run(outside, replace(surfaces(), area=np.full(3, 1e-9)), parameters=flow)
    density = float(vapour.air_density(290.0, outside.humidity[0, 0], 1e5))
    assert excess(found, outside)[0] == pytest.approx(0.0276 * 1.2 / density, rel=2e-3)


def test_a_bowl_flushes_in_volume_over_flow() -> None:
    """Closed form: 5e5 m3 at 500 m3/s decays with 1000 s; backward Euler has 1 / (1 + dt/1000) a step."""
    outside = night([0.0], step=60.0, hours=1.0, inversion=0.0, first=280.0, last=280.0)
    flow = air.Air(top=0.0, plume=0.0, calm=500.0 / BOX.top)
    start = np.array([270.0]), outside.humidity[:, 0]
    found = air.run(
        60.0, replace(BOX, volume=5e5), replace(surfaces(), area=np.full(3, 1e-9)), outside, air.table(1, flow),
        start=start,
    )  # fmt: skip
    left = (280.0 - found.temperature[0]) / 10.0
    np.testing.assert_allclose(left, 1.06 ** -np.arange(1, 61), rtol=1e-6)
    # an hour in steps of 0.06 of the decay time: backward Euler is 11 % above the exponential, 1.06**-60 / exp(-3.6)
    assert left[-1] == pytest.approx(np.exp(-3.6), rel=0.12)


def test_five_minutes_against_one() -> None:
    """All surfaces begin as warm as the air, so that no invented shock hides in the first hour; nothing is left out."""
    nights = {step: night(WINDS, step) for step in (60.0, 300.0)}
    fine, coarse = (run(o, step=s, start_ground=o.temperature[:, 0]) for s, o in nights.items())
    assert np.abs(coarse.temperature - fine.temperature[:, 4::5]).max() <= 0.1
    assert np.abs(coarse.surfaces[:, 2, -1] - fine.surfaces[:, 2, -1]).max() <= 0.02


def test_two_passes_are_enough() -> None:
    two, many = run(night(WINDS)), run(night(WINDS), passes=30)
    assert np.abs(two.temperature - many.temperature).max() <= 0.05


@pytest.mark.parametrize(("step", "most"), [(300.0, 0.02), (600.0, 0.02), (1800.0, 0.05)])
def test_no_oscillation_under_smooth_forcing(step: float, most: float) -> None:
    change = np.diff(run(night(WINDS, step), step=step).temperature, axis=1)
    turns = (np.sign(change[:, 1:]) != np.sign(change[:, :-1])) & (np.abs(change[:, 1:]) > 1e-4)
    assert turns.mean() <= most


def test_a_sunny_day_turns_no_oftener_in_ten_minute_steps_than_in_one() -> None:
    """Two turns are the day's own: air cools under a clear sky before the sun is up, warms, and cools again."""
    turns = {}
    for step in (60.0, 600.0):
        outside = night(WINDS, step, first=285.0, last=285.0, dew_point=275.0, inversion=0.0)
        count = outside.wind.shape[1]
        sun = np.sin(np.pi * (np.arange(count) + 0.5) / count)
        outside.absorbed[:] = np.array([150.0, 350.0, 500.0])[:, None] * sun
        change = np.diff(run(outside, step=step).temperature, axis=1)
        turns[step] = (np.sign(change[:, 1:]) != np.sign(change[:, :-1])).sum(axis=1)
    assert (turns[600.0] - turns[60.0] <= 0.02 * 78).all()
    assert turns[600.0].max() <= 2


def test_cold_and_mixed_start_end_alike_after_five_hours() -> None:
    outside = night(WINDS, hours=5.0)
    ends = []
    for offset in (-4.0, 0.0):
        start = outside.temperature[:, 0] + offset, outside.humidity[:, 0]
        ends.append(run(outside, start=start, start_ground=outside.temperature.mean(axis=1)).temperature[:, -1])
    assert np.abs(ends[0] - ends[1]).max() <= 0.4


def test_stands_one_way_are_wrong_by_more_than_a_kelvin() -> None:
    outside = night([0.5])
    assert abs(run(outside, one_way=True).temperature[0, -1] - run(outside).temperature[0, -1]) > 1.0


def test_a_field_unlike_the_floor_by_five_watts_moves_no_canopy_by_more_than_a_sixth_of_a_kelvin() -> None:
    """What a run without feedback neglects: an uncovered, unheated field is the floor of the box but for some W/m2."""
    outside = night(WINDS)
    other = replace(outside, field_heat=np.full_like(outside.wind, -5.0 * 7600.0))
    assert np.abs(run(outside).surfaces[:, 2, -1] - run(other).surfaces[:, 2, -1]).max() <= 0.15


def test_a_heated_field_must_be_fed_back() -> None:
    """50 W/m2 into the air of a calm bowl: some kelvins, so leaving it out would fail."""
    outside = night([0.5])
    heated = replace(outside, field_heat=np.full_like(outside.wind, 50.0 * 7600.0))
    warmer = run(heated).temperature[0, -1] - run(outside).temperature[0, -1]
    assert 1.0 < warmer < 5.0


def test_order_of_materials_on_a_calm_clear_night() -> None:
    outside = night([0.5])
    bare, painted = (excess(run(outside, surfaces(e)), outside)[0] for e in (0.1, 0.9))
    concrete = excess(run(outside, surfaces(share=0.0)), outside)[0]
    assert bare > concrete > painted


def test_the_cold_pool_goes_when_the_wind_rises() -> None:
    outside = night([0.5])
    half = outside.wind.shape[1] // 2
    outside.wind[:, half:] = 3.0
    found = run(outside)
    before, after = ((found.temperature - outside.temperature)[0, k] for k in (half - 1, half + 3))
    assert before < -2.0
    assert after > -0.7


def test_without_the_shutter_no_pool_forms() -> None:
    """Guard: the pool is the work of the Richardson number."""
    outside = night([0.8])
    assert abs(excess(run(outside, parameters=air.Air(shut=1.0)), outside)[0]) < abs(excess(run(outside), outside)[0])


def test_shutter_against_valleys_and_canyons() -> None:
    """Swept valleys at U/(N h) = 1.3, Ri = 1/1.3^2 = .59 (J. Fluid Mech. 96, 1980): more than a third passes; stalled
    canyons (Atmos. Environ. 34, 2000: 0.4 to 0.8) at 1.3: less than a fifth."""
    best = air.Air()
    assert box.shutter(1.0 / 1.3**2, best.richardson, best.shut) > 0.35
    assert box.shutter(1.3, best.richardson, best.shut) < 0.2
    assert box.shutter(-1.0, best.richardson, best.shut) == 1.0


def test_prior_range_holds_shallow_depressions() -> None:
    """Shallow depressions on calm clear nights: up to some 5 K colder, nothing when windy (Boundary-Layer Meteorol.
    2022, 10.1007/s10546-022-00721-w; Agric. Forest Meteorol. 203, 2015: abstracts)."""
    count = 300
    rngs = [np.random.default_rng([1, k]) for k in range(count)]
    table = air.table(count, rng=rngs)
    low = {}
    for wind in (0.5, 4.0):
        outside = night([wind] * count)
        low[wind] = np.percentile(excess(air.run(300.0, BOX, surfaces(), outside, table), outside), [5, 25, 75, 95])
    assert -6.5 <= low[0.5][0] <= -3.0
    assert np.abs(low[4.0][1:3]).max() < 1.0
    assert np.ptp(low[4.0]) < 0.5 * np.ptp(low[0.5])


def test_hard_walled_pit_has_the_weaker_inversion() -> None:
    """Open-pit iron mine: inversions weaker than outside (mining institute paper 1988, abstract). Rock alone, no grass:
    the air inside is less below crest air than the air outside is, when that is 4 K."""
    outside = night([0.5, 1.0, 2.0], inversion=4.0)
    found = run(outside, surfaces(share=0.0, slab=0.30, floor=1e-6))
    assert (found.temperature[:, -1] >= outside.temperature[:, -1]).all()


def test_sunny_stands_warm_the_air_by_some_kelvin() -> None:
    """On-field air 2.8 K over the desert stations' (Atmosphere 15, 2024:1184): a band for clear summer noon."""
    outside = night(WINDS, first=300.0, last=300.0, dew_point=285.0, hours=6.5)
    height = np.sin(np.pi * np.arange(78) / 156)  # from sunrise to noon
    outside.absorbed[:] = np.array([150.0, 350.0, 500.0])[:, None] * height  # weathered planks by face, concrete, grass
    assert (excess(run(outside), outside) > 0.3).all()
    assert (excess(run(outside), outside) < 4.0).all()


def test_frost_makes_an_oxidised_plank_colder_and_melts_back() -> None:
    """Oxidised metal (.3) under a clear sky: frost lowers it by 1.5 K or more; the sun melts it."""
    outside = night([0.3], first=272.0, last=272.0, dew_point=270.3, hours=20.0, inversion=0.0, sky=0.70)
    outside.absorbed[:, :, -24:] = 300.0
    outside.temperature[:, -24:] += 4.0
    made = surfaces(0.3)
    found = run(outside, made, parameters=FLUSHED)
    dry = run(replace(outside, humidity=0.5 * outside.humidity), made, parameters=FLUSHED)
    at = -30
    assert found.film[0, 0, at] > 0.005
    assert dry.film[0, 0, at] == 0.0
    assert dry.surfaces[0, 0, at] - found.surfaces[0, 0, at] >= 1.5
    assert found.surfaces[0, 0, -1] > 275.0
    assert found.film[0, 0, -1] < found.film[0, 0, at]


def test_emissivity_of_a_fifth_keeps_frost_off() -> None:
    """Applied Optics 26 (1987) 2131: a roof paint of emittance about .2 stayed free of frost; at 86 % humidity here."""
    outside = night([0.3], first=272.0, last=272.0, dew_point=270.0, hours=16.0, inversion=0.0, sky=0.70)
    found = run(outside, surfaces(0.2), parameters=FLUSHED)
    assert found.film[0, 0, -1] == 0.0
    assert run(outside, surfaces(0.9), parameters=FLUSHED).film[0, 0, -1] > 0.05


@pytest.mark.parametrize("emissivity", [0.1, 0.3, 0.9])
@pytest.mark.parametrize("wind", [0.6, 2.0, 8.0])
@pytest.mark.parametrize("sun", [0.0, 300.0])
def test_planks_against_an_independent_root(emissivity: float, wind: float, sun: float) -> None:
    """Steady balance of the same surface written out here and solved by Brent's method; flushed, dry air."""
    outside = night([wind], first=280.0, last=280.0, dew_point=250.0, sun=sun, hours=48.0, inversion=0.0)
    made = surfaces(emissivity, floor=1e-6)
    found = run(outside, made, parameters=FLUSHED)
    falling, own = float(found.received[0, 0, -1]), float(made.seen[0, 0])
    seat = max(0.35 * wind, 0.2)

    def excess_heat(t: float) -> float:
        forced = 1.4 * 3.85 * (seat / 0.28) ** 0.5
        free = 1.32 * (abs(t - 280.0) / 0.28) ** 0.25
        h = (forced**3 + free**3) ** (1 / 3)
        return sun + emissivity * (falling - (1 - own) * STEFAN_BOLTZMANN * t**4) - h * (t - 280.0)

    assert found.surfaces[0, 0, -1] == pytest.approx(brentq(excess_heat, 200.0, 400.0), abs=0.05)


def test_plate_in_wind_against_another_library() -> None:
    """ht (Baehr & Stephan 2006, Re < 5e5), without the outdoor factor; air at 0 degC."""
    for speed in (0.5, 1.0, 3.0):
        reynolds = speed * planks.LENGTH / 1.33e-5
        wanted = ht.conv_external.Nu_horizontal_plate_laminar_Baehr(reynolds, 0.71) * 0.0243 / planks.LENGTH
        assert planks.forced_conductance(speed) / planks.OUTDOORS == pytest.approx(wanted, rel=0.03)


def test_metal_roofs_and_painted_plates_lie_in_the_published_bands() -> None:
    """Metal roofs up to 5 K below air (metal roof code of practice), painted plates 3 to 8 K on very clear nights
    (ASME IMECE2013 V06AT07A024, insulated back): bands; one plate facing the sky alone, .7 and 2.1 m/s."""
    made = surfaces(0.9, floor=1e-6)
    made.sky[0], made.seen[0] = 1.0, 0.0
    outside = night([2.0, 6.0], first=275.0, last=275.0, dew_point=255.0, inversion=0.0)
    plate = run(outside, made, parameters=FLUSHED).surfaces[:, 0, -1] - 275.0
    assert (plate >= -8.0).all()
    assert (plate <= -3.0).all()


def test_a_gap_in_the_weather_ends_that_realization_only() -> None:
    outside = night([0.5, 0.5])
    outside.temperature[1, 50] = np.nan
    found = run(outside, start_ground=np.full(2, 277.0))
    assert np.isfinite(found.temperature[0]).all()
    assert np.isfinite(found.temperature[1, :50]).all()
    assert np.isnan(found.temperature[1, 50:]).all()
    assert np.isnan(found.surfaces[1, :, 50:]).all()


def test_clouds_make_no_inversion_and_the_sun_ends_it() -> None:
    assert 2.0 * air.rim_excess(0.5, 10.0, 4e4) < 0.3
    assert air.rim_excess(0.5, 80.0, 0.0) == 0.0
    assert air.rim_excess(8.0, 80.0, 4e4) < 1e-3
    up = np.array([False, True, True, False, False])
    np.testing.assert_allclose(air.since_sunset(up, 600.0), [21600.0, 0.0, 0.0, 600.0, 1200.0])


def test_size_of_a_round_bowl() -> None:
    """Closed form: a cylinder's frustum; a quarter left open has a gap of a quarter of the rim."""
    distance, height = np.full(72, 50.0), np.full(72, 10.0)
    whole = air.box(distance, height, np.pi * 50.0**2, 0.0)
    assert whole.volume == pytest.approx(np.pi * 50.0**2 * 10.0)
    assert whole.top == pytest.approx(np.pi * 50.0**2)
    assert whole.gap_width == 0.0
    height[:18] = 0.0
    cut = air.box(np.where(height > 0, distance, np.inf), height, np.pi * 50.0**2, 0.0)
    assert cut.gap_width == pytest.approx(2 * np.pi * 50.0 / 4)
    assert cut.height == pytest.approx(10.0)
    assert cut.gap_area.argmax() in (8, 9, 44, 45)  # wind along the axis of the opening, 42.5 degree
    assert HEAT_CAPACITY_AIR > 1000.0
