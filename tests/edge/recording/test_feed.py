"""Records in time order make one signal whose gaps are as long as the time that was lost."""

from __future__ import annotations

from typing import Any

import pytest

from edge.recording import Record, RecordingError, feed, read_pair
from edge.recording.feed import DRIFT_NS_MAX, RATE_ERROR_PPM_MAX
from edge.samples import SourceItem
from tests.edge.recording.builders import (
    RAMP,
    anchors,
    binary,
    configuration,
    ending,
    joined,
    text,
)

DAY_NS = 1_706_745_600_000_000_000  # 2024-02-01 00:00:00 UTC


def record(start_us: float, name: str = "a.cfg", rows: int = 8, **changes: Any) -> Record:
    """`rows` rows at 10 kHz (100 us each) from a time of day [us]."""
    fraction = f"{int(start_us) // 10**6:02d}.{round(start_us * 1000) % 10**9:09d}"
    stamp = f"01/02/2024,00:00:{fraction}"
    rates = ("1", f"{changes.pop('rate', '10000')},{rows}")
    cfg = configuration(start=stamp, trigger=stamp, rates=rates, **changes)
    return read_pair(cfg, binary([[n % 99, 1] for n in range(rows)]), name=name)


def fed(*records: Record, block_samples: int = 5) -> list[SourceItem]:
    return list(feed(records, block_samples=block_samples))


@pytest.mark.parametrize("late_us", [-100, -40, 0, 99, 100])
def test_a_record_within_one_sample_of_the_last_ones_end_continues_it(late_us: int) -> None:
    items = fed(record(1000), record(1800 + late_us))
    assert joined(items)[0] == list(range(16))
    assert len(anchors(items)) == 1


@pytest.mark.parametrize(
    ("late_us", "lost"), [(101, 1), (150, 2), (100_000, 1000), (58e6, 580_000)]
)
def test_a_later_record_is_a_gap_of_the_true_length_with_an_anchor(
    late_us: float, lost: int
) -> None:
    items = fed(record(1000), record(1800 + late_us))
    assert joined(items)[0] == [*range(8), *range(8 + lost, 16 + lost)]
    assert [(a.counter, a.utc_ns) for a in anchors(items)] == [
        (0, DAY_NS + 1_000_000),
        (8 + lost, DAY_NS + 1_800_000 + round(late_us * 1000)),
    ]
    assert items.index(anchors(items)[1]) == 3


def test_a_forerunner_with_a_slow_clock_is_followed_after_the_smallest_gap() -> None:
    rows = 10_000
    early_us = 0.9 * RATE_ERROR_PPM_MAX
    items = fed(record(0, rows=rows), record(1_000_000 - early_us, rows=4), block_samples=4096)
    assert joined(items)[0][rows - 1 :] == [rows - 1, *range(rows + 1, rows + 5)]
    assert anchors(items)[1].utc_ns == DAY_NS + 10**9 - round(early_us * 1000)


@pytest.mark.parametrize("start_us", [0, 1000, 1500])
def test_overlapping_or_doubled_records_are_refused_naming_both(start_us: int) -> None:
    with pytest.raises(RecordingError, match=r"a\.cfg and b\.cfg: the second begins -0\.\d+ s"):
        fed(record(1000), record(start_us, "b.cfg"))


def test_continuing_records_that_drift_get_a_fresh_anchor_without_a_gap() -> None:
    late_us = 90
    count = DRIFT_NS_MAX // (late_us * 1000) + 2
    items = fed(*(record(n * (800 + late_us)) for n in range(count)))
    assert joined(items)[0] == list(range(8 * count))
    assert len(anchors(items)) == 2


@pytest.mark.parametrize(
    ("changes", "found"),
    [
        ({"rate": "20000"}, "rates 10000 and 20000 Hz"),
        ({"line_hz": "60"}, "nominal frequencies 50 and 60 Hz"),
        ({"analogue": ["1,I1,A,,mA,1,0,0,0,0,1,1,P"] * 2}, "channels 'I1' and 'I1-1'"),
        (
            {"analogue": ["1,I1,A,,mA,1,0,0,0,0,1,1,P", "2,x,,,W,1,0,0,0,0,1,1,P"]},
            "2 and 1 channels",
        ),
    ],
)
def test_records_that_differ_are_refused_naming_both(changes: dict[str, Any], found: str) -> None:
    with pytest.raises(RecordingError) as caught:
        fed(record(1000), record(9000, "b.cfg", **changes))
    assert str(caught.value).startswith(f"a.cfg and b.cfg: {found}")


