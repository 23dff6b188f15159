"""Sums agree exactly along every path: windows, minutes, halves of a recording, merged rows."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from decimal import Decimal
from pathlib import Path

import pytest

from edge.measure.plan import plan_from_description
from edge.recording.model import FileType
from edge.records import IntervalRow
from edge.samples import StreamEnd
from gateway.replay.run import Request, replay
from tests.edge.measure.builders import anchor, blocks, fed
from tests.edge.measure.builders import measured as measured_signal
from tests.properties.recordings import (
    FIRST_S,
    RATE_HZ,
    coast,
    description,
    encoded,
    write_coast,
    write_codes,
)

ADDITIVE = (
    "seconds",
    "halfcycles",
    "arcing_halfcycles",
    "arcing_positive",
    "arcing_negative",
    "doubtful_halfcycles",
    "spike_halfcycles",
    "charge_c",
    "arcing_charge_c",
    *(f"{kind}_{n}ma" for kind in ("pulses", "arc_pulses") for n in (5, 20, 50, 100, 200)),
)

Table = list[dict[str, str]]


def table(path: Path) -> Table:
    with path.open(newline="", encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


def total(rows: Iterable[dict[str, str]], column: str) -> Decimal:
    return sum((Decimal(row[column]) for row in rows), Decimal(0))


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sums")
    replay(Request((write_coast(folder / "coast"),)), folder / "out")
    return folder / "out"


@pytest.mark.parametrize("column", ADDITIVE)
@pytest.mark.parametrize("insulator", ["I1", "I2"])
def test_windows_of_an_insulator_add_up_to_its_minutes_exactly(
    out: Path, insulator: str, column: str
) -> None:
    windows, minutes = (
        [row for row in table(out / name) if row["insulator"] == insulator]
        for name in ("windows.csv", "intervals.csv")
    )
    assert total(windows, column) == total(minutes, column)


def test_the_sums_are_of_something(out: Path) -> None:
    windows = [row for row in table(out / "windows.csv") if row["insulator"] == "I1"]
    for column in ("arcing_positive", "arcing_negative", "arcing_charge_c", "arc_pulses_100ma"):
        assert total(windows, column) > 0


def test_each_minutes_own_windows_add_up_to_it(out: Path) -> None:
    windows = table(out / "windows.csv")
    for minute in table(out / "intervals.csv"):
        own = [
            row
            for row in windows
            if row["insulator"] == minute["insulator"] and row["start"][:16] == minute["start"][:16]
        ]
        assert len(own) == int(minute["windows"])
        for column in ADDITIVE:
            assert total(own, column) == Decimal(minute[column])


@pytest.mark.parametrize("kind", ["", "arcing_"])
def test_polarities_add_up_to_the_charge_of_the_minute(out: Path, kind: str) -> None:
    for row in table(out / "intervals.csv"):
        halves = [Decimal(row[f"{kind}charge_{side}_c"]) for side in ("positive", "negative")]
        assert sum(halves) == Decimal(row[f"{kind}charge_c"])


def test_seconds_in_the_states_add_up_to_the_seconds_of_the_minute(out: Path) -> None:
    for row in table(out / "intervals.csv"):
        states = [Decimal(cell) for name, cell in row.items() if name.startswith("seconds_")]
        assert len(states) == 6
        assert sum(states) == Decimal(row["seconds"])


def test_arcing_halfcycles_are_those_of_both_polarities_in_every_window(out: Path) -> None:
    for row in table(out / "windows.csv"):
        both = int(row["arcing_positive"]) + int(row["arcing_negative"])
        assert int(row["arcing_halfcycles"]) == both
        judged = both + int(row["doubtful_halfcycles"]) + int(row["spike_halfcycles"])
        assert judged <= int(row["halfcycles"])
        assert Decimal(row["arcing_charge_c"]) <= Decimal(row["charge_c"])


def test_ticks_replayed_apart_give_the_rows_of_the_whole(tmp_path: Path) -> None:
    """The measure carries nothing across a tick: each side by itself gives the same lines."""
    codes, signal = encoded(coast(FIRST_S), description())
    tick = round(3 * RATE_HZ)
    whole = write_codes(tmp_path / "whole.cfg", codes, signal)
    before = write_codes(tmp_path / "before.cfg", codes[:tick], signal)
    after = write_codes(tmp_path / "after.cfg", codes[tick:], signal, counter=tick)
    for path in (whole, before, after):
        replay(Request((path,)), tmp_path / path.stem)
    for name in ("windows.csv", "intervals.csv"):
        whole_lines, first, second = (
            (tmp_path / part / name).read_text().splitlines()[1:]
            for part in ("whole", "before", "after")
        )
        assert whole_lines == first + second


def test_two_records_that_continue_each_other_are_one_signal(tmp_path: Path) -> None:
    codes, signal = encoded(coast(FIRST_S), description())
    middle = round(1.7 * RATE_HZ)
    write_codes(tmp_path / "parts" / "b.cfg", codes[:middle], signal)
    write_codes(tmp_path / "parts" / "a.cfg", codes[middle:], signal, counter=middle)
    whole = write_codes(tmp_path / "whole.cfg", codes, signal)
    replay(Request((tmp_path / "parts",)), tmp_path / "two")
    replay(Request((whole,)), tmp_path / "one")
    for name in ("windows.csv", "intervals.csv", "events.jsonl"):
        assert (tmp_path / "two" / name).read_bytes() == (tmp_path / "one" / name).read_bytes()


@pytest.mark.parametrize("file_type", [FileType.BINARY32, FileType.FLOAT32])
def test_formats_of_finer_resolution_agree_with_the_samples_themselves(
    tmp_path: Path, file_type: FileType
) -> None:
    codes, signal = encoded(coast(FIRST_S), description(), file_type)
    path = write_codes(tmp_path / "fine.cfg", codes, signal, file_type=file_type)
    replay(Request((path,)), tmp_path / "out")
    rows = measured_signal(coast(FIRST_S), description(), start=anchor("2026-03-07T21:19:57")).rows
    for row, line in zip(minutes_of(rows), table(tmp_path / "out" / "intervals.csv"), strict=True):
        assert row.insulator == line["insulator"]
        assert float(line["charge_c"]) == pytest.approx(sum(row.charge_nc) / 1e9, rel=1e-5)
        assert row.halfcycles == int(line["halfcycles"])
        assert row.arcing_halfcycles == int(line["arcing_halfcycles"])


def minutes_of(rows: Iterable[IntervalRow]) -> list[IntervalRow]:
    return [row for row in rows if row.span.value == "minute"]


def test_the_same_samples_twice_over_give_twice_the_sums() -> None:
    """A ten-minute tick between two copies: nothing leaks from the first into the second."""
    samples = coast(2.0)
    count = len(samples)
    begin = anchor("2026-03-07T21:19:58")
    signal = description()
    one = measured_signal(samples, signal, start=anchor("2026-03-07T21:20:00"))
    items = [begin, *blocks(samples, 999), *blocks(samples, 999, count), StreamEnd(2 * count, "")]
    two = fed(plan_from_description(signal), signal, items)
    for insulator in ("I1", "I2"):
        (single,) = one.minutes(insulator)
        first, second = two.minutes(insulator)
        assert first.charge_nc == second.charge_nc == single.charge_nc
        assert first.pulses == second.pulses == single.pulses
        assert first.halfcycles == second.halfcycles == single.halfcycles
