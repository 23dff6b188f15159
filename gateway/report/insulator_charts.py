"""The four figures of an insulator: response, nights, exposure, highest currents; its waveform."""

from __future__ import annotations

import numpy as np

from gateway.replay.pictures.marking import marked
from gateway.report.axes import Frame, Scale, linear, logarithmic, micros, thin, time_scale
from gateway.report.blocks import Counter, Figure
from gateway.report.facts import Facts
from gateway.report.marks import BLUE, FAINT, INK, MIDDLE, MUTED, PALE, SHADE
from gateway.report.units import WaveformFound
from gateway.trends.change import InsulatorTrend
from gateway.trends.columns import DAY_US, Bools, Floats
from gateway.trends.curve import curve_at
from gateway.trends.distributions import two_sided_t
from gateway.trends.document import utc_text
from gateway.trends.response import later_log_ma
from gateway.trends.selecting import DryLevel, resistive_ma

WIDTH, HEIGHT = 250.0, 118.0
DOTS_MOST = 700
"""More hours of a period are thinned for the eye; the CSV has all."""
HUMIDITY = Scale(40.0, 100.0, tuple((float(k), str(k)) for k in range(40, 101, 10)))
NIGHTS_FOR_INTERVAL = 5


def response_figure(facts: Facts, one: InsulatorTrend, count: Counter) -> Figure:
    """Film current against humidity, both periods, with the fitted curves."""
    rh, film, later = _film_hours(facts, one)
    shown = film[film > 0]
    y = logarithmic(float(np.quantile(shown, 0.02)), float(np.max(shown))) if shown.size else None
    frame = Frame(WIDTH, HEIGHT, HUMIDITY, y or logarithmic(0.1, 1.0), "Film current at humidity")
    frame.x_label, frame.y_label = "relative humidity [%]", "mA r.m.s. without dry current"
    for chosen, colour, shape in ((~later, FAINT, "dot"), (later, MIDDLE, "cross")):
        at = np.flatnonzero(chosen & (film > 0))
        at = at[thin(at.shape[0], DOTS_MOST)]
        frame.dots(rh[at], film[at], colour, 0.7, shape)
    if not shown.size:
        frame.say("no film current")
    _draw_curves(frame, one)
    named = np.where(later, "now", "reference").tolist()
    rows = list(zip(_times(facts, film), rh.tolist(), film.tolist(), named, strict=True))
    return count.figure(
        "Film current by humidity: pale dots and thin line the reference, crosses and thick line "
        "now.",
        frame.drawing(),
        ("start_utc", "rh_pct", "film_ma", "period"),
        rows,
        "Hourly, UTC",
    )


def _times(facts: Facts, film: Floats) -> list[str]:
    at = facts.site.earlier | facts.site.later
    hours = np.flatnonzero(at) + facts.site.grid.first_hour
    stamps = hours.astype("datetime64[h]").astype(str).tolist()
    assert len(stamps) == film.shape[0]
    return [f"{stamp}:00:00Z" for stamp in stamps]


def _film_hours(facts: Facts, one: InsulatorTrend) -> tuple[Floats, Floats, Bools]:
    """(humidity, film current [mA], whether it is of now) of the hours of both periods."""
    site, current = facts.site, facts.site.currents[one.insulator]
    film = np.full(site.grid.count, np.nan)
    for chosen, level in (
        (site.earlier, one.response.dry_reference),
        (site.later, one.response.dry_now),
    ):
        film[chosen] = resistive_ma(current, level or DryLevel(0.0, 0.0, 0))[chosen]
    at = site.earlier | site.later
    return site.grid.rh_pct[at], np.nan_to_num(film[at]), np.asarray(site.later[at])


def _draw_curves(frame: Frame, one: InsulatorTrend) -> None:
    fit = one.response.fit
    if fit is None or one.onset_rh_reference is None:
        return
    along = np.linspace(max(one.onset_rh_reference - 8.0, 40.0), 99.0, 100)
    frame.line(along, np.exp(curve_at(fit.curve, along)), MUTED, 0.8)
    if one.index_ratio is not None:
        now = np.exp(later_log_ma(fit, along))
        frame.line(along, now, INK, 1.8)


def nights_figure(facts: Facts, one: InsulatorTrend, count: Counter) -> Figure:
    """Each wet night against the reference curve, months with intervals."""
    span = facts.trend
    fit, at_us = one.response.fit, micros(one.response.night_hours)
    ratio = np.zeros(0) if fit is None else np.exp(fit.levels)
    good = ratio[np.isfinite(ratio)]
    y = logarithmic(*np.quantile(good, (0.02, 0.98))) if good.size else logarithmic(0.1, 10.0)
    frame = Frame(WIDTH, HEIGHT, time_scale(span.reference.from_us, span.now.to_us), y)
    frame.title, frame.y_label = "Wet nights at equal wetness", "times the reference curve"
    frame.x_label = "UTC"
    frame.bars(np.array([span.now.from_us]), np.array([span.now.to_us]), np.array([y.high]), PALE)
    frame.line(np.array([frame.x.low, frame.x.high]), np.ones(2), MUTED, 0.6)
    frame.dots(at_us, ratio, MIDDLE, 0.9, "dot")
    if fit is None:
        frame.say(one.response.why[:60])
    else:
        _draw_months(frame, at_us, fit.levels)
    times = [utc_text(int(at)) for at in at_us]
    return count.figure(
        "Wet nights against the reference curve; large dots are months, with 90 % intervals; "
        "shaded the days judged.",
        frame.drawing(),
        ("night_from_utc", "times_reference"),
        list(zip(times, ratio.tolist(), strict=True)),
        "Ratio, UTC",
    )


