"""The site's figures: the month's weather, the ranking by arcing, deposits; and the small intervals
of the first page."""

from __future__ import annotations

import numpy as np

from gateway.report.axes import Frame, Scale, linear, logarithmic, micros, time_scale
from gateway.report.blocks import Counter, Figure
from gateway.report.deposits import DepositPair
from gateway.report.facts import Facts
from gateway.report.marks import (
    FAINT,
    INK,
    MIDDLE,
    MUTED,
    PALE,
    SHADE,
    Dots,
    Drawing,
    Line,
    Mark,
    Words,
)
from gateway.trends.change import InsulatorTrend
from gateway.trends.columns import Floats, Ints
from gateway.trends.pollution import Relation

WIDTH = 510.0
RATIO = Scale(1 / 8, 8.0, (), log=True)
"""The small intervals reach from an eighth to eight times; beyond, they end in the margin."""


def weather_figure(facts: Facts, count: Counter) -> Figure:
    """Humidity of each day from lowest to highest, wet hours and rain."""
    grid, month = facts.site.grid, facts.month
    first, after = grid.place(month.from_us), grid.place(month.to_us)
    hours = np.arange(first, after, dtype=np.int64)
    day = (hours + grid.first_hour) // 24
    keys, place = np.unique(day, return_inverse=True)
    low, high = (_daily(grid.rh_pct[hours], place, keys.shape[0], one) for one in (min, max))
    rain = np.bincount(place, np.nan_to_num(grid.rain_mm[hours]), keys.shape[0])
    wet = np.bincount(place, facts.site.wet[hours], keys.shape[0])
    frame = Frame(WIDTH, 110.0, time_scale(month.from_us, month.to_us), linear(0.0, 100.0, 6))
    frame.title, frame.x_label = "Weather of the month", "UTC"
    frame.y_label = "% RH of the day, lowest to highest; wet hours x 4; rain mm (dark)"
    at = micros(keys * 24.0)
    for left, under, over in zip(at, low, high, strict=True):
        if np.isfinite(under):
            frame.band(
                np.array([left, left + micros([24])[0]]), np.full(2, under), np.full(2, over), SHADE
            )
    frame.dots(at + micros([12])[0], np.asarray(wet * 4.0), INK, 1.4, "ring")
    frame.bars(at + micros([10])[0], at + micros([14])[0], np.minimum(rain, 100.0), MUTED)
    days = (keys * 24).astype("datetime64[h]").astype("datetime64[D]").astype(str).tolist()
    rows = list(zip(days, low.tolist(), high.tolist(), wet.tolist(), rain.tolist(), strict=True))
    return count.figure(
        "Humidity of each day from its lowest to its highest hour; rings: wet hours times four; "
        "dark bars: rain.",
        frame.drawing(),
        ("day_utc", "rh_low_pct", "rh_high_pct", "wet_hours", "rain_mm"),
        rows,
        "Daily from hours, % and h and mm, UTC",
    )


def _daily(rh_pct: Floats, place: Ints, days: int, pick: object) -> Floats:
    found = np.full(days, np.nan)
    for k in range(days):
        known = rh_pct[(place == k) & np.isfinite(rh_pct)]
        if known.size:
            found[k] = pick(known)  # type: ignore[operator]
    return found


def ranking_figure(facts: Facts, ordered: list[InsulatorTrend], count: Counter) -> Figure:
    """Hours of arcing in the days judged, the longest first."""
    ranked = sorted(ordered, key=lambda one: -(one.standing.arcing_h or 0.0))
    arcing = [one.standing.arcing_h for one in ranked]
    top = max([one for one in arcing if one is not None], default=0.0) or 1.0
    row = 9.0
    marks: list[Mark] = [Words((0.0, 7.0), "Arcing hours in the days judged", 7.0, INK, bold=True)]
    for k, (one, hours) in enumerate(zip(ranked, arcing, strict=True)):
        y = 18.0 + row * k
        marks.append(Words((94.0, y), one.insulator[:20], 6.5, INK, "end"))
        if hours is None:
            marks.append(Words((100.0, y), "not counted", 6.5, MUTED))
            continue
        end = 100.0 + 280.0 * hours / top
        marks.append(Line(((100.0, y - 2.2), (max(end, 100.4), y - 2.2)), MIDDLE, 5.0))
        share = one.standing.arcing_share
        wet = "" if share is None else f", {share:.2%} of the wet hours"
        marks.append(Words((end + 4.0, y), f"{hours:.2f} h{wet}", 6.5, MUTED))
    drawing = Drawing(WIDTH, 22.0 + row * len(ranked), tuple(marks))
    rows = [(one.insulator, hours, one.standing.arcing_share)
            for one, hours in zip(ranked, arcing, strict=True)]  # fmt: skip
    return count.figure(
        "Arcing of the insulators in the days judged. Currents are compared within one type and "
        "stress only.",
        drawing,
        ("insulator", "arcing_h", "share_of_wet_hours"),
        rows,
        "Hours, UTC days",
    )


def deposit_figure(
    pairs: tuple[DepositPair, ...], relation: Relation | None, count: Counter
) -> Figure:
    """Measured salt deposit against the index of the same structure."""
    known = [one for one in pairs if one.index_ma is not None]
    x = np.array([one.esdd_mg_cm2 for one in known])
    y = np.array([one.index_ma or 0.0 for one in known])
    scales = (
        (logarithmic(*_ends(x)), logarithmic(*_ends(y)))
        if known
        else (logarithmic(0.01, 1), logarithmic(0.1, 1))
    )
    frame = Frame(250.0, 130.0, *scales, "Deposit and index", "ESDD [mg/cm2]", "index [mA]")
    if relation is not None:
        along = np.geomspace(float(np.min(x)), float(np.max(x)), 30)
        middle = np.exp(relation.intercept) * along**relation.slope
        wide = np.exp(relation.scatter)
        frame.band(along, middle / wide, middle * wide, PALE)
        frame.line(along, middle, MUTED, 0.9)
    frame.dots(x, y, INK, 1.8, "dot")
    if not known:
        frame.say("no sample with wet nights around it")
    rows = [(one.insulator, one.at_us, one.esdd_mg_cm2, one.index_ma, one.nights) for one in pairs]
    return count.figure(
        "Salt deposit of samples against the index of the nights around them; band: one scatter.",
        frame.drawing(),
        ("insulator", "at_utc_us", "esdd_mg_cm2", "index_ma", "nights"),
        rows,
        "mg/cm2 and mA r.m.s., UTC",
    )


def _ends(found: Floats) -> tuple[float, float]:
    return float(np.min(found)), float(np.max(found))


def ratio_drawing(one: InsulatorTrend) -> Drawing | str:
    """The index ratio with its interval on a line from an eighth to eight times."""
    if one.index_ratio is None or one.index_ratio_low is None or one.index_ratio_high is None:
        return ""
    width, height = 84.0, 9.0

    def at(ratio: float) -> float:
        return 2.0 + float(RATIO.share(np.array([ratio]))[0]) * (width - 4.0)

    marks: tuple[Mark, ...] = (
        Line(((2.0, height / 2), (width - 2.0, height / 2)), PALE, 0.6),
        Line(((at(1.0), 0.5), (at(1.0), height - 0.5)), FAINT, 0.7),
        Line(
            ((at(one.index_ratio_low), height / 2), (at(one.index_ratio_high), height / 2)),
            INK,
            1.1,
        ),
        Dots(((at(one.index_ratio), height / 2),), INK, 2.0),
    )
    return Drawing(width, height, marks)
