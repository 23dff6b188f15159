"""Which surfaces moved, tested so that a steady site is rarely accused.

Each insulator brings a step (log ratio at equal wetness) and a shift (onset, % RH) with what each
block of nights adds to their errors. The blocks are shared by the site, so means of siblings and
differences from them have honest intervals, too: a good night is good for all.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from gateway.trends.columns import Floats
from gateway.trends.curve import Shift, basis, moved
from gateway.trends.distributions import t_tail, two_sided_t
from gateway.trends.mixed import MODEL_SD
from gateway.trends.model import Fit
from gateway.trends.response import REFERENCE_RH_PCT, Response

FALSE_ALARMS = 0.03
"""Chance that a steady site is flagged at all; shared among step and shift and its insulators."""
OWN_WHEN_SITE_MOVED = 0.05
"""When the site's mean moved for certain, an insulator needs only this to have moved with it."""
STEP_LEAST = float(np.log(1.25))
"""A smaller step is no change worth a journey. Design choice."""
SHIFT_LEAST_PCT = 4.0
"""A smaller shift is within what a humidity probe may drift (+-3 % RH, common practice)."""
HINT = 0.05
"""A step or shift of size with so small a chance is a hint: neither a change nor steady."""
WIDE_STEP, WIDE_SHIFT_PCT = float(np.log(2.0)), 8.0
"""With a wider interval (to either side) even a doubling could have been missed."""
SIBLING_SHARE = 0.5
"""A sibling moved along when it moved the same way by at least this share."""


class Pattern(StrEnum):
    """Who else moved."""

    STILL = "still"  # this one did not move
    ALONE = "alone"  # at most a third of the siblings moved along
    SITE = "site"  # at least two thirds did
    MIXED = "mixed"
    NO_SIBLINGS = "no-siblings"


@dataclass(frozen=True, slots=True)
class Move:
    """One insulator. Intervals at the stated level. either: moved, but step and shift cannot be
    told apart. unsure: not moved for certain, but not steady for certain either. p_*: two-sided."""

    step: float
    step_low: float
    step_high: float
    shift_pct: float
    shift_low_pct: float
    shift_high_pct: float
    p_step: float
    p_shift: float
    stepped: bool
    shifted: bool
    either: bool
    unsure: bool
    steps: Pattern
    shifts: Pattern


def moves(responses: Mapping[str, Response], level: float) -> dict[str, Move]:
    """The move of every insulator whose response could be compared."""
    fitted = {name: one for name, one in responses.items() if one.fit is not None}
    site = _site_p(fitted)
    found = {name: _own(one, len(fitted), site, level) for name, one in fitted.items()}
    return {name: _with_patterns(name, found) for name in found}


def _fit(response: Response) -> Fit:
    assert response.fit is not None
    return response.fit


def _p(estimate: float, sd: float, freedom: float) -> float:
    return 2.0 * t_tail(abs(estimate) / max(sd, 1e-12), freedom)


def _site_p(fitted: Mapping[str, Response]) -> tuple[float, float]:
    """Two-sided chances that the site's mean step and mean shift are 0."""
    if len(fitted) < 2:
        return 1.0, 1.0
    keys = np.unique(np.concatenate([one.block_keys for one in fitted.values()]))
    summed = np.zeros((keys.shape[0], 2))
    for one in fitted.values():
        summed[np.searchsorted(keys, one.block_keys)] += _fit(one).influence / len(fitted)
    estimates = np.mean([[_fit(one).step, _fit(one).shift_pct] for one in fitted.values()], axis=0)
    freedom = np.min([_fit(one).freedom for one in fitted.values()], axis=0)
    sd = np.sqrt(np.square(summed).sum(axis=0) + np.square(MODEL_SD))
    chances = [_p(float(estimates[k]), float(sd[k]), float(freedom[k])) for k in range(2)]
    return chances[0], chances[1]


def _own(response: Response, count: int, site: tuple[float, float], level: float) -> Move:
    fit = _fit(response)
    sd = np.sqrt(np.diag(fit.covariance))
    p = [
        _p(x, float(s), f)
        for x, s, f in zip((fit.step, fit.shift_pct), sd, fit.freedom, strict=True)
    ]
    wide = [two_sided_t(level, f) * float(s) for f, s in zip(fit.freedom, sd, strict=True)]
    strict = FALSE_ALARMS / 2 / count
    certain = [
        chance < strict or (common < FALSE_ALARMS / 2 and chance < OWN_WHEN_SITE_MOVED)
        for chance, common in zip(p, site, strict=True)
    ]
    stepped = certain[0] and abs(fit.step) >= STEP_LEAST
    shifted = certain[1] and abs(fit.shift_pct) >= SHIFT_LEAST_PCT
    either = not stepped and not shifted and _moved_together(fit, strict)
    return Move(
        step=fit.step,
        step_low=fit.step - wide[0],
        step_high=fit.step + wide[0],
        shift_pct=fit.shift_pct,
        shift_low_pct=fit.shift_pct - wide[1],
        shift_high_pct=fit.shift_pct + wide[1],
        p_step=p[0],
        p_shift=p[1],
        stepped=stepped,
        shifted=shifted,
        either=either,
        unsure=not (stepped or shifted or either) and _unsure(fit, p, wide),
        steps=Pattern.STILL,
        shifts=Pattern.STILL,
    )


def _unsure(fit: Fit, p: list[float], wide: list[float]) -> bool:
    """Whether a change that matters is neither shown nor excluded."""
    hinted = (p[0] < HINT and abs(fit.step) >= STEP_LEAST) or (
        p[1] < HINT and abs(fit.shift_pct) >= SHIFT_LEAST_PCT
    )
    return hinted or wide[0] > WIDE_STEP or wide[1] > WIDE_SHIFT_PCT


def _moved_together(fit: Fit, strict: float) -> bool:
    """Whether the current at the reference wetness moved, whatever the reason."""
    here = np.array([REFERENCE_RH_PCT])
    slope = float((basis(here)[1] @ fit.curve)[0] * moved(here, 0.0, Shift.FILM)[1][0])
    gradient: Floats = np.array([1.0, max(slope, 0.0)])
    change = float(gradient @ np.array([fit.step, fit.shift_pct]))
    sd = float(np.sqrt(gradient @ fit.covariance @ gradient))
    return _p(change, sd, min(fit.freedom)) < strict / 2 and abs(change) >= 2 * STEP_LEAST


def _with_patterns(name: str, found: Mapping[str, Move]) -> Move:
    own = found[name]
    others = [one for key, one in found.items() if key != name]
    steps = _pattern(own.stepped, own.step, [one.step for one in others])
    shifts = _pattern(own.shifted, own.shift_pct, [one.shift_pct for one in others])
    fields = {key: getattr(own, key) for key in own.__slots__}
    return Move(**{**fields, "steps": steps, "shifts": shifts})


def _pattern(moved: bool, size: float, others: list[float]) -> Pattern:
    if not moved:
        return Pattern.STILL
    if not others:
        return Pattern.NO_SIBLINGS
    along = np.mean([one / size >= SIBLING_SHARE for one in others])
    if along >= 2 / 3 - 1e-9:
        return Pattern.SITE
    return Pattern.ALONE if along <= 1 / 3 + 1e-9 else Pattern.MIXED
