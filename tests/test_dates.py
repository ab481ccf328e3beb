"""Dates as people write them; expected stamps by hand."""

import pytest

from microclimate.dates import UnclearError, iso


@pytest.mark.parametrize(
    ("written", "wanted", "order"),
    [
        (["10/09/1998 07:00 PM", "10/13/1998 12:30 AM"], ["1998-10-09T19:00:00", "1998-10-13T00:30:00"], "month first"),
        (["13/10/1998 12:05 pm", "14/10/1998 1:05 p.m."], ["1998-10-13T12:05:00", "1998-10-14T13:05:00"], "day first"),
        (["03.02.2026 18:00", "04.02.2026 06:00:30"], ["2026-02-03T18:00:00", "2026-02-04T06:00:30"], "day first"),
        (["11/30/2025 23:00 -05:00"], ["2025-11-30T23:00:00-05:00"], "month first"),
        (["12/30/2025", "12/31/2025"], ["2025-12-30", "2025-12-31"], "month first"),
        # read with the month first, time would turn back at the third row
        (["09/01/2026 22:00", "10/01/2026 01:00", "01/02/2026 01:00"],
         ["2026-01-09T22:00:00", "2026-01-10T01:00:00", "2026-02-01T01:00:00"], "day first"),
        (["2026-01-09T22:00Z"], ["2026-01-09T22:00Z"], ""),
    ],
)  # fmt: skip
def test_the_column_settles_the_order(written: list[str], wanted: list[str], order: str) -> None:
    assert iso(written) == (wanted, order)


@pytest.mark.parametrize(
    "written",
    [["03/04/2026 01:00", "03/04/2026 02:00"], ["03/04/2026 01:00", "04/05/2026 01:00"], ["31/31/2026 01:00"]],
)
def test_what_nothing_settles_is_unclear(written: list[str]) -> None:
    with pytest.raises(UnclearError):
        iso(written)
