"""The trend as `trend --json` prints it; null where it cannot be said, dates UTC, end excluded."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from gateway.trends.change import InsulatorTrend, SiteTrend
from gateway.trends.columns import Period
from gateway.trends.margin import ReturnLevel
from gateway.trends.standing import Standing
from gateway.trends.wash import WashEffect


def trend_document(trend: SiteTrend) -> dict[str, Any]:
    """As the contract has it; further keys hold what a reader may want besides."""
    return {
        "site": trend.site,
        "reference": _period(trend.reference),
        "now": _period(trend.now),
        "interval_level": trend.interval_level,
        "weather_flags": list(trend.found),
        "insulators": [_insulator(one) for one in trend.insulators],
    }


def utc_text(at_us: int) -> str:
    """RFC 3339 to the second."""
    return datetime.fromtimestamp(at_us // 1_000_000, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _period(period: Period) -> dict[str, str]:
    return {"from": utc_text(period.from_us), "to": utc_text(period.to_us)}


def _insulator(one: InsulatorTrend) -> dict[str, Any]:
    return {
        "insulator": one.insulator,
        "index_ratio": _rounded(one.index_ratio, 4),
        "index_ratio_low": _rounded(one.index_ratio_low, 4),
        "index_ratio_high": _rounded(one.index_ratio_high, 4),
        "onset_rh_reference": _rounded(one.onset_rh_reference, 2),
        "onset_rh_now": _rounded(one.onset_rh_now, 2),
        "wet_hours_reference": one.wet_hours_reference,
        "wet_hours_now": one.wet_hours_now,
        "changed": one.changed,
        "cause": one.cause.value,
        "decision": one.advice.decision.value,
        "reasons": list(one.reasons),
        "wash": None if one.wash is None else _wash(one.wash),
        "changed_at": None if one.changed_us is None else utc_text(one.changed_us),
        "would_change": one.advice.change,
        "index_reference_ma": _rounded(one.index_reference_ma, 6),
        "good_share": _rounded(one.good_share, 4),
        "flags": list(one.found),
        "rule": one.advice.name,
        "margin": _margin(one.standing),
        "arcing_hours": _rounded(one.standing.arcing_h, 4),
        "arcing_share_of_wet": _rounded(one.standing.arcing_share, 6),
    }


def _margin(standing: Standing) -> dict[str, Any]:
    """Highest peaks against the flashover limit on both readings, all in mA peak."""
    return {
        "highest_ma": _rounded(standing.highest_ma, 3),
        "near_from_ma": _rounded(standing.near_ma, 1),
        "limit_phase_phase_ma": _rounded(standing.limit_ma, 1),
        "limit_phase_earth_ma": _rounded(standing.limit_earth_ma, 1),
        "next_year": _level(standing.next_year),
        "next_year_by_nights": _level(standing.next_year_peaks),
    }


def _level(found: ReturnLevel | None) -> dict[str, Any] | None:
    if found is None:
        return None
    ends = {"level_ma": found.level, "low_ma": found.low, "high_ma": found.high}
    return {name: round(one, 3) for name, one in ends.items()} | {"fitted_to": found.fitted}


def _wash(effect: WashEffect) -> dict[str, Any]:
    return {
        "ratio": _rounded(effect.ratio, 4),
        "low": _rounded(effect.low, 4),
        "high": _rounded(effect.high, 4),
        "verdict": effect.verdict.value,
        "at": utc_text(effect.at_us),
    }


def _rounded(found: float | None, places: int) -> float | None:
    return None if found is None else round(found, places)
