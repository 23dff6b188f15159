"""The site: weather and salt, ranking, alarms and how well they served, data quality, deposits."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from gateway.alarms.journal import What
from gateway.alarms.messages import SITE_ARCING
from gateway.alarms.performance import TARGETS, figures
from gateway.report.blocks import Block, Counter, Figures, Heading, Prose, Table
from gateway.report.facts import Facts
from gateway.report.site_charts import deposit_figure, ranking_figure, weather_figure
from gateway.report.wording import by_name, number_or_dash, seconds_text, share_text
from gateway.trends.change import InsulatorTrend
from gateway.trends.columns import Floats
from gateway.trends.document import utc_text
from gateway.trends.pollution import deposit_relation
from gateway.trends.wetness import (
    CLEANING_RAIN_HOURS,
    CLEANING_RAIN_MM,
    DRIES_RH_PCT,
    WETS_RH_PCT,
    cleaning_rain,
    episodes_of,
    is_time_of_wetness,
    salt_exposure,
)

SALT_EVENT = 3.0
"""A day counts as a salt event from so many times the usual (median) day's index on."""
STORMS_MOST = 10


def site_pages(facts: Facts, ordered: list[InsulatorTrend], count: Counter) -> Iterator[Block]:
    """In this order."""
    yield Heading("Site", 1, new_page=True)
    yield Heading("Weather, wetness and salt", 2)
    yield Figures((weather_figure(facts, count),))
    yield _weather(facts)
    yield Heading("Ranking by exposure", 2)
    yield Figures((ranking_figure(facts, ordered, count),))
    if facts.deposits:
        yield Heading("Deposits", 2)
        yield from _deposits(facts, count)
    yield Heading("Alarms of the month", 2)
    yield from _alarms(facts)
    yield Heading("Data quality", 2)
    yield from _quality(facts, ordered)


def _weather(facts: Facts) -> Table:
    """The month beside the year that ends with it."""
    grid = facts.site.grid
    first, after = grid.place(facts.month.from_us), grid.place(facts.month.to_us)
    columns = [
        _weather_of(facts, span)
        for span in (slice(first, after), slice(max(0, after - 8_760), after))
    ]
    rows = tuple(zip(WEATHER_LINES, *columns, strict=True))
    return Table(("", "the month", "the year to its end"), rows, (0.6, 0.2, 0.2), right=(1, 2))


WEATHER_LINES = (
    f"hours wet by salt ({WETS_RH_PCT:g} % on, {DRIES_RH_PCT:g} % off, or rain)",
    "wet episodes",
    "hours of wetness, RH > 80 % and air > 0 C (ISO 9223, as recalled)",
    "rain [mm]",
    f"cleaning rain: hours with {CLEANING_RAIN_MM:g} mm in {CLEANING_RAIN_HOURS} h",
    "ultraviolet dose [MJ/m2]",
    "onshore salt index, relative",
    f"salt events: days from {SALT_EVENT:g} times the usual index",
    "hours without humidity",
)


def _weather_of(facts: Facts, span: slice) -> tuple[str, ...]:
    """In the order of WEATHER_LINES."""
    grid, salt = facts.site.grid, _salt(facts)
    wet, rain = facts.site.wet[span], grid.rain_mm[span]
    return (
        f"{wet.sum():,}",
        f"{episodes_of(wet).first.size:,}",
        f"{is_time_of_wetness(grid.rh_pct[span], grid.air_c[span]).sum():,}",
        _total(rain, 1.0, 1),
        f"{cleaning_rain(rain).sum():,}",
        _total(grid.uv_w_m2[span], 3600e-6, 1),
        "not measured" if salt is None else _total(salt[span], 1.0, 0),
        "-" if salt is None else f"{_salt_days(salt[span])}",
        f"{(~np.isfinite(grid.rh_pct[span])).sum():,}",
    )


def _total(column: Floats, step: float, places: int) -> str:
    known = column[np.isfinite(column)]
    return f"{known.sum() * step:,.{places}f}" if known.size else "not measured"


def _salt(facts: Facts) -> Floats | None:
    """Hourly index; None without wind or without the bearing of the coast."""
    bearing, grid = facts.register.coast_bearing_deg, facts.site.grid
    if bearing is None or not bool(np.any(np.isfinite(grid.wind_m_s))):
        return None
    return salt_exposure(grid.wind_m_s, grid.wind_from_deg, bearing)


