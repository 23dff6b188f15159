"""Waveforms of a run as files: the parts behind each manifest put together again."""

from __future__ import annotations

import hashlib
import re
from base64 import b64decode
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from edge.records import Capture, CapturePart

FOLDER = "captures"


def file_name(manifest: Capture) -> str:
    """Insulator, trigger's time and kind; characters that some file system refuses are replaced."""
    at = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=manifest.trigger_us)
    insulator = re.sub(r"[^\w.-]", "_", manifest.insulator)
    return f"{insulator}_{at:%Y%m%dT%H%M%S}.{at.microsecond:06d}Z_{manifest.trigger}.cff"


def content_of(manifest: Capture, parts: Iterable[CapturePart]) -> bytes:
    """The file of a manifest. Our own parts must be whole: anything else is a bug."""
    ordered = sorted(parts, key=lambda part: part.part)
    content = b"".join(b64decode(part.content_b64) for part in ordered)
    assert hashlib.sha256(content).hexdigest() == manifest.content_sha
    return content


def write_files(records: Iterable[object], folder: Path) -> None:
    """Writes the file of each capture among records; parts come right behind their manifest."""
    manifest: Capture | None = None
    parts: list[CapturePart] = []
    for record in records:
        if isinstance(record, Capture):
            manifest, parts = record, []
        elif isinstance(record, CapturePart):
            assert manifest is not None
            parts.append(record)
            if len(parts) == manifest.parts:
                folder.mkdir(exist_ok=True)
                (folder / file_name(manifest)).write_bytes(content_of(manifest, parts))
