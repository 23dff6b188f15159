"""Which certificates end soon: those that the gateway uses, and those whose files it is shown.

A list of revoked certificates ends, too, and then shuts everybody out. Units tell in their health
records when their own end.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from edge.checking.certificates import CertificateUnreadable, next_update, not_after

MARKS_DAYS = (1, 7, 30)
"""So many days before the end people are told, once at each."""

LOOK_S = 3600.0
"""Between two looks at the files."""

DAY_S = 86_400

ENDED = 0


@dataclass(frozen=True, slots=True)
class Ending:
    """A file that ends soon. mark: the smallest of MARKS_DAYS that it is within, ENDED after it."""

    path: Path
    ends: datetime | None
    mark: int
    said: str


def read_ending(path: Path, now: datetime) -> Ending | None:
    """What is to be said of a certificate or a list; None while it is good for long."""
    try:
        text = path.read_text(encoding="ascii", errors="replace")
        ends = (next_update if "BEGIN X509 CRL" in text else not_after)(text, str(path))
    except (OSError, CertificateUnreadable) as fault:
        why = fault.strerror if isinstance(fault, OSError) and fault.strerror else str(fault)
        return Ending(path, None, ENDED, f"{path} cannot be read: {why}")
    mark = mark_of((ends - now).total_seconds())
    if mark is None:
        return None
    when = ends.strftime("%Y-%m-%d %H:%M UTC")
    said = f"{path} has ended on {when}" if mark == ENDED else f"{path} ends on {when}"
    return Ending(path, ends, mark, f"{said}; renew it with deploy/certificates.sh")


def mark_of(left_s: float) -> int | None:
    """The mark that so many seconds before the end are within; None before the first."""
    if left_s <= 0:
        return ENDED
    return next((days for days in MARKS_DAYS if left_s <= days * DAY_S), None)


def news(told: Mapping[Path, Ending], endings: Iterable[Ending]) -> tuple[Ending, ...]:
    """Those endings of which people were not told at this mark yet."""
    return tuple(
        one
        for one in endings
        if (held := told.get(one.path)) is None or (held.ends, held.mark) != (one.ends, one.mark)
    )


def look(paths: Iterable[Path], now_us: int) -> tuple[Ending, ...]:
    """All that end soon, by path."""
    now = datetime.fromtimestamp(now_us / 1e6, UTC)
    found = (read_ending(path, now) for path in sorted(set(paths)))
    return tuple(one for one in found if one is not None)
