"""The kernel against the two plain codes it is timed against: the same scheme, so the same numbers."""

import numpy as np

from microclimate.simulate import loop
from tests.benchmarks.column_case import blocks, case, kernel, naive_columns, vectorised_columns

STEPS = 200


def test_the_three_agree() -> None:
    """Over 200 steps with frost, freezing, covers and a thermostat: 1e-8 K (found 1e-10)."""
    work = case(4, 1, 6, STEPS / 12.0)
    job = kernel(work, traced=True)
    loop.run(0, blocks(work), job)
    traces, layers = job.traces, work.fixed.layers.shape[1]
    soil = slice(loop.TRACE, loop.TRACE + layers)
    columns = naive_columns(work, range(work.columns.shape[0]))
    wide, told = vectorised_columns(work)
    pair, zone = work.columns[:, 0], work.columns[:, 1]
    for now in range(STEPS):
        forcing, plan = work.forcing[now][:, pair], work.plans[now][:, zone]
        wide.step(forcing, plan, work.lengths[now], work.thresholds, told)
        np.testing.assert_allclose(wide.leaf, traces[:, now, loop.LEAF], rtol=0.0, atol=1e-8)
        np.testing.assert_allclose(wide.temperature.T, traces[:, now, soil], rtol=0.0, atol=1e-8)
        for number, column in enumerate(columns):
            column.step(forcing[:, number], plan[:, number], work.lengths[now], work.thresholds)
            assert abs(column.leaf - traces[number, now, loop.LEAF]) < 1e-8
            assert abs(column.temperature - traces[number, now, soil]).max() < 1e-8
            # a power is a temperature over the probe's answer to one W m-2, some 1e-3 K
            assert abs(column.heat - traces[number, now, loop.HEAT]) < 1e-5
    assert traces[:, :, loop.HEAT].max() > 50.0
    assert traces[:, :, loop.FROST].max() > 0.005
    assert traces[:, :, loop.TRACE + layers :].max() > 0.3
    np.testing.assert_array_equal(wide.worst, [column.worst for column in columns])
