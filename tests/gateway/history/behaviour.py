"""What every history must do, whatever its database. A store's test module calls for it with
`class TestThisStore(HistoryBehaviour)` and a fixture `history`."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from edge.quantities import INT64_MAX
from edge.records import (
    Condition,
    Span,
    Stream,
)
from gateway.history.store import (
    SUMMED,
    Commit,
    Entry,
    History,
    HistoryFault,
    JournalLine,
    MarkConflict,
    MarkMove,
    RawMessage,
    RefusedPayload,
    SecurityEvent,
    SiteReader,
    SiteWriter,
)
from gateway.ingest.admission import digest16
from tests.gateway.build import (
    MINUTE_US,
    NEXT_EPOCH,
    START_US,
    UNIT,
    commit,
    condition,
    entry,
    epoch_start,
    health,
    interval,
    key,
    loss,
    weather,
)
from tests.gateway.history.kinds import capture_of, every_kind

SITE = "north-head"
EVER = (0, 4_000_000_000_000_000)


class HistoryBehaviour:
    """The suite; `history` is the empty history of the store under test."""

    @pytest.fixture
    def writer(self, history: History) -> Iterator[SiteWriter]:
        writer = history.writer(SITE)
        yield writer
        writer.close()

    @pytest.fixture
    def reader(self, history: History, writer: SiteWriter) -> Iterator[SiteReader]:
        reader = history.reader(SITE)
        yield reader
        reader.close()

    def test_every_kind_of_record_reads_back_equal_and_with_the_same_body(
        self, writer: SiteWriter, reader: SiteReader
    ) -> None:
        for stream in Stream:
            records = [record for at, record in every_kind() if at is stream]
            sent = commit(1, records, key(stream))
            writer.append(sent)
            assert reader.lines(key(stream)) == list(sent.entries)

    def test_a_body_with_fields_of_a_later_version_comes_back_whole(
        self, writer: SiteWriter, reader: SiteReader
    ) -> None:
        body = entry(1, weather()).body[:-1] + b',"zenith":1}'
        given = Entry(key(), 1, digest16(body), body, weather(), "boot-1", "ntp", 1, 1)
        writer.append(Commit(1, (given,), {key(): MarkMove(None, 1)}))
        assert reader.lines(key()) == [given]

    def test_a_line_that_could_not_be_read_is_kept_whole_with_its_reason(
        self, writer: SiteWriter, reader: SiteReader
    ) -> None:
        body = b'{"kind":"unheard-of"}'
        given = Entry(key(), 1, digest16(body), body, None, "b", "c", 1, 1, "unreadable-record")
        writer.append(Commit(1, (given,), {key(): MarkMove(None, 1)}))
        assert reader.lines(key()) == [given]

    def test_marks_move_with_their_rows(self, writer: SiteWriter, reader: SiteReader) -> None:
        writer.append(commit(1, [interval(0), interval(1)]))
        writer.append(commit(3, [interval(2)]))
        assert {at: mark.upto for at, mark in reader.marks().items()} == {key(): 3}
        assert reader.marks() == writer.marks()

    @pytest.mark.parametrize("before", [None, 1, 3])
    def test_a_mark_that_is_elsewhere_refuses_the_whole_commit(
        self, writer: SiteWriter, reader: SiteReader, before: int | None
    ) -> None:
        writer.append(commit(1, [interval(0), interval(1)]))
        late = Commit(
            START_US,
            (entry(3, interval(2)), entry(1, weather(), key(Stream.WEATHER))),
            {key(Stream.WEATHER): MarkMove(None, 1), key(): MarkMove(before, 3)},
        )
        with pytest.raises(MarkConflict, match="another writer"):
            writer.append(late)
        assert [one.seq for one in reader.lines(key())] == [1, 2]
        assert reader.lines(key(Stream.WEATHER)) == []
        assert set(reader.marks()) == {key()}

    def test_a_refused_commit_does_not_spoil_the_next_one(
        self, writer: SiteWriter, reader: SiteReader
    ) -> None:
        with pytest.raises(MarkConflict):
            writer.append(commit(5, [interval(0, insulator="new name")]))
        writer.append(commit(1, [interval(0, insulator="new name")]))
        assert reader.insulators() == ["new name"]
        assert reader.lines(key())[0].record == interval(0, insulator="new name")

    def test_lines_are_paged_in_order(self, writer: SiteWriter, reader: SiteReader) -> None:
        writer.append(commit(1, [interval(n) if n % 3 else loss(n, n) for n in range(1, 21)]))
        first = reader.lines(key(), after=0, limit=7)
        assert [one.seq for one in first] == list(range(1, 8))
        assert [one.seq for one in reader.lines(key(), after=7)] == list(range(8, 21))

    def test_digests_are_those_of_the_stored_lines(
        self, writer: SiteWriter, reader: SiteReader
    ) -> None:
        sent = commit(1, [interval(n) for n in range(5)])
        writer.append(sent)
        expected = {one.seq: one.digest for one in sent.entries if 2 <= one.seq <= 4}
        assert reader.digests(key(), 2, 4) == expected
        assert writer.digests(key(), 2, 4) == expected
        assert reader.digests(key(Stream.ALARM), 1, 9) == {}

    def test_a_tombstone_that_has_grown_replaces_itself(
        self, writer: SiteWriter, reader: SiteReader
    ) -> None:
        writer.append(commit(1, [interval(0)]))
        grown = Commit(1, (entry(9, loss(2, 9)),), {key(): MarkMove(1, 9)})
        writer.append(grown)
        assert [one.record for one in reader.losses()] == [loss(2, 9)]
        assert [one.seq for one in reader.lines(key())] == [1, 9]

    def test_rows_are_found_by_insulator_span_and_time(
        self, writer: SiteWriter, reader: SiteReader
    ) -> None:
        fast = interval(2, span=Span.TEN_SECONDS)
        rows = [interval(0), interval(2), interval(1), fast, interval(1, insulator="B2")]
        writer.append(commit(1, rows))
        assert reader.intervals("A1", *EVER) == [interval(0), interval(1), interval(2)]
        assert reader.intervals("A1", *EVER, spans=(Span.TEN_SECONDS,)) == [fast]
        end_us = interval(2).start_us
        assert reader.intervals("A1", interval(1).start_us, end_us) == [interval(1)]
        assert reader.intervals("A1", *EVER, limit=2) == [interval(0), interval(1)]
        assert reader.intervals("unknown", *EVER) == []
        assert [
            one.record for one in reader.latest_intervals() if one.record.insulator == "B2"
        ] == [interval(1, insulator="B2")]
        assert list(reader.interval_columns("A1", ["start_us", "thd_ppm"], *EVER)) == [
            (interval(n).start_us, None) for n in range(3)
        ]

    def test_a_clock_that_went_back_loses_no_row(
        self, writer: SiteWriter, reader: SiteReader
    ) -> None:
        again = interval(0, start_counter=77, peak_ua=1)
        writer.append(commit(1, [interval(0), again]))
        assert reader.intervals("A1", *EVER) == [interval(0), again]

    def test_exposure_sums_are_exact_beyond_64_bits_and_leave_ten_second_rows_out(
        self, writer: SiteWriter, reader: SiteReader
    ) -> None:
        huge = {"charge_nc": (INT64_MAX, 1), "energy_uj": (-INT64_MAX, 7)}
        rows = [interval(n, **huge) for n in range(3)]
        writer.append(commit(1, [*rows, interval(1, span=Span.TEN_SECONDS)]))
        sums = reader.exposure("A1", *EVER)
        assert sums["rows"] == 3
        assert sums["charge_positive_nc"] == 3 * INT64_MAX
        assert sums["energy_positive_uj"] == -3 * INT64_MAX
        assert sums["energy_negative_uj"] == 21
        assert sums["arcing_energy_positive_uj"] == 0
        assert sums["wet_us"] == 3 * MINUTE_US
        assert set(sums) == {"rows", *SUMMED}
        assert reader.exposure("A1", interval(1).start_us, interval(2).start_us)["rows"] == 1

    def test_the_last_word_on_each_condition_is_that_of_the_newest_epoch(
        self, writer: SiteWriter, reader: SiteReader
    ) -> None:
        alarms, later = key(Stream.ALARM), key(Stream.ALARM, epoch=NEXT_EPOCH)
        over_range = condition(1, alarm="over-range")
        writer.append(commit(1, [condition(0), condition(5, Condition.OUT), over_range], alarms))
        writer.append(commit(1, [epoch_start(), condition(3, Condition.UNKNOWN)], later))
        latest = {one.record.alarm: one.record for one in reader.latest_conditions()}
        assert latest == {"arcing": condition(3, Condition.UNKNOWN), "over-range": over_range}
        assert [one.record.at_us for one in reader.conditions(*EVER)] == sorted(
            one.at_us for one in (condition(0), condition(5), over_range, condition(3))
        )

    def test_health_and_weather_come_with_their_unit(
        self, writer: SiteWriter, reader: SiteReader
    ) -> None:
        second = key(Stream.HEALTH, unit="north-head.m2")
        writer.append(commit(1, [health(0), health(1)], key(Stream.HEALTH)))
        writer.append(commit(1, [health(9)], second))
        writer.append(commit(1, [weather(n) for n in range(5)], key(Stream.WEATHER)))
        latest = {one.key.unit: one.record for one in reader.latest_health()}
        assert latest == {UNIT: health(1), "north-head.m2": health(9)}
        found = reader.weather(weather(1).start_us, weather(4).start_us, limit=2)
        assert [(one.key.unit, one.record) for one in found] == [
            (UNIT, weather(1)),
            (UNIT, weather(2)),
        ]
        assert [one.record for one in reader.health(*EVER)] == [health(0), health(1), health(9)]

    def test_a_capture_is_whole_or_not_there(self, writer: SiteWriter, reader: SiteReader) -> None:
        manifest, parts = capture_of(b"a waveform of some length")
        captures = key(Stream.CAPTURE)
        writer.append(commit(1, [manifest, *parts[:-1]], captures))
        assert reader.capture_bytes(manifest.content_sha) is None
        writer.append(commit(len(parts) + 1, parts[-1:], captures))
        assert reader.capture_bytes(manifest.content_sha) == b"a waveform of some length"
        assert [one.record for one in reader.captures(*EVER)] == [manifest]

    def test_refusals_raw_messages_and_events_are_kept(
        self, writer: SiteWriter, reader: SiteReader
    ) -> None:
        raw = RawMessage(key(), 1, 4, b'{"v":2}')
        refused = [RefusedPayload(n, "t", "not-json", "x", b"\xff\x00", 2) for n in range(3)]
        event = SecurityEvent(5, UNIT, "identity", "said another name", 7)
        marks = {key(): MarkMove(None, 4)}
        writer.append(Commit(1, marks=marks, raw=(raw,), refused=tuple(refused), events=(event,)))
        assert reader.raw_messages() == [raw]
        assert reader.refusals() == refused[::-1]
        assert reader.security_events() == [event]

    def test_refusals_are_bounded_and_the_oldest_go_first(
        self, writer: SiteWriter, reader: SiteReader
    ) -> None:
        flood = tuple(RefusedPayload(n, "t", "r", "x", b"", 0) for n in range(1500))
        writer.append(Commit(1, refused=flood))
        kept = reader.refusals()
        assert 0 < len(kept) < 1500
        assert kept[0].at_us == 1499

    def test_the_alarm_journal_is_read_as_it_was_written_and_follows_on_without_a_gap(
        self, writer: SiteWriter, reader: SiteReader
    ) -> None:
        lines = [JournalLine(n, 10 * n, b'{"n":%d}' % n) for n in range(1, 6)]
        writer.append_journal(lines[:2])
        writer.append_journal(lines[2:])
        assert reader.journal() == lines
        assert reader.journal(after=2, limit=2) == lines[2:4]
        assert reader.journal(start_us=40) == lines[3:]
        for wrong in ([JournalLine(5, 1, b"")], [JournalLine(7, 1, b"")], [*lines]):
            with pytest.raises(MarkConflict, match="ends at 5"):
                writer.append_journal(wrong)
        assert reader.journal() == lines

    def test_a_reader_sees_only_whole_commits_and_cannot_write(
        self, history: History, writer: SiteWriter, reader: SiteReader
    ) -> None:
        assert not hasattr(reader, "append")
        writer.append(commit(1, [interval(0)]))
        assert len(reader.lines(key())) == 1

    def test_a_history_opens_again_as_it_was(self, history: History) -> None:
        writer = history.writer(SITE)
        writer.append(commit(1, [interval(0)]))
        writer.close()
        writer = history.writer(SITE)
        writer.append(commit(2, [interval(1)]))
        writer.close()
        reader = history.reader(SITE)
        assert [one.record for one in reader.lines(key())] == [interval(0), interval(1)]
        reader.close()
        assert history.sites() == [SITE]

    @pytest.mark.parametrize("site", ["..", "a/b", "UPPER", "", "x" * 33, "a\n"])
    def test_a_site_that_is_no_name_is_refused(self, history: History, site: str) -> None:
        with pytest.raises(HistoryFault, match="site"):
            history.writer(site)
        with pytest.raises(HistoryFault):
            history.reader(site)
