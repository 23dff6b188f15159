"""Captured waveforms of a site as COMTRADE files, with a list of what each is and its hash."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

from edge.records import Capture
from gateway.history.store import PAGE_MAX, SiteReader

LIST = "captures.csv"
HEADER = (
    "file", "unit", "insulator", "trigger", "trigger_at", "start", "seconds", "sha256", "bytes",
    "settings_sha", "flags",
)  # fmt: skip


def captures_between(
    reader: SiteReader, start_us: int, end_us: int
) -> Iterator[tuple[str, Capture]]:
    """Unit and manifest of each capture triggered in [start, end), in order of time."""
    at_us = start_us
    seen: set[tuple[str, int, str, str]] = set()
    while page := reader.captures(at_us, end_us):
        for one in page:
            key = (one.key.unit, one.seq, one.key.epoch, one.record.content_sha)
            if key not in seen:
                seen.add(key)
                yield one.key.unit, one.record
        if len(page) < PAGE_MAX:
            return
        at_us = page[-1].record.trigger_us


def write_captures(reader: SiteReader, folder: Path, start_us: int, end_us: int) -> tuple[int, int]:
    """Writes each whole capture and the list; (written, not whole yet). A capture whose parts are
    missing or do not match its hash is listed without a file."""
    folder.mkdir(parents=True, exist_ok=True)
    written = missing = 0
    part = folder / f"{LIST}.part"
    with part.open("w", newline="", encoding="utf-8") as stream:
        table = csv.writer(stream, lineterminator="\n")
        table.writerow(HEADER)
        for unit, one in captures_between(reader, start_us, end_us):
            content = reader.capture_bytes(one.content_sha)
            name = "" if content is None else file_name(unit, one)
            if content is None:
                missing += 1
            else:
                (folder / name).write_bytes(content)
                written += 1
            table.writerow(_cells(name, unit, one))
    part.replace(folder / LIST)
    return written, missing


def file_name(unit: str, one: Capture) -> str:
    """Unit, insulator, trigger's time and kind, and the beginning of the hash, which keeps apart
    what some file system would take for the same."""
    insulator, trigger = (
        re.sub(r"[^\w.-]", "_", name, flags=re.ASCII) for name in (one.insulator, one.trigger)
    )
    stamp = _utc(one.trigger_us).replace("-", "").replace(":", "")
    return f"{unit}_{insulator}_{stamp}_{trigger}_{one.content_sha[:8]}.cff"


def _utc(at_us: int) -> str:
    at = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=at_us)
    return f"{at:%Y-%m-%dT%H:%M:%S}.{at.microsecond:06d}Z"


def _cells(name: str, unit: str, one: Capture) -> tuple[object, ...]:
    return (
        name, unit, one.insulator, one.trigger, _utc(one.trigger_us), _utc(one.start_us),
        f"{one.duration_us / 1e6:.6f}", one.content_sha, one.size_bytes, one.settings_sha,
        "|".join(one.flags),
    )  # fmt: skip
