"""Exact intervals for few events: shares after Clopper and Pearson, rates after Garwood.

Both are common practice (as recalled), hold their level at any count, and are wide where little was
seen: 0 of 5 says no more than 'under one in two'.
"""

from __future__ import annotations

from dataclasses import dataclass

from scipy.special import betaincinv, gammaincinv

LEVEL = 0.95


@dataclass(frozen=True, slots=True)
class Share:
    """`count` of `of`. All None where there is nothing to count."""

    count: int
    of: int
    share: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Rate:
    """`count` in `exposure` units of time. All None where no time was watched."""

    count: int
    exposure: float
    rate: float | None
    low: float | None
    high: float | None


def share(count: int, of: int, level: float = LEVEL) -> Share:
    """A share and its two-sided Clopper-Pearson interval."""
    if of == 0:
        return Share(count, of, None, None, None)
    tail = (1 - level) / 2
    low = 0.0 if count == 0 else float(betaincinv(count, of - count + 1, tail))
    high = 1.0 if count == of else float(betaincinv(count + 1, of - count, 1 - tail))
    return Share(count, of, count / of, low, high)


def rate(count: int, exposure: float, level: float = LEVEL) -> Rate:
    """A Poisson rate and its two-sided exact interval."""
    if exposure <= 0:
        return Rate(count, exposure, None, None, None)
    tail = (1 - level) / 2
    low = 0.0 if count == 0 else float(gammaincinv(count, tail)) / exposure
    return Rate(
        count, exposure, count / exposure, low, float(gammaincinv(count + 1, 1 - tail)) / exposure
    )
