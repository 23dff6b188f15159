"""The seam of the history: what is appended, what can be read, whatever the database.

A *site* has a history of its own. Lines come from streams (unit, epoch, stream) in order of their
sequence number; a *mark* is the highest number up to which a stream is complete. An append moves
rows and marks in one transaction or not at all. Times are UTC microseconds, `end` is excluded.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Generic, Protocol, TypeVar

from edge.records import (
    Capture,
    ConditionChange,
    HealthRow,
    IntervalRow,
    Loss,
    Record,
    Span,
    Stream,
    WeatherRow,
)

PAGE_MAX = 10_000
"""Most rows that one read gives back; the caller asks again after the last one."""

GATEWAY_SITE = "_gateway"
"""Keeps what belongs to no known site (refusals, security events); no site's name has a `_`."""


RecordT = TypeVar("RecordT", covariant=True)


class HistoryFault(OSError):
    """The history could not be opened, read or written; nothing half-written remains."""


class MarkConflict(HistoryFault):
    """A mark is not where the writer believed: another writer was here. Nothing was written."""


@dataclass(frozen=True, slots=True, order=True)
class StreamKey:
    """One sequence of lines."""

    unit: str
    epoch: str
    stream: Stream


@dataclass(frozen=True, slots=True)
class Mark:
    """Lines 1 to `upto` of a stream are in the history (or in a loss record).

    order: rises with each stream when first seen, so a unit's epochs can be told in order.
    received_us: when the mark last moved, by the gateway's clock.
    """

    upto: int
    order: int
    received_us: int


@dataclass(frozen=True, slots=True)
class Entry:
    """A line to append, or as read back.

    digest: first 16 bytes of the SHA-256 of `body`. record: None where `unread` says why the body
    could not be read (it is kept whole, to be read by a later version).
    """

    key: StreamKey
    seq: int
    digest: bytes
    body: bytes
    record: Record | None
    boot: str
    clock: str
    t_boot_ns: int
    t_utc_us: int
    unread: str = ""


@dataclass(frozen=True, slots=True)
class MarkMove:
    """A mark goes from `before` (None: the stream is new) to `upto`."""

    before: int | None
    upto: int


@dataclass(frozen=True, slots=True)
class RawMessage:
    """A message of a schema that this version cannot read: lines `first` to `last`, kept whole."""

    key: StreamKey
    first: int
    last: int
    payload: bytes


@dataclass(frozen=True, slots=True)
class RefusedPayload:
    """What was not admitted; `payload` may be cut, `size_bytes` is its full length."""

    at_us: int
    topic: str
    reason: str
    text: str
    payload: bytes
    size_bytes: int


@dataclass(frozen=True, slots=True)
class SecurityEvent:
    """Something that an honest unit does not do, `count` times within one commit."""

    at_us: int
    unit: str
    event: str
    detail: str
    count: int = 1


@dataclass(frozen=True, slots=True)
class Commit:
    """What one transaction of a site holds. placed: raw ones that go, being entries."""

    at_us: int
    entries: tuple[Entry, ...] = ()
    marks: Mapping[StreamKey, MarkMove] = field(default_factory=dict)
    raw: tuple[RawMessage, ...] = ()
    refused: tuple[RefusedPayload, ...] = ()
    events: tuple[SecurityEvent, ...] = ()
    placed: tuple[RawMessage, ...] = ()


@dataclass(frozen=True, slots=True)
class Of(Generic[RecordT]):
    """A record with the stream and number it came under."""

    key: StreamKey
    seq: int
    record: RecordT


@dataclass(frozen=True, slots=True)
class JournalLine:
    """One line of a site's alarm journal, numbered from 1 without a gap; the history does not read
    `body`."""

    number: int
    at_us: int
    body: bytes


SUMMED = [
    "duration_us",
    "dry_us",
    "wet_us",
    "arcing_sparse_us",
    "arcing_dense_us",
    "de_energised_us",
    "unknown_us",
    "halfcycles",
    "arcing_halfcycles",
    "arcing_positive",
    "arcing_negative",
    "doubtful_halfcycles",
    "charge_positive_nc",
    "charge_negative_nc",
    "arcing_charge_positive_nc",
    "arcing_charge_negative_nc",
    "i2t_positive_pa2s",
    "i2t_negative_pa2s",
    "arcing_i2t_positive_pa2s",
    "arcing_i2t_negative_pa2s",
    "energy_positive_uj",
    "energy_negative_uj",
    "arcing_energy_positive_uj",
    "arcing_energy_negative_uj",
]
"""Interval columns whose sums over time are meaningful; `exposure` gives each."""


