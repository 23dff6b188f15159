"""Stretches of time: joined, cut and measured. Half open, UTC us."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

Span = tuple[int, int]
"""From, and until before."""

SEAM_US = 1_000_000
"""Stretches that follow one another within a second are one: rows end at whole windows."""


def joined(spans: Iterable[Span], seam_us: int = SEAM_US) -> tuple[Span, ...]:
    """In order, those that overlap or follow within the seam as one."""
    found: list[Span] = []
    for start_us, end_us in sorted(spans):
        if found and start_us <= found[-1][1] + seam_us:
            found[-1] = (found[-1][0], max(found[-1][1], end_us))
        else:
            found.append((start_us, end_us))
    return tuple(found)


def cut(spans: Iterable[Span], to: Span) -> tuple[Span, ...]:
    """What of them lies within one stretch."""
    limited = ((max(start, to[0]), min(end, to[1])) for start, end in spans)
    return tuple((start, end) for start, end in limited if end > start)


def shared(a: Sequence[Span], b: Sequence[Span]) -> tuple[Span, ...]:
    """What lies in both; each is in order and does not overlap itself."""
    found = []
    i = j = 0
    while i < len(a) and j < len(b):
        start, end = max(a[i][0], b[j][0]), min(a[i][1], b[j][1])
        if end > start:
            found.append((start, end))
        if a[i][1] <= b[j][1]:
            i += 1
        else:
            j += 1
    return tuple(found)


def length_us(spans: Iterable[Span]) -> int:
    """How long they are together."""
    return sum(end - start for start, end in spans)


def holds(spans: Iterable[Span], at_us: int) -> bool:
    """Whether a moment lies in one of them."""
    return any(start <= at_us < end for start, end in spans)
