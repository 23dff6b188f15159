"""The alphabet of text messages (GSM 7 bit): what 160 characters are, and what is not in it. Pure.

After the default alphabet of 3GPP TS 23.038 as recalled, and from secondary texts. Nine more
characters count twice, and a single one outside turns the whole message into one of 70: neither is
ever sent.
"""

from __future__ import annotations

import unicodedata

SHORT_MAX = 160

BASIC = frozenset(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?¡"
    "ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)

WRITTEN = {"µ": "u", "μ": "u", "–": "-", "—": "-", "’": "'", "‘": "'", "“": '"', "”": '"', "…": "."}
"""Written otherwise; what is neither here nor can lose its accent becomes a question mark."""

MARK = ".."
"""Where a name was shortened in its middle: beginnings and ends tell names apart."""


def plain(text: str) -> str:
    """The text in characters that count once, on one line."""
    return "".join(_plain(one) for one in text)


def _plain(character: str) -> str:
    if character in "\r\n\t":
        return " "
    if character in BASIC:
        return character
    if character in WRITTEN:
        return WRITTEN[character]
    bare = "".join(one for one in unicodedata.normalize("NFKD", character) if one in BASIC)
    return bare or ("(" if character in "[{" else ")" if character in "]}" else "?")


def shortened(text: str, most: int) -> str:
    """At most so many characters, cut in the middle."""
    if len(text) <= most:
        return text
    head = (most - len(MARK) + 1) // 2
    tail = most - len(MARK) - head
    return text[:head] + MARK + (text[-tail:] if tail else "")
