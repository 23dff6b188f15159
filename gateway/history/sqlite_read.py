"""A read-only view of a site's SQLite file; see SiteReader."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from itertools import chain
from typing import cast

from edge.records import (
    Capture,
    ConditionChange,
    HealthRow,
    IntervalRow,
    Loss,
    Span,
    Stream,
    WeatherRow,
)
from gateway.history.chunks import ABSENT, Ints
from gateway.history.columns import TABLE_OF, from_row
from gateway.history.loaded import KEPT_SOURCE, Columns
from gateway.history.sqlite_arrays import SUMMING, SqliteArrays
from gateway.history.sqlite_marks import read_digests, read_marks
from gateway.history.sqlite_questions import Kind, columns_of
from gateway.history.store import (
    PAGE_MAX,
    SUMMED,
    JournalLine,
    Mark,
    Of,
    RawMessage,
    RefusedPayload,
    SecurityEvent,
    StreamKey,
)


class SqliteReader(SqliteArrays):
    """Reads one site's file. `words` is remembered between the readers of a site."""

    def marks(self) -> dict[StreamKey, Mark]:
        """Where each stream stands."""
        return read_marks(self._connection)

    def digests(self, key: StreamKey, first: int, last: int) -> dict[int, bytes]:
        """Digests of the stored lines `first` to `last`."""
        return read_digests(self._connection, key, first, last)

    def insulators(self) -> list[str]:
        """Names of the insulators that have rows."""
        return sorted(
            row[0]
            for row in self.ask(
                "SELECT word FROM words WHERE id IN (SELECT insulator FROM insulators)"
            )
        )

    def intervals(
        self,
        insulator: str,
        start_us: int,
        end_us: int,
        spans: Sequence[Span] = (Span.MINUTE, Span.MERGED),
        limit: int = PAGE_MAX,
    ) -> list[IntervalRow]:
        """Rows that start in [start, end), in order of time."""
        table = TABLE_OF[IntervalRow]
        numbers = ", ".join(str(self.number(span)) for span in spans)
        rows = self.ask(
            f"SELECT {columns_of(table)} FROM interval r WHERE r.insulator = ? AND r.start_us >= ? "
            f"AND r.start_us < ? AND r.span IN ({numbers}) "
            "ORDER BY r.start_us, r.span, r.stream_id, r.seq LIMIT ?",
            self.number(insulator),
            start_us,
            end_us,
            min(limit, PAGE_MAX),
        )
        return [cast(IntervalRow, from_row(table, row, self.spell)) for row in rows]

    def interval_columns(
        self, insulator: str, columns: Sequence[str], start_us: int, end_us: int
    ) -> Iterator[tuple[int | None, ...]]:
        """Chosen integer columns of the rows that sum, in order of time; of thinned weeks, their
        ten-minute rows."""
        known = TABLE_OF[IntervalRow].columns
        assert all(column in known for column in columns), f"no such column among {columns}"
        kept = self._kept(insulator, columns, start_us, end_us)
        across = [kept[name].tolist() for name in columns]
        thinned = (
            [None if one == ABSENT else one for one in row] for row in zip(*across, strict=True)
        )
        return chain(
            map(tuple, thinned),
            self.ask(
                f"SELECT {', '.join(columns)} FROM interval WHERE insulator = ? AND start_us >= ? "
                f"AND start_us < ? AND {SUMMING} ORDER BY start_us",
                self.number(insulator),
                start_us,
                end_us,
            ),
        )

    def latest_intervals(self) -> list[Of[IntervalRow]]:
        """The row of each insulator that starts last."""
        numbers = [row[0] for row in self.ask("SELECT insulator FROM insulators")]
        return [
            found
            for number in numbers
            for found in self.of(
                IntervalRow, "r.insulator = ? ORDER BY r.start_us DESC LIMIT 1", number
            )
        ]

    def weather(self, start_us: int, end_us: int, limit: int = PAGE_MAX) -> list[Of[WeatherRow]]:
        """Weather that starts in [start, end)."""
        return self._between(WeatherRow, start_us, end_us, limit)

    def health(self, start_us: int, end_us: int, limit: int = PAGE_MAX) -> list[Of[HealthRow]]:
        """Health records that start in [start, end)."""
        return self._between(HealthRow, start_us, end_us, limit)

    def conditions(
        self, start_us: int, end_us: int, limit: int = PAGE_MAX
    ) -> list[Of[ConditionChange]]:
        """Changes with an event time in [start, end)."""
        return self._between(ConditionChange, start_us, end_us, limit)

    def captures(self, start_us: int, end_us: int, limit: int = PAGE_MAX) -> list[Of[Capture]]:
        """Captures triggered in [start, end)."""
        return self._between(Capture, start_us, end_us, limit)

    def latest_health(self) -> list[Of[HealthRow]]:
        """The last health record of each unit."""
        latest: dict[str, Of[HealthRow]] = {}
        for key, mark in self.marks().items():
            if key.stream is Stream.HEALTH:
                for found in self.of(
                    HealthRow, "r.stream_id = ? ORDER BY r.seq DESC LIMIT 1", mark.order
                ):
                    latest[key.unit] = found
        return list(latest.values())

    def latest_conditions(self) -> list[Of[ConditionChange]]:
        """The last change of each (unit, alarm, subject)."""
        latest: dict[tuple[str, str, str], Of[ConditionChange]] = {}
        for found in self.of(
            ConditionChange,
            "(r.stream_id, r.seq) IN (SELECT stream_id, max(seq) FROM condition "
            "GROUP BY stream_id, alarm, subject) ORDER BY r.stream_id, r.seq",
        ):
            latest[found.key.unit, found.record.alarm, found.record.subject] = found
        return list(latest.values())

    def losses(self) -> list[Of[Loss]]:
        """The loss records, by stream."""
        return self.of(Loss, "true ORDER BY r.stream_id, r.seq")

    def _between(self, kind: type[Kind], start_us: int, end_us: int, limit: int) -> list[Of[Kind]]:
        time = TABLE_OF[kind].time
        where = f"r.{time} >= ? AND r.{time} < ? ORDER BY r.{time}, r.stream_id, r.seq LIMIT ?"
        return self.of(kind, where, start_us, end_us, min(limit, PAGE_MAX))

    def capture_bytes(self, content_sha: str) -> bytes | None:
        """The waveform file of a capture; None while parts are missing or do not match the hash."""
        rows = self.ask(
            "SELECT part, content_b64 FROM capture_part WHERE content_sha = ? ORDER BY part",
            self.number(content_sha),
        )
        parts = {part: content for part, content in rows if isinstance(content, bytes)}
        whole = b"".join(parts.values())
        return whole if hashlib.sha256(whole).hexdigest() == content_sha else None

    def parts_of_text(self) -> list[tuple[int, int, int, int, str]]:
        """Stream, number, hash (a word), part and text of parts of captures that are no base64."""
        return self.ask(
            "SELECT stream_id, seq, content_sha, part, content_b64 FROM capture_part "
            "WHERE typeof(content_b64) = 'text'"
        ).fetchall()

    def exposure(self, insulator: str, start_us: int, end_us: int) -> dict[str, int]:
        """Exact sums of `SUMMED` over the rows that start in [start, end), and `rows`.

        Summed in halves of 32 bits, so that no sum of 64-bit numbers overflows.
        """
        halves = ", ".join(
            f"coalesce(sum({name} >> 32), 0), coalesce(sum({name} & 4294967295), 0)"
            for name in SUMMED
        )
        rows, *sums = self.ask(
            f"SELECT count(*), {halves} FROM interval WHERE insulator = ? AND start_us >= ? "
            f"AND start_us < ? AND {SUMMING}",
            self.number(insulator),
            start_us,
            end_us,
        ).fetchone()
        pairs = zip(sums[::2], sums[1::2], strict=True)
        totals = [(high << 32) + low for high, low in pairs]
        kept = self._kept(insulator, SUMMED, start_us, end_us)
        found = {"rows": rows + kept["start_us"].shape[0]}
        for name, total in zip(SUMMED, totals, strict=True):
            found[name] = total + sum(kept[name][kept[name] != ABSENT].tolist())
        return found

    def _kept(
        self, insulator: str, names: Sequence[str], start_us: int, end_us: int
    ) -> dict[str, Ints]:
        """Ten-minute rows that stand for minutes which units sent."""
        return self.loaded_columns(
            Columns.INTERVAL, insulator, names, start_us, end_us, source=KEPT_SOURCE
        )

    def refusals(self, limit: int = PAGE_MAX) -> list[RefusedPayload]:
        """The refused payloads still kept, newest first."""
        return [
            RefusedPayload(*row)
            for row in self.ask(
                "SELECT at_us, topic, reason, text, payload, size_bytes FROM refusals "
                "ORDER BY id DESC LIMIT ?",
                min(limit, PAGE_MAX),
            )
        ]

    def raw_messages(self, limit: int = PAGE_MAX) -> list[RawMessage]:
        """Messages of a schema that was not known when they came, in order."""
        return [
            RawMessage(StreamKey(unit, epoch, Stream(stream)), first, last, payload)
            for unit, epoch, stream, first, last, payload in self.ask(
                "SELECT m.unit, m.epoch, m.stream, r.first, r.last, r.payload "
                "FROM raw_messages r JOIN marks m ON m.stream_id = r.stream_id "
                "ORDER BY r.id LIMIT ?",
                min(limit, PAGE_MAX),
            )
        ]

    def security_events(self, limit: int = PAGE_MAX) -> list[SecurityEvent]:
        """Newest first."""
        return [
            SecurityEvent(*row)
            for row in self.ask(
                "SELECT at_us, unit, event, detail, count FROM security_events "
                "ORDER BY id DESC LIMIT ?",
                min(limit, PAGE_MAX),
            )
        ]

    def journal(
        self, after: int = 0, start_us: int = 0, limit: int = PAGE_MAX
    ) -> list[JournalLine]:
        """Lines of the alarm journal numbered above `after` and not before `start_us`."""
        return self._lines_after("alarm_journal", after, start_us, limit)

    def decisions(self, after: int = 0, limit: int = PAGE_MAX) -> list[JournalLine]:
        """What people decided, numbered above `after`; none in a file of an earlier version."""
        return self._lines_after("decisions", after, 0, limit) if self._has_decisions() else []

    def _has_decisions(self) -> bool:
        found = self.ask("SELECT 1 FROM sqlite_master WHERE name = 'decisions'").fetchone()
        return found is not None

    def _lines_after(self, table: str, after: int, start_us: int, limit: int) -> list[JournalLine]:
        rows = self.ask(
            f"SELECT number, at_us, body FROM {table} WHERE number > ? AND at_us >= ? "
            "ORDER BY number LIMIT ?",
            after,
            start_us,
            min(limit, PAGE_MAX),
        )
        return [JournalLine(*row) for row in rows]
