"""Waveforms of a run as files: the parts behind each manifest put together again."""

from __future__ import annotations

import hashlib
import re
from base64 import b64decode
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

from edge.records import Capture, CapturePart

FOLDER = "captures"


def stem_of(insulator: str) -> str:
    """A file's name for an insulator; where characters are replaced that some file system refuses,
    a digest keeps it apart from others."""
    plain = re.sub(r"[^\w.-]", "_", insulator, flags=re.ASCII)
    if plain == insulator:
        return plain
    return f"{plain}-{hashlib.sha256(insulator.encode()).hexdigest()[:6]}"


def file_name(manifest: Capture) -> str:
    """Insulator, trigger's time and kind."""
    at = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=manifest.trigger_us)
    stamp = f"{at:%Y%m%dT%H%M%S}.{at.microsecond:06d}Z"
    return f"{stem_of(manifest.insulator)}_{stamp}_{manifest.trigger}.cff"


def content_of(manifest: Capture, parts: Iterable[CapturePart]) -> bytes:
    """The file of a manifest. Our own parts must be whole: anything else is a bug."""
    ordered = sorted(parts, key=lambda part: part.part)
    content = b"".join(b64decode(part.content_b64) for part in ordered)
    assert hashlib.sha256(content).hexdigest() == manifest.content_sha
    return content


def whole_captures(records: Iterable[object]) -> Iterator[tuple[Capture, bytes]]:
    """Manifest and file of each capture among records; parts come right behind their manifest."""
    manifest: Capture | None = None
    parts: list[CapturePart] = []
    for record in records:
        if isinstance(record, Capture):
            manifest, parts = record, []
        elif isinstance(record, CapturePart):
            assert manifest is not None
            parts.append(record)
            if len(parts) == manifest.parts:
                yield manifest, content_of(manifest, parts)


def write_files(records: Iterable[object], folder: Path) -> None:
    """Writes the file of each capture among records into a folder, made where it is missing."""
    for manifest, content in whole_captures(records):
        folder.mkdir(exist_ok=True)
        (folder / file_name(manifest)).write_bytes(content)
