"""Lines of the book of notices, as the desk writes them. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from gateway.notices.planning import Kind, Occurrence
from gateway.outward_settings import Recipient

Line = dict[str, Any]

ABOUT_NONE: Occurrence = ("", 0)
"""What a test is about."""


def queued(
    to: Recipient,
    kind: Kind,
    which: Occurrence,
    priority: int,
    subject: str,
    body: str,
    **more: Any,
) -> Line:
    """One message to one recipient; only a long one has a subject."""
    return {
        "what": "queued",
        "recipient": to.name,
        "form": to.form,
        "kind": kind.value,
        "site": which[0],
        "occurrence": which[1],
        "priority": priority,
        "subject": subject if to.form == "long" else "",
        "body": body,
        **more,
    }


def fate(number: int, why: str, tried: bool = True) -> Line:
    """How a try of a notice went; why: "" where it was taken. tried: False where it was given up
    without a try, which says nothing of the way to the recipient."""
    known = {} if tried else {"tried": False}
    return {"what": "failed" if why else "delivered", "number": number, "why": why, **known}


def asked(by: str, address: str, to: str) -> Line:
    """Somebody asked for a trial. to: one recipient, "" for all."""
    return {"what": "asked", "by": by, "address": address, "to": to}


def numbered(lines: Iterable[Line], last: int, at_us: int) -> Iterator[Line]:
    """With the time, and those that are queued with the numbers after `last`."""
    for line in lines:
        if line["what"] == "queued":
            last += 1
            line = {**line, "number": last}
        yield {**line, "at_us": at_us}
