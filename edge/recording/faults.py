"""The one error of the codec: what a recording says cannot be trusted, and what to do about it."""

from __future__ import annotations

FOUND_CHARACTERS_MAX = 60
"""A longer excerpt of what was found is cut, so that the message stays one line."""


class RecordingError(ValueError):
    """A recording is refused: it is broken, contradicts itself, or is beyond a named limit.

    where: file and line, row or byte. found, allowed, remedy: what was there, what may be there,
    what a person can do. The text is one line of printable characters.
    """

    def __init__(self, where: str, found: str, allowed: str, remedy: str) -> None:
        super().__init__(f"{where}: {found}; allowed: {allowed}; {remedy}")
        self.where = where
        self.found = found
        self.allowed = allowed
        self.remedy = remedy


def excerpt(text: str) -> str:
    """`text` quoted, printable and short enough for one line."""
    cut = text if len(text) <= FOUND_CHARACTERS_MAX else text[:FOUND_CHARACTERS_MAX] + "..."
    return ascii(cut)
