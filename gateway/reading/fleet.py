"""The assessment of every insulator of a site, with what a person decided last, for a list."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from edge.wire import Refused
from gateway.reading.decisions import SiteBook, latest_decisions
from gateway.reading.question import answered, asked
from gateway.reading.register import beside
from gateway.trends.change import InsulatorTrend
from gateway.trends.document import utc_text
from gateway.trends.ranking import urgency


@dataclass(frozen=True, slots=True)
class Assessed:
    """One line of the list. decided: the last decision of a person, in words; None without."""

    site: str
    insulator: str
    decision: str
    reasons: tuple[str, ...]
    would_change: str
    good_share: float | None
    decided: str | None
    order: tuple[int, float, float, str]


def assessed(rows: SiteBook, site: str, data: Path) -> list[Assessed]:
    """All insulators of a site; none where there are not two periods of rows to compare."""
    try:
        question = asked(rows, site, beside(data, site), None, None)
    except Refused as fault:
        if fault.reason == "no-rows":
            return []
        raise
    decided = {
        name: f"{one.decision.value} by {one.by}, {utc_text(one.at_us)[:10]}"
        for name, one in latest_decisions(rows).items()
    }
    return [_line(site, one, decided.get(one.insulator)) for one in answered(question).insulators]


def _line(site: str, one: InsulatorTrend, decided: str | None) -> Assessed:
    return Assessed(
        site=site,
        insulator=one.insulator,
        decision=one.advice.decision.value,
        reasons=one.reasons,
        would_change=one.advice.change,
        good_share=one.good_share,
        decided=decided,
        order=urgency(one),
    )


def in_order(lines: Iterable[Assessed]) -> list[Assessed]:
    """Most urgent first, across sites."""
    return sorted(lines, key=lambda one: (*one.order[:3], one.site, one.insulator))
