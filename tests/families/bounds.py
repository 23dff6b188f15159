"""Exact confidence bounds of a binomial share, from the standard library's log-gamma alone."""

from __future__ import annotations

from math import exp, lgamma, log, log1p

BISECTIONS = 200


def _at_most(k: int, n: int, p: float) -> float:
    """Probability of k or fewer of n at share p."""
    if p <= 0.0:
        return 1.0
    if p >= 1.0:
        return 1.0 if k >= n else 0.0
    logs = [
        lgamma(n + 1) - lgamma(i + 1) - lgamma(n - i + 1) + i * log(p) + (n - i) * log1p(-p)
        for i in range(k + 1)
    ]
    top = max(logs)
    return min(exp(top) * sum(exp(part - top) for part in logs), 1.0)


MANY = 2_000
"""More events than this and the bound is three deviations above: exactness no longer matters."""


def upper_bound(k: int, n: int, confidence: float = 0.95) -> float:
    """One-sided Clopper-Pearson upper bound of the share of k of n; 1 where n is 0.

    For k = 0 it is 1 - (1 - confidence) ** (1 / n), the rule of three.
    """
    if n == 0 or k >= n:
        return 1.0
    if k > MANY:
        return min((k + 3 * float(k) ** 0.5) / n, 1.0)
    low, high = k / n, 1.0
    for _ in range(BISECTIONS):
        middle = (low + high) / 2
        if _at_most(k, n, middle) > 1 - confidence:
            low = middle
        else:
            high = middle
    return high