class SiteReader(Protocol):
    """Reads one site; sees only whole commits. Close it when done."""

    def close(self) -> None: ...

    def marks(self) -> dict[StreamKey, Mark]: ...

    def digests(self, key: StreamKey, first: int, last: int) -> dict[int, bytes]:
        """Digests of the stored lines `first` to `last`; a tombstoned line has none."""

    def lines(self, key: StreamKey, after: int = 0, limit: int = PAGE_MAX) -> list[Entry]:
        """Lines of a stream in order, body for body as they were sent."""

    def insulators(self) -> list[str]: ...

    def intervals(
        self,
        insulator: str,
        start_us: int,
        end_us: int,
        spans: Sequence[Span] = (Span.MINUTE, Span.MERGED),
        limit: int = PAGE_MAX,
    ) -> list[IntervalRow]:
        """Rows that start in [start, end), in order of time."""

    def interval_columns(
        self, insulator: str, columns: Sequence[str], start_us: int, end_us: int
    ) -> Iterable[tuple[int | None, ...]]:
        """Chosen integer columns of the rows that sum (no ten-second rows), in order of time."""

    def latest_intervals(self) -> list[Of[IntervalRow]]:
        """The row of each insulator that starts last."""

    def weather(
        self, start_us: int, end_us: int, limit: int = PAGE_MAX
    ) -> list[Of[WeatherRow]]: ...

    def health(self, start_us: int, end_us: int, limit: int = PAGE_MAX) -> list[Of[HealthRow]]: ...

    def latest_health(self) -> list[Of[HealthRow]]:
        """The last health record of each unit."""

    def conditions(
        self, start_us: int, end_us: int, limit: int = PAGE_MAX
    ) -> list[Of[ConditionChange]]:
        """Changes with an event time in [start, end), in order of event time."""

    def latest_conditions(self) -> list[Of[ConditionChange]]:
        """The last change of each (unit, alarm, subject)."""

    def captures(self, start_us: int, end_us: int, limit: int = PAGE_MAX) -> list[Of[Capture]]: ...

    def capture_bytes(self, content_sha: str) -> bytes | None:
        """The waveform file of a capture; None while parts are missing or do not match the hash."""

    def losses(self) -> list[Of[Loss]]: ...

    def exposure(self, insulator: str, start_us: int, end_us: int) -> dict[str, int]:
        """Exact sums of `SUMMED` over the rows that start in [start, end), and `rows`."""

    def refusals(self, limit: int = PAGE_MAX) -> list[RefusedPayload]:
        """The refused payloads still kept, newest first."""

    def raw_messages(self, limit: int = PAGE_MAX) -> list[RawMessage]: ...

    def security_events(self, limit: int = PAGE_MAX) -> list[SecurityEvent]:
        """Newest first."""

    def journal(
        self, after: int = 0, start_us: int = 0, limit: int = PAGE_MAX
    ) -> list[JournalLine]:
        """Lines of the alarm journal numbered above `after` and not before `start_us`, in order."""


class SiteWriter(Protocol):
    """The one writer of a site. One thread appends commits; the journal may come from another."""

    def close(self) -> None: ...

    def marks(self) -> dict[StreamKey, Mark]: ...

    def digests(self, key: StreamKey, first: int, last: int) -> dict[int, bytes]: ...

    def given_up(self, key: StreamKey, first: int, last: int) -> list[tuple[int, int]]:
        """First and last number of each loss record that stands for any of `first` to `last`."""

    def append(self, commit: Commit) -> None:
        """All of a commit or nothing, durable on return.

        Raises MarkConflict where a mark is not where the commit says; HistoryFault where the
        database cannot write (full, read-only, gone).
        """

    def append_journal(self, lines: Sequence[JournalLine]) -> None:
        """All lines or none, durable on return; they follow on the last one that is there.

        Raises MarkConflict where they do not; HistoryFault where the database cannot write.
        """


class History(Protocol):
    """The histories of all sites in one place."""

    def sites(self) -> list[str]: ...

    def writer(self, site: str) -> SiteWriter: ...

    def reader(self, site: str) -> SiteReader:
        """Raises HistoryFault where the site has no history."""
