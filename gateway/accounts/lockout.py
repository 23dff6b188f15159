"""Locking out who guesses: pure, by account and by address."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

MINUTE_US = 60_000_000

FAILURES_MAX = 5
"""So many wrong passwords in a row lock an account."""

FIRST_LOCK_US = 5 * MINUTE_US
LONGEST_LOCK_US = 60 * MINUTE_US
"""The first lock and the longest: each further one in a row is twice as long. An hour at most, so
that nobody can keep the night shift out for good by guessing at its name; an administrator can
lift it."""

ADDRESS_FAILURES_MAX = 30
ADDRESS_WINDOW_US = 15 * MINUTE_US
"""From an address with so many failures in this time nothing more is tried, whatever the name."""

ADDRESSES_MAX = 10_000
"""Of more addresses the ones whose last failure lies furthest back are forgotten."""


@dataclass(frozen=True, slots=True)
class Tries:
    """failures: in a row. locks: in a row, without a right password between."""

    failures: int = 0
    locks: int = 0
    locked_until_us: int = 0

    def is_locked(self, now_us: int) -> bool:
        """Whether the account is locked now."""
        return now_us < self.locked_until_us


FRESH = Tries()


def after_failure(tries: Tries, now_us: int) -> Tries:
    """One wrong password later."""
    failures = tries.failures + 1
    if failures < FAILURES_MAX:
        return Tries(failures, tries.locks, tries.locked_until_us)
    lasts_us = min(FIRST_LOCK_US << min(tries.locks, 10), LONGEST_LOCK_US)
    return Tries(0, tries.locks + 1, now_us + lasts_us)


Failures = Mapping[str, tuple[int, ...]]
"""Times of the failures of each address, the newest last."""


def address_failed(
    failures: Failures, address: str, now_us: int, most: int = ADDRESSES_MAX
) -> dict[str, tuple[int, ...]]:
    """The addresses after one more failure from one of them."""
    recent = (*_recent(failures, address, now_us), now_us)[-ADDRESS_FAILURES_MAX:]
    kept = {**{one: times for one, times in failures.items() if one != address}, address: recent}
    while len(kept) > most:
        del kept[min(kept, key=lambda one: kept[one][-1])]
    return kept


def is_address_barred(failures: Failures, address: str, now_us: int) -> bool:
    """Whether nothing more is tried from there now."""
    return len(_recent(failures, address, now_us)) >= ADDRESS_FAILURES_MAX


def _recent(failures: Failures, address: str, now_us: int) -> tuple[int, ...]:
    after_us = now_us - ADDRESS_WINDOW_US
    return tuple(at_us for at_us in failures.get(address, ()) if after_us < at_us <= now_us)
