"""The words of `verify`, and the one line of the briefing that says how the last nights were told."""

import textwrap
from collections.abc import Mapping, Sequence
from datetime import date, datetime

import pandas as pd

from microclimate.report.words import glued
from microclimate.units import Shown

WIDTH = 80
QUANTITIES = {
    "canopy_temperature_min": "lowest canopy",
    "soil_temperature_min_25mm": "lowest root zone at 25 mm",
    "air_temperature_min": "lowest air",
}
_HEADS = ("told by", "lead", "night", "n", "bias", "mae", "crps", "brier")
_LEFT = 3
_DIFFERENCE = "temperature difference"
OLD = 365  # days after which a calibration is said to be old; ours


def last_nights(nights: int, quantity: str, error: float, inside: int, shown: Shown) -> str:
    """How the last nights that were read were told, in one line."""
    what = _name(quantity, shown)
    if nights == 1:
        held = "within the range told" if inside else "outside the range told"
        return f"The last night that was read: {what} told within {shown.text(error, _DIFFERENCE)} on average, {held}."
    return (
        f"The last {nights} nights that were read: {what} told within {shown.text(error, _DIFFERENCE)} on average, "
        f"{inside} of {nights} within the range told."
    )


def named(quantity: str, shown: Shown) -> str:
    """A quantity as a heading."""
    name = _name(quantity, shown)
    return name[:1].upper() + name[1:]


def _name(quantity: str, shown: Shown) -> str:
    return QUANTITIES[quantity].replace("25 mm", "1 in" if shown.system == "US" else "25 mm")


def calibration_age(made: str, nights: int, today: datetime) -> str:
    """How old what was learned is."""
    if not made:
        return "Nothing has been learned from this field's own readings yet."
    days = (today.date() - date.fromisoformat(made)).days
    age = {0: "today", 1: "yesterday"}.get(days, f"{days} days ago" if days > 0 else f"on {made}")
    text = f"Learned from {nights} nights of this field\u2019s readings, {age}" if nights else f"Learned {age}"
    return f"{text}: old, calibrate again." if days > OLD else f"{text}."


def corrected(kind: str, size: float, shown: Shown) -> str:
    """What was laid on the lowest canopy told, because the model missed it before."""
    way = "by kind of night" if kind == "residual" else "as the last nights taught"
    amount = shown.text(abs(size), _DIFFERENCE)
    turned = "warmer" if size >= 0 else "colder"
    return (
        f"Tonight\u2019s lowest canopy is told {amount} {turned} than the run itself has it, {way}; curves and map "
        "show the run."
    )


def verified(
    venue: str,
    counts: Mapping[str, int],
    scores: pd.DataFrame,
    reliability: pd.DataFrame,
    decisions: pd.DataFrame,
    shown: Shown,
    written: Sequence[str],
) -> str:
    """The whole answer of `verify`.

    Parameters
    ----------
    counts : mapping
        Pairs by quantity.
    scores, reliability, decisions : DataFrame
        As `learn.verify.Verified` has them.
    """
    lines = [f"{venue}: what was told against what was read", ""]
    if not counts:
        lines += _wrapped(
            "No window that was told has been read since. Forecasts are kept by `tonight` where there is a field log; "
            "readings come in by `fieldlog add`."
        )
    for quantity, count in counts.items():
        some = scores[scores["quantity"] == quantity]
        lines += [f"{named(quantity, shown)}, {count} pairs of zone and window"]
        if some.empty:
            lines += ["  too few to score", ""]
            continue
        lines += _table(some, shown)
        lines += [""]
        lines += _parts(some)
        lines += _reliable(reliability[reliability["quantity"] == quantity])
        lines += [""]
    if not decisions.empty:
        lines += _decided(decisions)
    lines += [*written] if written else []
    return "\n".join(line.rstrip() for line in lines).replace("\u00a0", " ").rstrip("\n") + "\n"


def _table(scores: pd.DataFrame, shown: Shown) -> list[str]:
    factor = float(shown.number(1.0, _DIFFERENCE))
    rows = []
    for row in scores.to_dict("records"):
        numbers = [f"{float(row[name]) * factor:.2f}".replace("-", "\u2212") for name in ("bias", "mae", "crps")]
        rows.append(
            (str(row["source"]), str(row["lead"]), str(row["night"]), str(row["n"]), *numbers, f"{row['brier']:.3f}")
        )
    widths = [max(len(row[k]) for row in (_HEADS, *rows)) for k in range(len(_HEADS))]

    def line(row: Sequence[str]) -> str:
        pairs = enumerate(zip(row, widths, strict=True))
        return " ".join(cell.ljust(w) if k < _LEFT else cell.rjust(w) for k, (cell, w) in pairs)

    unit = f"bias, mae and crps in {shown.symbol(_DIFFERENCE)}; brier of a freeze, yes or no"
    return [line(_HEADS), " ".join("-" * w for w in widths), *map(line, rows), f"({unit})"]


def _parts(scores: pd.DataFrame) -> list[str]:
    whole = scores[(scores["lead"] == "all") & (scores["night"] == "all") & (scores["source"] == "this program")]
    if whole.empty:
        return []
    row = whole.iloc[0]
    text = (
        f"Chance of freezing: Brier {row['brier']:.3f} = {row['miscalibration']:.3f} (chances off) \u2212 "
        f"{row['discrimination']:.3f} (told apart) + {row['uncertainty']:.3f} (how open it was)."
    )
    worth = [
        f"{row[name]:.2f} at {100 * float(str(name).removeprefix('value_')):.0f} %"
        for name in whole.columns
        if str(name).startswith("value_") and row[name] == row[name]
    ]
    if worth:
        text += (
            " Value where acting costs a share of the loss (1 is perfect, 0 the better of always and never): "
            f"{', '.join(worth)}."
        )
    return _wrapped(text)


def _reliable(reliability: pd.DataFrame) -> list[str]:
    lines = []
    for row in reliability.to_dict("records"):
        lines += textwrap.wrap(
            glued(
                f"told {100 * float(row['told']):.0f} %, came in {100 * float(row['came']):.0f} % of {row['n']} "
                f"(so few could mean {100 * float(row['came_low']):.0f} to {100 * float(row['came_high']):.0f} %)"
            ),
            WIDTH, initial_indent="- ", subsequent_indent="  ",
        )  # fmt: skip
    return lines


def _decided(decisions: pd.DataFrame) -> list[str]:
    known = decisions[decisions["verdict"] != "unknown"]
    lines = _wrapped(f"Advice for {len(decisions)} events; what came is known of {len(known)}:")
    for verdict, count in known["verdict"].value_counts().items():
        lines.append(f"- {verdict}: {count}")
    spent = known["spent"].dropna()
    if len(spent):
        low, high = known["perfect_low"].sum(), known["perfect_high"].sum()
        lines += _wrapped(
            f"Spent or lost: {spent.sum():,.0f}; with perfect foresight between {low:,.0f} and {high:,.0f}, where that "
            "can be said."
        )
    return [*lines, ""]


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(glued(text), WIDTH, break_on_hyphens=False)
