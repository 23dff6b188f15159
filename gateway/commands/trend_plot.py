"""The trend of a site as a picture: response, nights in order of time, exposure.

One row of three panels for each insulator. Grey is the reference period, blue the period judged;
the shapes of the marks differ, too.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click
import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt
    from matplotlib.axes import Axes

    from gateway.reading.question import Question
    from gateway.trends.change import InsulatorTrend, SiteTrend
    from gateway.trends.columns import Floats
    from gateway.trends.evidence import Site

    Dates = npt.NDArray[np.datetime64]

PLOTTED_MAX = 12
"""Insulators in one picture; of more, the most urgent are drawn and the title says so."""

ENDINGS = (".png", ".svg", ".pdf")
GREY, BLUE, BLACK = "0.6", "#1f5fa8", "0.1"
DRY_PCT, FULL_PCT = 40.0, 101.0
HOUR_S = 3600
NIGHTS_FOR_INTERVAL = 5


def check_plot(path: Path) -> None:
    """Wrong use where the ending says no form of picture."""
    if path.suffix not in ENDINGS:
        raise click.UsageError(f"--plot is {path}; it must end in {', '.join(ENDINGS)}")


def draw_trend(trend: SiteTrend, question: Question, path: Path) -> None:
    """Writes the picture."""
    from matplotlib.figure import Figure

    from gateway.trends.ranking import urgency

    shown = sorted(trend.insulators, key=urgency)[:PLOTTED_MAX]
    site = _site(question)
    height_in = 1.1 + 2.5 * len(shown)
    figure = Figure(figsize=(13, height_in), layout="constrained")
    panels = figure.subplots(max(len(shown), 1), 3, squeeze=False)
    for one, (response, nights, exposure) in zip(shown, panels, strict=True):
        _draw_response(response, one, site)
        _draw_nights(nights, one)
        _draw_exposure(exposure, one.insulator, site)
    left_out = len(trend.insulators) - len(shown)
    more = f"; {left_out} less urgent ones left out" if left_out else ""
    figure.suptitle(f"{trend.site}: grey circles reference, blue crosses now (UTC){more}")
    figure.savefig(path, dpi=110, metadata={"Software": None} if path.suffix == ".png" else None)


def _site(question: Question) -> Site:
    from gateway.trends.columns import WeatherColumns
    from gateway.trends.evidence import on_grid

    nothing = np.zeros(0, np.int64)
    weather = question.weather() or WeatherColumns(nothing, nothing, np.zeros(0))
    periods = question.reference, question.now, question.span
    return on_grid(question.columns(), weather, *periods)


def _draw_response(axes: Axes, one: InsulatorTrend, site: Site) -> None:
    """Hourly current against humidity; lines: the response with the nights' levels taken out."""
    current, humidity = site.currents[one.insulator].current_ma, site.grid.rh_pct
    for chosen, colour, mark in ((site.earlier, GREY, "o"), (site.later, BLUE, "x")):
        seen = chosen & (current > 0)
        axes.plot(humidity[seen], current[seen], mark, color=colour, ms=2, alpha=0.35)
    for along, log_ma, colour in _curves(one):
        axes.plot(along, np.exp(log_ma), color=colour, lw=2)
    axes.set(
        xlim=(DRY_PCT, FULL_PCT),
        xlabel="humidity [%]; lines: without dry current",
        ylabel="mA r.m.s.",
    )
    if bool(np.any(current[site.earlier | site.later] > 0)):
        axes.set_yscale("log")
    else:
        axes.text(0.5, 0.5, "no current", ha="center", transform=axes.transAxes)
    decision = f"{one.insulator}: {one.advice.decision.value}, {one.cause.value}"
    axes.set_title(decision, fontsize="medium", loc="left")


def _curves(one: InsulatorTrend) -> list[tuple[Floats, Floats, str]]:
    from gateway.trends.curve import curve_at
    from gateway.trends.response import later_log_ma

    fit = one.response.fit
    if fit is None or one.onset_rh_reference is None:
        return []
    along = np.linspace(max(one.onset_rh_reference - 8.0, DRY_PCT), 99.0, 200)
    before = (along, curve_at(fit.curve, along), "0.25")
    if one.index_ratio is None:
        return [before]
    return [before, (along, later_log_ma(fit, along), BLUE)]


def _draw_nights(axes: Axes, one: InsulatorTrend) -> None:
    """Each wet night against the reference response, and months with their 90 % intervals."""
    fit = one.response.fit
    axes.set_ylabel("times the reference")
    axes.set_title("nights, months with intervals", fontsize="medium", loc="left")
    axes.axhline(1.0, color=BLACK, lw=0.8)
    if fit is None:
        axes.text(0.5, 0.5, one.response.why, ha="center", transform=axes.transAxes)
        return
    at = (one.response.night_hours * HOUR_S).astype("datetime64[s]")
    later = one.response.night_later > 0
    for chosen, colour, mark in ((~later, GREY, "o"), (later, BLUE, "x")):
        axes.plot(at[chosen], np.exp(fit.levels[chosen]), mark, color=colour, ms=3, alpha=0.6)
    when = np.unique(at.astype("datetime64[M]"))
    middle, low, high = _months(at, fit.levels).T
    when = when.astype("datetime64[s]") + np.timedelta64(14, "D")
    axes.errorbar(when, middle, (middle - low, high - middle), fmt="s", color=BLACK, ms=4)
    axes.set_yscale("log")
    axes.tick_params(axis="x", rotation=30)


def _months(at: Dates, levels: Floats) -> Floats:
    """Mean, low, high of each month's nights: nights taken as independent of one another."""
    from gateway.trends.distributions import two_sided_t

    months = at.astype("datetime64[M]")
    found: list[tuple[float, float, float]] = []
    for month in np.unique(months):
        inside = levels[(months == month) & np.isfinite(levels)]
        mean = wide = np.nan
        if inside.size >= NIGHTS_FOR_INTERVAL:
            mean = float(inside.mean())
            wide = two_sided_t(0.90, inside.size - 1) * float(
                np.std(inside, ddof=1) / inside.size**0.5
            )
        found.append((np.exp(mean), np.exp(mean - wide), np.exp(mean + wide)))
    return np.array(found, np.float64).reshape(-1, 3)


def _draw_exposure(axes: Axes, insulator: str, site: Site) -> None:
    """Arcing half-cycles of each day, and their sum so far."""
    days = (np.arange(site.grid.count) + site.grid.first_hour) // 24
    first, count = int(days[0]), int(days[-1] - days[0]) + 1
    daily = np.bincount(days - first, np.nan_to_num(site.currents[insulator].arcing), count)
    at = (np.arange(first, first + count)).astype("datetime64[D]")
    axes.fill_between(at, daily, step="mid", color=GREY)
    axes.set_ylabel("arcing half-cycles a day")
    total = axes.twinx()
    total.plot(at, np.cumsum(daily), color=BLACK, lw=1.5)
    total.set_ylabel("so far (line)")
    axes.set_title("exposure, good rows", fontsize="medium", loc="left")
    axes.tick_params(axis="x", rotation=30)
