"""A field set begun, and recordings taken into it."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

from edge.recording import Record, RecordingError
from edge.settings import measure_plan
from gateway.field_set.folder import (
    LABELS,
    MANIFEST,
    RECORDINGS,
    SETTINGS,
    SHEET,
    Entry,
    FieldSet,
    FieldSetFault,
    file_hash,
    open_set,
    settings_of,
    with_entry,
    write_set,
    write_whole,
)
from gateway.field_set.sheet import sheet_text
from gateway.replay.feeds import opened_feed, recordings_in
from gateway.replay.labels import COLUMNS, OPTIONAL

RECORDED_WITH = re.compile(r" settings ([0-9a-f]{16})$")
"""How `seafret-edge record` names its settings in the recording's device."""


def begin(folder: Path, settings: Path, title: str) -> None:
    """An empty set. Raises FieldSetFault, OSError, SettingsError."""
    if (folder / MANIFEST).exists():
        raise FieldSetFault(f"{folder} is a field set already; name another folder")
    (folder / RECORDINGS).mkdir(parents=True, exist_ok=True)
    shutil.copyfile(settings, folder / SETTINGS)
    known = settings_of(folder)
    write_whole(folder / LABELS, ",".join((*COLUMNS, *OPTIONAL)) + "\n")
    write_whole(folder / SHEET, sheet_text(known, title))
    write_set(FieldSet(title=title, settings_hash=file_hash(folder / SETTINGS)), folder)


def add(folder: Path, paths: tuple[Path, ...]) -> Iterator[Entry]:
    """Copies of recordings, each checked against the settings before it is taken in.

    Raises FieldSetFault, RecordingError, SettingsError; what was taken in before stays.
    """
    found, settings = open_set(folder), settings_of(folder)
    for path in recordings_in(paths):
        with opened_feed((path,)) as feed:
            (record,) = feed.records
            if record.cut:
                raise RecordingError(str(path), record.cut, "a whole recording", "record again")
            measure_plan(settings, record.description)
            sources = [source for source, _ in feed.contents]
            entry = _copied(folder, found, record, sources)
        found = with_entry(found, entry)
        write_set(found, folder)
        yield entry


def _copied(folder: Path, found: FieldSet, record: Record, sources: list[Path]) -> Entry:
    name = f"{len(found.recordings) + 1:03d}-{sources[0].stem}"
    targets = [folder / RECORDINGS / f"{name}{one.suffix.lower()}" for one in sources]
    for source, target in zip(sources, targets, strict=True):
        shutil.copyfile(source, target)
    hashes = {one.name: file_hash(one) for one in targets}
    if twin := next((one for one in found.recordings if _same(one, hashes)), None):
        for target in targets:
            target.unlink()
        raise FieldSetFault(f"{sources[0]} is in the set already, as {twin.name}")
    start_us = record.header.start_utc_ns // 1000
    told = RECORDED_WITH.search(record.header.device)
    return Entry(
        name=name,
        hashes=hashes,
        start_us=start_us,
        end_us=start_us + round(record.rows.count / record.description.rate_hz * 1e6),
        rate_hz=record.description.rate_hz,
        synchronised=record.header.quality.synchronised,
        settings_sha=told.group(1) if told else "",
    )


def _same(entry: Entry, hashes: dict[str, str]) -> bool:
    return sorted(entry.hashes.values()) == sorted(hashes.values())
