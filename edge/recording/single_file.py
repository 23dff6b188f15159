"""The single-file form (.cff): text sections and one section of rows in one file."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from edge.recording.binary_rows import Bytes
from edge.recording.faults import RecordingError, excerpt
from edge.recording.model import CONFIGURATION_BYTES_MAX, FileType

SECTIONS = ("CFG", "INF", "HDR", "DAT")

_HEADING = re.compile(
    rb"[ \t]*---[ \t]*file[ \t]+type:[ \t]*([a-z]+)(?:[ \t]+([a-z0-9]+))?"
    rb"(?:[ \t]*:[ \t]*([0-9]{1,18}))?[ \t]*---[ \t]*(?:\r\n|\n|\Z)",
    re.IGNORECASE,
)
_NEXT = re.compile(rb"\n[ \t]*---[ \t]*file[ \t]+type:", re.IGNORECASE)
_FIRST = re.compile(rb"(?:\xef\xbb\xbf)?\s*")


@dataclass(frozen=True, slots=True, eq=False)
class Section:
    """One section. label: what its heading says of the rows' format. start: byte in the file.

    declared_bytes: length by the heading; None where it says none. The content is shorter where
    the file ends before.
    """

    name: str
    label: str
    start: int
    content: Bytes
    declared_bytes: int | None


def sections_of(content: Bytes, name: str) -> dict[str, Section]:
    """The sections by name; a binary one ends where its heading's byte count says."""
    view = content.data
    opening = _FIRST.match(view)
    at = opening.end() if opening else 0
    sections: dict[str, Section] = {}
    while at < len(view):
        heading = _HEADING.match(view, at)
        if heading is None:
            raise RecordingError(
                f"{name} byte {at}",
                f"found {excerpt(view[at : at + 60].tobytes().decode('latin-1'))}",
                "a section heading such as '--- file type: CFG ---'",
                "check that this is a COMTRADE single file",
            )
        section = _section(content, heading, name)
        if section.name in sections or section.name not in SECTIONS:
            raise RecordingError(
                f"{name} byte {at}",
                f"section {excerpt(section.name)}",
                f"each of {', '.join(SECTIONS)} once",
                "take the surplus section out",
            )
        sections[section.name] = section
        at = _after(view, section)
    for needed in ("CFG", "DAT"):
        if needed not in sections:
            raise RecordingError(
                name, f"no {needed} section", "a CFG and a DAT section", "fetch the file again"
            )
    return sections


def _section(content: Bytes, heading: re.Match[bytes], name: str) -> Section:
    title = heading[1].decode("ascii").upper()
    label = (heading[2] or b"").decode("ascii").upper()
    start, end = heading.end(), int(content.shape[0])
    if title == "DAT" and label not in ("", *FileType):
        raise RecordingError(
            f"{name} byte {heading.start()}",
            f"rows of type {excerpt(label)}",
            ", ".join(FileType),
            "correct the heading",
        )
    declared: int | None = None
    if title == "DAT" and label not in ("", "ASCII"):
        if heading[3] is not None:
            declared = int(heading[3])
            end = min(end, start + declared)
    else:
        following = _NEXT.search(content.data, max(start - 1, 0))
        end = following.start() + 1 if following else end
    if title != "DAT" and end - start > CONFIGURATION_BYTES_MAX:
        raise RecordingError(
            f"{name} byte {start}",
            f"section {title} has {end - start} bytes",
            f"up to {CONFIGURATION_BYTES_MAX} bytes",
            "shorten it",
        )
    return Section(title, label, start, content[start:end], declared)


def _after(view: memoryview, section: Section) -> int:
    """Where the next heading is due: blank bytes and control-Z after a section are passed over."""
    at = section.start + int(section.content.shape[0])
    while at < len(view) and view[at] in b" \t\r\n\x1a\x00":
        at += 1
    return at


def line_number(content: Bytes, at: int) -> int:
    """Number of the line that begins at a byte."""
    return int(np.count_nonzero(content[:at] == 10)) + 1
