"""Quantiles and tails of the distributions that the trends need.

The same functions that `scipy.stats` wraps, asked for directly: importing that package alone takes
longer than reading a year of an insulator. A test holds both to be equal.
"""

from __future__ import annotations

from types import ModuleType


def _special() -> ModuleType:
    """scipy's, imported when first asked: a gateway that nobody asks for a trend does without its
    25 MB."""
    from scipy import special

    found: ModuleType = special
    return found


def t_quantile(share: float, freedom: float) -> float:
    """Student's quantile: below it lies `share`."""
    return float(_special().stdtrit(freedom, share))


def t_tail(size: float, freedom: float) -> float:
    """Chance that Student's variable exceeds `size`."""
    return float(_special().stdtr(freedom, -size))


def two_sided_t(level: float, freedom: float) -> float:
    """So many standard errors reach to either side of an interval at `level`."""
    return t_quantile(0.5 + level / 2, freedom)


def kolmogorov_tail(excursion: float) -> float:
    """Chance that a bridge's largest excursion exceeds `excursion` (Kolmogorov's distribution)."""
    return float(_special().kolmogorov(excursion))
