"""When the unit's certificate ends, and when that is to be told.

The file is read anew for every health record, so that one that was rotated is seen at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from edge.checking.certificates import CertificateUnreadable, not_after
from edge.daemon.diagnostics import CERTIFICATE_DAYS
from edge.records import UnitEvent


@dataclass(frozen=True, slots=True)
class Expiry:
    """days: whole days left, negative after the end; None where it is not known. unreadable: why
    the file could not be read, "" where it could."""

    days: int | None = None
    unreadable: str = ""


NOT_KNOWN = Expiry()
"""No certificate, or a clock that cannot judge it."""


def expiry_of(path: Path | None, now_us: int, *, synchronised: bool) -> Expiry:
    """Of the certificate in a PEM file; nothing is said where there is none.

    A clock that nobody keeps may be years off, so it says nothing either.
    """
    if path is None:
        return NOT_KNOWN
    try:
        end = not_after(path.read_text(encoding="ascii"), str(path))
    except (OSError, UnicodeDecodeError, CertificateUnreadable) as fault:
        return Expiry(unreadable=str(fault))
    if not synchronised:
        return NOT_KNOWN
    return Expiry((end - datetime.fromtimestamp(now_us / 1e6, UTC)).days)


def warned(before: Expiry, now: Expiry, now_us: int) -> tuple[UnitEvent, ...]:
    """An event where a further one of the limits was passed since, or the file became unreadable.

    What was not known before counts as far away, so that a start tells where things stand.
    """
    if now.unreadable:
        detail: dict[str, int | str] = {"why": now.unreadable[:200]}
        event = UnitEvent(event="certificate-unreadable", at_us=now_us, detail=detail)
        return () if before.unreadable else (event,)
    limit = _limit(now)
    known = _limit(before)
    if limit is None or (known is not None and known <= limit):
        return ()
    assert now.days is not None
    detail = {"days": now.days, "warned_at_days": limit}
    return (UnitEvent(event="certificate-ends", at_us=now_us, detail=detail),)


def _limit(expiry: Expiry) -> int | None:
    """The lowest limit that is reached; -1 once it has ended."""
    if expiry.days is None:
        return None
    if expiry.days < 0:
        return -1
    return min((limit for limit in CERTIFICATE_DAYS if expiry.days <= limit), default=None)
