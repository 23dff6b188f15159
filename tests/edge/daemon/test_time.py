"""Clocks, anchors by the host, corrections, and a signal delivered as time passes."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from edge.clock import Clock, ClockFileRefused, Discipline, boot_id, boot_ns, read_clock, steady_ns
from edge.daemon.dating import (
    ANCHOR_EVERY_S,
    ARRIVAL_ERROR_NS,
    DOUBTS_MAX,
    Dated,
    HostDating,
    anchored,
    error_us,
    host_dated,
    kept_plain,
    recalled,
    utc_us,
)
from edge.daemon.pacing import GATHER_S, gathered, limited, paced
from edge.records import ClockCorrection, UnitEvent
from edge.samples import AnchorSource, SampleBlock, SlowReading, SourceItem, StreamEnd, TimeAnchor
from gateway.clock import Clock as GatewayClock

RATE_HZ = 1_000
NOW_US = 1_795_557_600_000_000
KEPT = Discipline("ntp", True, 40_000)
ALONE = Discipline("local", False, None)


def block(counter: int, rows: int = RATE_HZ) -> SampleBlock:
    codes = np.arange(counter, counter + rows, dtype=np.int32)[:, None]
    return SampleBlock(counter, codes)


def anchor(
    counter: int, utc_s: float, *, synchronised: bool = True, source: AnchorSource | None = None
) -> TimeAnchor:
    default = AnchorSource.GNSS if synchronised else AnchorSource.LOCAL
    return TimeAnchor(counter, round(utc_s * 1e9), 2_000, source or default, synchronised)


def test_an_affine_clock_shows_what_the_gateways_shows(tmp_path: Path) -> None:
    real_us = Clock().utc_us()
    plain = {"rate": 60.0, "real_origin_us": real_us, "shown_origin_us": NOW_US}
    (tmp_path / "clock.json").write_text(json.dumps(plain))
    ours, theirs = read_clock(tmp_path / "clock.json"), GatewayClock(60.0, real_us, NOW_US)
    before, shown, after = theirs.utc_us(), ours.utc_us(), theirs.utc_us()
    assert before <= shown <= after and before >= NOW_US
    assert ours.discipline() == Discipline("affine", True, 0)
    assert ours.wait_s(shown + 60_000_000) <= 1.0 and ours.wait_s(0) == 0.0


@pytest.mark.parametrize(
    "text", ["", "{}", '{"rate": 0, "real_origin_us": 1, "shown_origin_us": 1}']
)
def test_a_clock_file_that_is_none_is_refused_with_what_is_needed(
    tmp_path: Path, text: str
) -> None:
    (tmp_path / "clock.json").write_text(text)
    with pytest.raises(ClockFileRefused, match=r"clock\.json"):
        read_clock(tmp_path / "clock.json")


def test_the_real_clock_knows_its_boot_and_whether_it_is_kept() -> None:
    known = read_clock(None).discipline()
    assert (known.source != "local") == known.synchronised
    assert boot_ns() >= steady_ns() - 1_000_000_000 > 0 and boot_id() == boot_id()


def test_the_host_dates_a_signal_that_has_no_time_of_its_own() -> None:
    host, items = host_dated(HostDating(), block(500), NOW_US, KEPT, RATE_HZ)
    dated, samples = items
    assert isinstance(dated, TimeAnchor) and isinstance(samples, SampleBlock)
    assert dated.utc_ns == (NOW_US - 1_000_000) * 1000 and dated.counter == 500
    assert dated.source is AnchorSource.NTP and dated.synchronised
    assert dated.error_ns == ARRIVAL_ERROR_NS + 40_000_000
    host, items = host_dated(host, block(1_500), NOW_US, KEPT, RATE_HZ)
    assert len(items) == 1
    later = 500 + round(ANCHOR_EVERY_S * RATE_HZ)
    assert len(host_dated(host, block(later), NOW_US, KEPT, RATE_HZ)[1]) == 2


def test_a_clock_that_becomes_kept_dates_at_once() -> None:
    host, items = host_dated(HostDating(), block(0), NOW_US, ALONE, RATE_HZ)
    assert isinstance(items[0], TimeAnchor) and not items[0].synchronised
    assert items[0].source is AnchorSource.LOCAL
    host, items = host_dated(host, block(1_000), NOW_US, KEPT, RATE_HZ)
    assert isinstance(items[0], TimeAnchor) and items[0].synchronised


def test_a_source_that_knows_the_time_is_never_overruled() -> None:
    host, items = host_dated(HostDating(), anchor(0, 9.0), NOW_US, KEPT, RATE_HZ)
    assert items == (anchor(0, 9.0),)
    assert len(host_dated(host, block(0), NOW_US, KEPT, RATE_HZ)[1]) == 1
    local = anchor(0, 9.0, source=AnchorSource.LOCAL)
    host, items = host_dated(HostDating(), local, NOW_US, KEPT, RATE_HZ)
    assert items == () and len(host_dated(host, block(0), NOW_US, KEPT, RATE_HZ)[1]) == 2


def test_time_gained_after_a_start_corrects_what_was_dated_before() -> None:
    dated, (told,) = anchored(Dated(), anchor(0, 100.0, synchronised=False), RATE_HZ, "boot")
    assert isinstance(told, UnitEvent) and told.event == "clock"
    dated, still = anchored(dated, anchor(1_000, 101.0, synchronised=False), RATE_HZ, "boot")
    assert still == ()
    dated, (told, step, correction) = anchored(dated, anchor(5_000, 7_105.0), RATE_HZ, "boot")
    assert isinstance(told, UnitEvent) and told.detail == {
        "counter": 5_000,
        "source": "gnss",
        "synchronised": 1,
        "error_us": 2,
    }
    assert isinstance(step, UnitEvent) and step.detail["shift_us"] == 7_000_000_000
    assert correction == ClockCorrection(
        boot="boot",
        from_counter=0,
        to_counter=5_000,
        shift_us=7_000_000_000,
        error_us=2,
        source="gnss",
    )
    assert anchored(dated, anchor(6_000, 7_106.0005), RATE_HZ, "boot")[1] == ()


def test_rows_before_and_after_a_step_of_an_unkept_clock_have_corrections_of_their_own() -> None:
    dated = Dated()
    for counter, utc_s in ((0, 100.0), (2_000, 102.2), (3_000, 53.0), (9_000, 59.0)):
        dated, _ = anchored(dated, anchor(counter, utc_s, synchronised=False), RATE_HZ, "boot")
    _, records = anchored(dated, anchor(10_000, 1_060.0), RATE_HZ, "boot")
    corrections = [one for one in records if isinstance(one, ClockCorrection)]
    found = [(one.from_counter, one.to_counter, one.shift_us) for one in corrections]
    # 100 s became 53 s at counter 3,000 (50.2 s back), and 60 s became 1,060 s at the end.
    assert found == [(0, 3_000, 1_000_000_000 - 50_200_000), (3_000, 10_000, 1_000_000_000)]


def test_steps_of_a_clock_that_nobody_keeps_are_remembered_up_to_a_limit() -> None:
    dated = Dated()
    for n in range(3 * DOUBTS_MAX):
        unkept = anchor(1_000 * n, 10.0 * n, synchronised=False)
        dated, _ = anchored(dated, unkept, RATE_HZ, "boot")
    assert len(dated.doubts) <= DOUBTS_MAX and dated.doubts[0][0] == 0
    _, records = anchored(dated, anchor(1_000_000, 9_999.0), RATE_HZ, "boot")
    ranges = [
        (one.from_counter, one.to_counter) for one in records if isinstance(one, ClockCorrection)
    ]
    assert ranges[0][0] == 0 and ranges[-1][1] == 1_000_000
    assert all(end == start for (_, end), (start, _) in pairwise(ranges))


def test_a_clock_that_loses_its_keeper_is_told_and_a_steady_one_is_not_told_again() -> None:
    dated, _ = anchored(Dated(), anchor(0, 100.0), RATE_HZ, "boot")
    dated, again = anchored(dated, anchor(1_000, 101.0), RATE_HZ, "boot")
    assert again == ()
    lost = anchor(2_000, 102.0, synchronised=False)
    (told,) = anchored(dated, lost, RATE_HZ, "boot")[1]
    assert isinstance(told, UnitEvent) and told.event == "clock"
    assert told.detail["synchronised"] == 0


def test_a_step_of_over_a_second_is_an_event_and_a_smaller_one_is_not() -> None:
    dated, _ = anchored(Dated(), anchor(0, 100.0), RATE_HZ, "boot")
    (event,) = anchored(dated, anchor(1_000, 99.5), RATE_HZ, "boot")[1]
    assert isinstance(event, UnitEvent) and event.event == "clock-step"
    assert event.detail == {"shift_us": -1_500_000, "counter": 1_000, "source": "gnss"}
    assert anchored(dated, anchor(1_000, 100.1), RATE_HZ, "boot")[1] == ()


def test_the_error_of_an_anchor_grows_with_its_age() -> None:
    dated, _ = anchored(Dated(), anchor(0, 100.0), RATE_HZ, "boot")
    assert utc_us(dated, 2_500, RATE_HZ) == 102_500_000
    assert error_us(dated, 0, RATE_HZ) == 2 and error_us(dated, 600_000, RATE_HZ) == 30_002
    assert utc_us(Dated(), 5, RATE_HZ) == 0 and error_us(Dated(), 5, RATE_HZ) is None


def test_items_are_due_when_their_last_sample_has_been_taken() -> None:
    due: list[int] = []
    items: list[SourceItem] = [anchor(0, 100.0), SlowReading(0, {}), block(0), block(1_000)]
    played = list(paced(items, RATE_HZ, lambda us: due.append(us) is None))
    assert played == items and due == [101_000_000, 102_000_000]
    due.clear()
    list(paced(items, RATE_HZ, lambda us: due.append(us) is None, begin_us=500_000_000))
    assert due == [501_000_000, 502_000_000]
    assert list(paced(items, RATE_HZ, lambda us: False)) == items[:2]


def test_a_signal_is_cut_after_so_many_seconds_with_its_gaps_counted() -> None:
    items: list[SourceItem] = [anchor(0, 1.0), block(0), block(2_000), block(3_000)]
    cut = list(limited(items, RATE_HZ, 2.5))
    assert [len(one.samples) for one in cut if isinstance(one, SampleBlock)] == [1_000, 500]
    assert isinstance(cut[-1], StreamEnd) and cut[-1].counter == 2_500
    (_, *late) = limited([anchor(0, 1.0), block(0), block(9_000)], RATE_HZ, 2.5)
    assert [type(one) for one in late] == [SampleBlock, StreamEnd]
    assert list(limited(items, RATE_HZ, None)) == items


def test_short_blocks_are_put_together_up_to_a_gap_or_another_item() -> None:
    short = [block(at, 25) for at in range(0, 2_050, 25)]
    items: list[SourceItem] = [*short, SlowReading(2_050, {}), block(2_050, 25), block(2_100, 25)]
    found = list(gathered(items, RATE_HZ))
    sizes = [len(one.samples) if isinstance(one, SampleBlock) else 0 for one in found]
    assert sizes == [round(GATHER_S * RATE_HZ)] * 2 + [50, 0, 25, 25]
    codes = np.concatenate([one.samples for one in found if isinstance(one, SampleBlock)])
    counters = [*range(2_075), *range(2_100, 2_125)]
    assert codes[:, 0].tolist() == counters


def test_what_is_in_doubt_is_corrected_after_a_restart_of_the_program_too() -> None:
    dated, _ = anchored(Dated(), anchor(0, 100.0, synchronised=False), RATE_HZ, "boot")
    plain = json.loads(json.dumps(kept_plain(dated, "boot")))
    again, told = anchored(
        recalled(plain, "boot"), anchor(3_000, 103.0, synchronised=False), RATE_HZ, "boot"
    )
    assert told == () and kept_plain(again, "boot") != plain
    _, records = anchored(again, anchor(5_000, 7_105.0), RATE_HZ, "boot")
    (correction,) = [one for one in records if isinstance(one, ClockCorrection)]
    assert (correction.from_counter, correction.to_counter) == (0, 5_000)
    assert correction.shift_us == 7_000_000_000


def test_nothing_is_recalled_of_another_boot_of_a_kept_clock_or_of_another_count() -> None:
    dated, _ = anchored(Dated(), anchor(9_000, 100.0, synchronised=False), RATE_HZ, "boot")
    plain = json.loads(json.dumps(kept_plain(dated, "boot")))
    assert recalled(plain, "another boot") == recalled(None, "boot") == Dated()
    assert kept_plain(Dated(anchor(9_000, 100.0)), "boot") is None
    after, records = anchored(recalled(plain, "boot"), anchor(4_000, 7_105.0), RATE_HZ, "boot")
    assert after == Dated(anchor(4_000, 7_105.0))
    assert [one.event for one in records if isinstance(one, UnitEvent)] == ["clock"]
    assert not [one for one in records if isinstance(one, ClockCorrection)]