def _draw_months(frame: Frame, at_us: Floats, levels: Floats) -> None:
    months = at_us.astype("datetime64[us]").astype("datetime64[M]")
    for month in np.unique(months):
        inside = levels[(months == month) & np.isfinite(levels)]
        if inside.size < NIGHTS_FOR_INTERVAL:
            continue
        mean = float(np.mean(inside))
        wide = two_sided_t(0.90, inside.size - 1) * float(np.std(inside, ddof=1)) / inside.size**0.5
        edges = np.array([month, month + 1]).astype("datetime64[us]").astype(np.float64)
        middle = np.array([float(np.mean(edges))])
        frame.whiskers(middle, np.exp([mean - wide]), np.exp([mean + wide]), INK)
        frame.dots(middle, np.exp([mean]), INK, 1.7, "dot")


def exposure_figure(facts: Facts, one: InsulatorTrend, count: Counter) -> Figure:
    """Arcing half-cycles of each day and their sum."""
    days = facts.ledgers[one.insulator].days
    at = np.array([day.from_us for day in days], np.float64)
    arcing = np.array([day.sums["arcing_halfcycles"] or 0 for day in days], np.float64)
    counted = any(day.sums["arcing_halfcycles"] is not None for day in days)
    span = facts.trend
    frame = Frame(
        WIDTH, HEIGHT, time_scale(span.reference.from_us, span.now.to_us),
        linear(0.0, max(float(np.max(arcing, initial=0.0)) / 1e3, 1e-3), 4),
    )  # fmt: skip
    frame.title, frame.y_label, frame.x_label = "Arcing", "thousand half-cycles a day", "UTC"
    frame.bars(at, at + DAY_US, arcing / 1e3, MIDDLE)
    if not counted:
        frame.say("half-cycles were not counted")
    elif arcing.sum() > 0:
        top = frame.y.high
        frame.line(at + DAY_US, np.cumsum(arcing) / arcing.sum() * top, INK, 1.0)
    return count.figure(
        f"Arcing half-cycles of each day; the line is their sum, {arcing.sum():,.0f} at its end.",
        frame.drawing(),
        ("day_utc", "arcing_halfcycles"),
        [(utc_text(day.from_us)[:10], day.sums["arcing_halfcycles"]) for day in days],
        "Daily, UTC",
    )


def maxima_figure(facts: Facts, one: InsulatorTrend, count: Counter) -> Figure:
    """Highest peak of each month, what the next year may bring, and the limit."""
    standing = one.standing
    months = np.array(standing.months, np.int64)
    edges = [(months + k).astype("datetime64[M]").astype("datetime64[us]").astype(np.float64)
             for k in (0, 1)]  # fmt: skip
    year = standing.next_year
    peaks = np.array(standing.maxima_ma)
    top = max(
        float(np.max(peaks, initial=1.0)), standing.near_ma, 0.0 if year is None else year.high
    )
    low = max(min(float(np.min(peaks, initial=top)), standing.near_ma) / 2.0, 0.01)
    span = facts.trend
    end = span.now.to_us + 0.06 * (span.now.to_us - span.reference.from_us)
    x = time_scale(span.reference.from_us, int(end))
    frame = Frame(WIDTH, HEIGHT, x, logarithmic(low, 1.5 * top), "Highest currents of the months")
    frame.y_label, frame.x_label = "mA peak", "UTC"
    frame.bars(edges[0] + 2 * DAY_US, edges[1] - 2 * DAY_US, peaks, SHADE)
    if year is not None:
        place = np.array([span.now.to_us + 0.03 * (span.now.to_us - span.reference.from_us)])
        frame.whiskers(place, np.array([year.low]), np.array([year.high]), INK)
        frame.dots(place, np.array([year.level]), INK, 1.8, "dot")
    frame.level(standing.near_ma, f"near from {standing.near_ma:.0f} mA", BLUE)
    rows = [(str(np.datetime64(int(m), "M")), p) for m, p in zip(months, peaks, strict=True)]
    return count.figure(
        "Highest peak of each month; right, the level passed once in a year on average by Gumbel, "
        "with its 90 % interval.",
        frame.drawing(),
        ("month_utc", "highest_ma_peak"),
        rows,
        "mA peak, months UTC",
    )


def waveform_figure(found: WaveformFound, count: Counter) -> Figure:
    """The kept waveform with its arcing half-cycles marked."""
    wave = marked(found.manifest, found.content)
    size = float(np.max(np.abs(wave.current_ma), initial=1e-3))
    time = wave.time_ms
    x = linear(float(time[0]), float(time[-1]), 8)
    frame = Frame(2 * WIDTH + 10, 95.0, x, linear(-size, size, 5), "Worst waveform of the month")
    frame.x_label, frame.y_label = "ms from the trigger", "mA"
    for begin, end in wave.arcs_ms:
        frame.bars(np.array([begin]), np.array([end]), np.array([frame.y.high]), PALE)
    frame.line(time, wave.current_ma, INK, 0.6)
    return count.figure(
        f"Line current, trigger {wave.trigger} at {utc_text(wave.trigger_us)}; shaded: arcing "
        "half-cycles.",
        frame.drawing(),
        ("ms", "current_ma"),
        list(zip(time.tolist(), wave.current_ma.tolist(), strict=True)),
        "mA, UTC",
    )