def test_a_cut_record_within_a_feed_is_named_at_the_end_and_leaves_a_gap() -> None:
    cfg = configuration(start="01/02/2024,00:00:00.000000")
    cut = read_pair(cfg, binary(RAMP)[:-30], name="first.cfg")
    items = fed(cut, record(800))
    assert joined(items)[0] == [*range(5), *range(8, 16)]
    assert ending(items).reason == (
        "all 2 recordings read; first.dat is cut short: 5 whole rows, 8 declared"
    )


def test_records_are_opened_one_at_a_time() -> None:
    opened: list[int] = []

    def folder() -> object:
        for n in range(3):
            opened.append(n)
            yield record(n * 800)

    items = feed(folder(), block_samples=8)  # type: ignore[arg-type]
    next(items)
    next(items)
    assert opened == [0]


def test_nothing_to_feed_ends_at_once() -> None:
    items = list(feed([], block_samples=1, first_counter=5))
    assert ending(items).counter == 5
    assert len(items) == 1


def test_a_later_first_counter_shifts_everything() -> None:
    items = list(feed([record(0), record(10_000)], block_samples=3, first_counter=1000))
    assert joined(items)[0] == [*range(1000, 1008), *range(1100, 1108)]
    assert [a.counter for a in anchors(items)] == [1000, 1100]


# Gaps within a record


@pytest.mark.parametrize("kind", ["BINARY", "ASCII"])
def test_a_jump_of_the_sample_number_is_a_gap(kind: str) -> None:
    numbers = [5, 6, 7, 18, 19, 20, 31, 32]
    rows = binary(RAMP, numbers=numbers)
    if kind == "ASCII":
        rows = text([f"{n},0,{x},{y}" for n, (x, y) in zip(numbers, RAMP, strict=True)])
    items = fed(read_pair(configuration(kind=kind), rows, name="a.cfg"), block_samples=4)
    assert joined(items)[0] == [n - 5 for n in numbers]
    assert ending(items).counter == 28
    assert "cut" not in ending(items).reason


def test_rows_may_be_fewer_than_declared_where_their_numbers_cover_it() -> None:
    numbers = [1, 2, 3, 6, 7, 8]
    one = read_pair(configuration(), binary(RAMP[:6], numbers=numbers), name="a.cfg")
    assert one.cut == ""


def test_rows_without_any_value_are_a_gap() -> None:
    gone = -0x8000
    table = [
        [gone, gone],
        [1, 2],
        [gone, 3],
        [gone, gone],
        [gone, gone],
        [4, 5],
        [6, 7],
        [gone] * 2,
    ]
    items = fed(read_pair(configuration(), binary(table), name="a.cfg"), block_samples=3)
    counters, samples, missing = joined(items)
    assert counters == [1, 2, 5, 6]
    assert samples == [[1, 2], [gone, 3], [4, 5], [6, 7]]
    assert missing[1] == [True, False]
    assert anchors(items)[0].counter == 0
    assert ending(items).counter == 8


def test_a_record_that_ends_in_missing_rows_is_still_continued_at_its_end() -> None:
    table = [[1, 2]] * 6 + [[-0x8000, -0x8000]] * 2
    cfg = configuration(start="01/02/2024,00:00:00.000000")
    items = fed(read_pair(cfg, binary(table), name="a.cfg"), record(800))
    assert joined(items)[0] == [*range(6), *range(8, 16)]
    assert len(anchors(items)) == 1


@pytest.mark.parametrize("block_samples", [1, 2, 3, 7, 8, 4801])
@pytest.mark.parametrize("kind", ["BINARY", "ASCII"])
def test_every_block_length_gives_the_same_rows(block_samples: int, kind: str) -> None:
    gone = -0x8000 if kind == "BINARY" else 99999
    table = [[1, 2], [gone, 3], [gone, gone], [4, 5], [gone, gone], [6, 7], [8, 9], [10, gone]]
    numbers = [1, 2, 3, 4, 5, 9, 10, 11]
    rows = (
        binary(table, numbers=numbers)
        if kind == "BINARY"
        else text([f"{n},0,{x},{y}" for n, (x, y) in zip(numbers, table, strict=True)])
    )

    def items(length: int) -> list[SourceItem]:
        cfg = configuration(kind=kind, start="01/02/2024,00:00:00.000000")
        late = cfg.replace(b"00:00:00.0000", b"00:00:01.0000")
        both = (read_pair(c, rows, name="a.cfg") for c in (cfg, late))
        return list(feed(both, block_samples=length))

    whole, cut = items(1 << 20), items(block_samples)
    assert joined(cut) == joined(whole)
    assert anchors(cut) == anchors(whole)
    assert ending(cut) == ending(whole)
