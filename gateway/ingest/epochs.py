"""Which epochs a unit has had, as far as the history tells, and how they follow on each other."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import ExitStack, closing
from functools import cache

from edge.records import EpochStart, Record
from gateway.history.store import History, SiteReader, StreamKey
from gateway.ingest.topics import site_of

EPOCHS_ASKED = 3
"""Epochs of a unit that a gateway asks about after its own start; older ones were complete before
these began, or are told of by those that chain to them."""


def previous_epoch(records: Iterable[Record | None]) -> str:
    """The epoch that the first of these that begins one follows on; "" where none does."""
    return next((one.previous_epoch for one in records if isinstance(one, EpochStart)), "")


def latest_marks(marks: Mapping[StreamKey, int]) -> dict[StreamKey, int]:
    """The marks, in order of first sight, of each unit's newest epoch in each stream."""
    newest = {(key.unit, key.stream): key for key in marks}
    return {key: marks[key] for key in newest.values()}


def to_ask_about(history: History, marks: Mapping[StreamKey, int]) -> list[tuple[str, str]]:
    """Unit and epoch of the newest that each unit has told of, and of those they chain to."""
    known: dict[str, dict[str, list[StreamKey]]] = {}
    for key in marks:
        known.setdefault(key.unit, {}).setdefault(key.epoch, []).append(key)
    asked: dict[tuple[str, str], None] = {}
    with ExitStack() as opened:

        @cache
        def reader(site: str) -> SiteReader:
            return opened.enter_context(closing(history.reader(site)))

        for unit, epochs in known.items():
            for epoch in list(epochs)[-EPOCHS_ASKED:]:
                asked[unit, epoch] = None
                for key in epochs[epoch]:
                    if before := _first_says(reader(site_of(unit)), key):
                        asked[unit, before] = None
    return list(asked)


def _first_says(reader: SiteReader, key: StreamKey) -> str:
    return previous_epoch(entry.record for entry in reader.lines(key, 0, 1))
