"""The trend of a site as plain text at 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from gateway.reading.register import Register
from gateway.trends.change import InsulatorTrend, SiteTrend
from gateway.trends.columns import Period
from gateway.trends.document import utc_text
from gateway.trends.ranking import urgency
from gateway.trends.standing import Standing

WIDTH = 80
CHANGED = {True: "changed", False: "unchanged", None: "cannot tell"}
CAUTION = (
    "'none-indicated' means by the current: core and interface faults are invisible to it. An "
    "arcing insulator can flash over without warning: keep clear, no washing and no live work on "
    "it."
)


def trend_text(trend: SiteTrend, register: Register) -> str:
    """Head, a paragraph for each insulator, the cautions."""
    return "\n".join([*_head(trend), *_insulators(trend, register), *_wrapped(CAUTION, "", "")])


def _head(trend: SiteTrend) -> Iterator[str]:
    yield f"{trend.site}: {len(trend.insulators)} insulators, compared at equal wetness"
    yield f"  reference {_period(trend.reference)}"
    yield f"  now       {_period(trend.now)}"
    yield f"  in brackets: intervals that hold the truth {trend.interval_level:.0%} of the time"
    if trend.found:
        yield f"  weather:  {', '.join(trend.found)}"
    yield ""


def _period(period: Period) -> str:
    return f"{_day(period.from_us)} to {_day(period.to_us)} UTC, end excluded"


def _day(at_us: int) -> str:
    return utc_text(at_us).removesuffix("T00:00:00Z")


def _insulators(trend: SiteTrend, register: Register) -> Iterator[str]:
    entries = register.entries()
    for one in sorted(trend.insulators, key=urgency):
        entry = entries.get(one.insulator)
        type_name = "type unknown" if entry is None else entry.type.value
        yield f"{one.insulator}  {one.advice.decision.value.upper()}  ({type_name})"
        yield from _figures(one)
        for reason in one.reasons:
            yield from _wrapped(reason, "  why     ", "          ")
        yield from _wrapped(one.advice.change, "  unless  ", "          ")
        if one.found:
            yield from _wrapped(", ".join(one.found), "  data    ", "          ")
        yield ""


def _figures(one: InsulatorTrend) -> Iterator[str]:
    at = "" if one.changed_us is None else f", since about {utc_text(one.changed_us)[:10]}"
    yield f"  change  {CHANGED[one.changed]}{at}; cause: {one.cause.value}"
    yield f"  index   {_ratio(one.index_ratio, one.index_ratio_low, one.index_ratio_high)}"
    onset = f"{_percent(one.onset_rh_reference)}, now {_percent(one.onset_rh_now)} % RH"
    yield f"  onset   {onset}; wet hours {one.wet_hours_reference}, now {one.wet_hours_now}"
    yield f"  peak    {_peak(one.standing)}"
    if one.wash is not None:
        effect = _ratio(one.wash.ratio, one.wash.low, one.wash.high)
        yield f"  wash    {utc_text(one.wash.at_us)[:10]}: {one.wash.verdict.value}; {effect}"


def _peak(standing: Standing) -> str:
    if standing.highest_ma is None:
        return "not measured"
    arcing = "" if standing.arcing_h is None else f"; arcing {standing.arcing_h:.1f} h"
    return f"{standing.highest_ma:.1f} mA, near from {standing.near_ma:.0f} mA{arcing}"


def _ratio(middle: float | None, low: float | None, high: float | None) -> str:
    if middle is None or low is None or high is None:
        return "cannot be said"
    return f"{middle:.2f} times ({low:.2f} to {high:.2f})"


def _percent(found: float | None) -> str:
    return "?" if found is None else f"{found:.1f}"


def _wrapped(text: str, first: str, further: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=further)
