"""The book of limits: one line for each thing that was said or done about a unit's limits."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import Any

from edge.wire import canonical

BOOK = "limits"
"""Its name among the gateway's books."""

GATEWAY = "gateway"
"""Who, where no person and no unit did it."""


class What(StrEnum):
    """Kinds of lines."""

    PROPOSED = "proposed"
    APPROVED = "approved"
    WITHDRAWN = "withdrawn"
    ROLLED_BACK = "rolled-back"  # a version with an earlier content, approved by that earlier word
    SENT = "sent"
    APPLIED = "applied"  # the unit's word
    REFUSED = "refused"  # the unit's word
    FOUND = "found"  # the unit decides with another version than was believed


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line. version: the one it is about; of `found`, the one that the unit has (0: none).

    alarms: the whole content of a new version, as the unit's settings file would say it; None
    gives the word back to that file. origin: version that a roll-back goes back to. sheet,
    settings: digests that a unit confirmed. reason: a person's, or why a unit refused.
    """

    at_us: int
    what: What
    who: str
    unit: str
    version: int
    address: str = ""
    reason: str = ""
    alarms: dict[str, Any] | None = None
    origin: int = 0
    sheet: str = ""
    settings: str = ""


class LineFault(ValueError):
    """A line of the book is not as it was written."""


def line_body(line: Line) -> bytes:
    """The canonical body of a line."""
    return canonical(asdict(line))


def read_line(body: bytes) -> Line:
    """The line of a body that `line_body` made. Raises LineFault."""
    try:
        plain = json.loads(body)
        return Line(**{**plain, "what": What(plain["what"])})
    except (ValueError, TypeError, KeyError) as fault:
        raise LineFault(
            f"book of limits: {fault}; a line must be as it was written: {body[:200]!r}"
        ) from fault