def _salt_days(salt: Floats) -> int:
    whole = salt[: salt.shape[0] // 24 * 24].reshape(-1, 24)
    days = np.nansum(whole, axis=1)
    usual = float(np.median(days[days > 0])) if bool(np.any(days > 0)) else np.inf
    return int(np.sum(days >= SALT_EVENT * usual))


def _deposits(facts: Facts, count: Counter) -> Iterator[Block]:
    known = [one for one in facts.deposits if one.index_ma is not None]
    esdd = np.array([one.esdd_mg_cm2 for one in known])
    index = np.array([one.index_ma or 0.0 for one in known])
    relation = deposit_relation(esdd, index) if known else None
    yield Figures((deposit_figure(facts.deposits, relation, count),))
    if relation is None:
        yield Prose("Too few samples with wet nights around them for a relation.", "note")
        return
    yield Prose(
        f"Index grows as ESDD to the power {relation.slope:.2f} ({relation.slope_low:.2f} to "
        f"{relation.slope_high:.2f}); a sample scatters by a factor {np.exp(relation.scatter):.2f} "
        f"about it; correlation {relation.correlation:.2f}; {relation.pairs} pairs. It holds for "
        "these structures alone.",
        "note",
    )


def _alarms(facts: Facts) -> Iterator[Block]:
    month = facts.month
    if not facts.journal:
        yield Prose("The history holds no alarm journal of this month.", "note")
        return
    told = [(facts.trend.site, one) for one in facts.journal]
    (found,) = figures(told, month.from_us, month.to_us)
    rows = (
        ("announced", f"{found.announced}", ""),
        ("in ten minutes, mean", f"{found.per_window_ppm / 1e6:.4f}", TARGETS["per_window"]),
        ("in ten minutes, most", f"{found.most_in_window}", ""),
        ("floods; share of time in flood", f"{found.floods}; {found.flood_ppm / 1e4:.2f} %",
         TARGETS["flood_ppm"]),
        ("share of the ten most frequent", f"{found.top_ten_ppm / 1e4:.1f} %",
         TARGETS["top_ten_ppm"]),
        ("chattering, fleeting, stale",
         f"{found.chattering}, {found.fleeting}, {found.stale}", TARGETS["stale"]),
        ("by priority 1, 2, 3", ", ".join(str(one) for one in found.priorities),
         TARGETS["priorities"]),
        ("shelved, taken out of service", f"{found.shelved}, {found.taken_out}", ""),
    )  # fmt: skip
    yield Table(("alarm figures", "the month", "common practice (as recalled)"), rows,
                (0.34, 0.2, 0.46), right=(1,))  # fmt: skip
    storms = [
        one
        for one in facts.journal
        if one.what is What.ANNOUNCED
        and one.point.alarm == SITE_ARCING
        and one.at_us >= month.from_us
    ]
    if storms:
        lines = tuple(
            (utc_text(one.at_us), ", ".join(one.named) or one.reason)
            for one in storms[:STORMS_MOST]
        )
        yield Table(("site roll-up, UTC", "worst insulators, or why"), lines, (0.25, 0.75))
    sources = tuple(
        (one.alarm, one.subject or one.unit, str(one.announced),
         seconds_text(one.longest_active_us * 1e-6))
        for one in found.top[:STORMS_MOST]
    )  # fmt: skip
    if sources:
        head = ("most frequent", "subject", "times", "longest in")
        yield Table(head, sources, (0.35, 0.35, 0.12, 0.18), right=(2, 3))


def _quality(facts: Facts, ordered: list[InsulatorTrend]) -> Iterator[Block]:
    rows = tuple(
        (
            one.insulator,
            share_text(facts.covers[one.insulator].share),
            f"{facts.covers[one.insulator].rows:,}",
            str(facts.covers[one.insulator].gaps),
            seconds_text(facts.covers[one.insulator].longest_s),
            share_text(one.good_share),
            one.sensor.verdict.value,
            number_or_dash(1000 * one.sensor.level_ma, 1),
            facts.calibrations.get(one.insulator, "-"),
            ", ".join(one.found) or "-",
        )
        for one in sorted(ordered, key=lambda one: by_name(one.insulator))
    )
    yield Table(
        ("insulator", "rows cover", "rows", "gaps", "longest", "good in wet h", "self-test",
         "dry uA", "calibration", "flags"),
        rows, (0.13, 0.09, 0.09, 0.06, 0.08, 0.11, 0.08, 0.07, 0.13, 0.16),
        right=(1, 2, 3, 4, 5, 7), small=True,
    )  # fmt: skip
    yield Prose(
        "Rows cover: of the month. Good: of the wet hours of the days judged; rows with a sensor "
        "fault, missing or saturated samples, an abnormal voltage or a line out of service are "
        "excluded. Self-test: the dry current against its reference.",
        "note",
    )
    if not facts.units:
        yield Prose("No unit sent heartbeats in this month (rows were loaded).", "note")
        return
    units = tuple(
        (one.unit, f"{one.heartbeats:,}", share_text(one.synchronised),
         "-" if one.worst_clock_us is None else f"{one.worst_clock_us / 1000:,.1f} ms",
         share_text(one.poor), one.software)
        for one in facts.units
    )  # fmt: skip
    yield Table(("unit", "heartbeats", "clock right", "widest error", "not well", "software"),
                units, (0.26, 0.14, 0.14, 0.16, 0.12, 0.18), right=(1, 2, 3, 4))  # fmt: skip
