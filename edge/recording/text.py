"""Lines, fields and numbers of a configuration, each read strictly and with its place."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from edge.recording.faults import RecordingError, excerpt
from edge.recording.model import CONFIGURATION_BYTES_MAX

_WHOLE = re.compile(r"\+?[0-9]{1,18}")
_DECIMAL = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,4})?")
_LINE_END = re.compile(r"\r\n|\n|\r")
DECIMAL_CHARACTERS_MAX = 64
"""A longer number is refused; the format itself allows 32 characters."""


@dataclass(frozen=True, slots=True)
class Lines:
    """The lines of one configuration text. first_line: number of the first one in its file."""

    name: str
    texts: tuple[str, ...]
    first_line: int = 1

    def where(self, index: int) -> str:
        """Place of a line for an error message."""
        return f"{self.name} line {self.first_line + index}"

    def has(self, index: int) -> bool:
        """Whether there is such a line with something on it."""
        return index < len(self.texts) and bool(self.texts[index].strip())

    def text(self, index: int, what: str) -> str:
        """The line, trimmed; RecordingError where the text ends before it."""
        if index >= len(self.texts):
            raise RecordingError(
                self.where(index),
                f"the configuration ends before {what}",
                "all lines down to the file type",
                "fetch the file again, it may have been cut",
            )
        return self.texts[index].strip()

    def fields(self, index: int, what: str) -> list[str]:
        """The line's comma-separated fields, trimmed."""
        return [field.strip() for field in self.text(index, what).split(",")]


def decode(content: bytes, name: str) -> str:
    """Text of a configuration: UTF-8 with or without byte-order mark, else Latin-1.

    Control-Z, which some writers end a text with, is dropped.
    """
    if len(content) > CONFIGURATION_BYTES_MAX:
        raise RecordingError(
            name,
            f"the text part has {len(content)} bytes",
            f"up to {CONFIGURATION_BYTES_MAX} bytes",
            "check that this is a COMTRADE configuration",
        )
    if b"\x00" in content:
        raise RecordingError(
            f"{name} byte {content.index(0)}",
            "a zero byte",
            "text in UTF-8 or Latin-1",
            "save the configuration again as UTF-8",
        )
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = content.decode("latin-1")
    return text.replace("\x1a", "")


def lines_of(content: bytes, name: str, first_line: int = 1) -> Lines:
    """Split at CRLF, LF or CR only: other separators may be part of a name."""
    return Lines(name, tuple(_LINE_END.split(decode(content, name).rstrip())), first_line)


def whole(text: str, where: str, what: str, low: int, high: int) -> int:
    """A whole number in a range."""
    if not _WHOLE.fullmatch(text) or not low <= int(text) <= high:
        raise RecordingError(
            where,
            f"{what} is {excerpt(text)}",
            f"a whole number from {low} to {high}",
            "correct the line or fetch the file again",
        )
    return int(text)


def decimal(text: str, where: str, what: str) -> float:
    """A finite decimal number."""
    fits = len(text) <= DECIMAL_CHARACTERS_MAX and _DECIMAL.fullmatch(text)
    if not fits or not math.isfinite(float(text)):
        raise RecordingError(
            where,
            f"{what} is {excerpt(text)}",
            "a finite decimal number",
            "correct the line or fetch the file again",
        )
    return float(text)
