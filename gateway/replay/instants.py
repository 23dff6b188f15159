"""Moments as people write them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MICROSECOND = timedelta(microseconds=1)


class InstantFault(ValueError):
    """The analyst's: a time that cannot be read, or that does not say where on Earth it holds."""


def instant_us(text: str, where: str) -> int:
    """UTC us of an RFC 3339 time with its zone. Raises InstantFault, which begins with `where`."""
    try:
        instant = datetime.fromisoformat(text)
    except ValueError:
        instant = None
    if instant is None or instant.tzinfo is None or instant < EPOCH:
        raise InstantFault(
            f"{where} {text!r}: a time with its zone is needed, as 2026-11-24T06:30:00Z"
        )
    return (instant - EPOCH) // MICROSECOND
