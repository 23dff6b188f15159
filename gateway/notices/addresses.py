"""What may be told of a recipient's address: its scheme, and nothing else. Pure.

Addresses hold passwords and tokens, and what a library says of a failed try may repeat them.
"""

from __future__ import annotations

import re
from urllib.parse import unquote_plus

UNKNOWN = "?"

_SCHEME = re.compile(r"([a-zA-Z][a-zA-Z0-9+.-]{0,31})://")
_CUTS = re.compile(r"[/:@?&=,;#\s]+")

PIECE_MIN = 3
"""Shorter pieces of an address are left in what is told: they are words of every sentence."""

HIDDEN = "(…)"

WAYS = {
    "mailto": "mail",
    "mailtos": "mail over TLS",
    "json": "web hook",
    "jsons": "web hook over TLS",
    "form": "web hook",
    "forms": "web hook over TLS",
    "xml": "web hook",
    "xmls": "web hook over TLS",
}
"""What people call a channel, by scheme; others go by their scheme alone."""


def scheme_of(address: str) -> str:
    """Such as `mailtos`; UNKNOWN where it has none."""
    found = _SCHEME.match(address)
    return found[1].lower() if found else UNKNOWN


def way_of(scheme: str) -> str:
    """What people call the channel."""
    return WAYS.get(scheme, scheme)


def unsaid(why: str, address: str) -> str:
    """The reason of a failure without any piece of the address but its scheme."""
    rest = address.partition("://")[2] or address
    plain = {piece for text in (rest, unquote_plus(rest)) for piece in _CUTS.split(text)}
    for piece in sorted(plain, key=len, reverse=True):
        if len(piece) >= PIECE_MIN:
            why = why.replace(piece, HIDDEN)
    return why
