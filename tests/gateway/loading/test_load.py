"""`seafret load`: good rows land once, bad rows are named and kept, a held folder is refused."""

from __future__ import annotations

import csv
import hashlib
from pathlib import Path

import numpy as np
import pytest

from gateway.history.chunks import ABSENT
from gateway.history.loaded import Columns
from gateway.history.lock import hold_data
from tests.gateway.commands.running import SITE, csv_file, load
from tests.gateway.loading.conftest import reader

EVER = (0, 1 << 61)
START_US = 1_735_689_600_000_000
HEADER = "insulator,start,seconds,rms_ma,peak_ma,state,flags"
GOOD = "A1,2025-01-01T00:00:00Z,60,1.25,2.5,wet,gap|saturated"


def whole_history(folder: Path) -> str:
    content = (folder / "history" / f"{SITE}.sqlite3").read_bytes()
    return hashlib.sha256(content).hexdigest()


def test_interval_rows_are_there_as_whole_numbers_in_any_order_of_columns(tmp_path: Path) -> None:
    rows = csv_file(
        tmp_path,
        "rows.csv",
        "rms_ma, start ,seconds,insulator,state",
        "0.0000005,2025-01-01T01:00:00.25+00:00,600,A1,wet",
        "0.0000015,2025-01-01T00:00:00Z,60.5,A1,",
    )
    assert load(tmp_path, rows).code == 0
    found = reader(tmp_path).loaded_columns(
        Columns.INTERVAL, "A1", ["duration_us", "rms_na", "state", "peak_ua"], *EVER
    )
    assert found["start_us"].tolist() == [START_US, START_US + 3_600_250_000]
    assert found["duration_us"].tolist() == [60_500_000, 600_000_000]
    assert found["rms_na"].tolist() == [2, 0]  # ties go to the even number, as everywhere
    assert found["state"].tolist() == [ABSENT, 1]
    assert set(found["peak_ua"].tolist()) == {ABSENT}


def test_loading_twice_or_under_another_file_name_changes_nothing(tmp_path: Path) -> None:
    rows = csv_file(tmp_path, "a.csv", HEADER, GOOD, "A2,2025-01-01T00:00:00Z,60,1,2,wet,", "bad")
    washed = csv_file(tmp_path, "w.csv", "insulator,start,action", "A1,2025-02-01T08:00:00Z,wash")
    first = load(tmp_path, rows, washed)
    assert "2 added, 0 there already, 1 refused" in first.printed
    before = whole_history(tmp_path)
    kept = {path.name: path.read_bytes() for path in (tmp_path / "history/refused").rglob("*.csv")}
    again = load(tmp_path, rows, washed)
    other = load(tmp_path, csv_file(tmp_path, "c.csv", *rows.read_text().splitlines()))
    for ran in (again, other):
        assert "0 added, 2 there already, 1 refused" in ran.printed
    assert "0 added, 1 there already, 0 refused" in again.printed
    assert whole_history(tmp_path) == before
    assert kept and all(
        (tmp_path / "history/refused" / SITE / name).read_bytes() == content
        for name, content in kept.items()
    )


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("A1,2025-01-01T00:00:00Z,60,x,2,wet,", "rms_ma", "'x'; it must be a decimal number"),
        ("A1,2025-01-01T00:00:00Z,60,nan,2,wet,", "rms_ma", "must be a decimal number"),
        ("A1,2025-01-01T00:00:00Z,60,-1,2,wet,", "rms_ma", "must lie between"),
        ("A1,2025-01-01T00:00:00Z,60,99999,2,wet,", "rms_ma", "must lie between"),
        ("A1,2025-01-01T00:00:00+02:00,60,1,2,wet,", "start", "must be UTC"),
        ("A1,2025-02-30T00:00:00Z,60,1,2,wet,", "start", "no moment of the calendar"),
        ("A1,2025-01-01 ,60,1,2,wet,", "start", "must be UTC"),
        ("A1,,60,1,2,wet,", "start", "must be UTC"),
        ("A1,2025-01-01T00:00:00Z,0,1,2,wet,", "seconds", "must be above 0"),
        ("A1,2025-01-01T00:00:00Z,,1,2,wet,", "seconds", "seconds is empty"),
        ("A1,2025-01-01T00:00:00Z,86401,1,2,wet,", "seconds", "at most 86400"),
        (",2025-01-01T00:00:00Z,60,1,2,wet,", "insulator", "1 to 48 printable"),
        ("a/b,2025-01-01T00:00:00Z,60,1,2,wet,", "insulator", "slash"),
        ("A1,2025-01-01T00:00:00Z,60,1,2,damp,", "state", "one of dry, wet"),
        ("A1,2025-01-01T00:00:00Z,60,1,2,wet,No Good", "flags", "words like gap"),
        ("A1,2025-01-01T00:00:00Z,60,,,,", "", "no measure in the row"),
        ("A1,2025-01-01T00:00:00Z,60,1", "", "4 cells; the header has 7"),
    ],
)
def test_a_bad_row_is_named_and_kept_while_its_neighbours_load(
    tmp_path: Path, row: str, column: str, words: str
) -> None:
    rows = csv_file(tmp_path, "rows.csv", HEADER, GOOD, row, "A1,2025-01-01T00:01:00Z,60,1,2,wet,")
    ran = load(tmp_path, rows)
    assert ran.code == 64
    assert "2 added, 0 there already, 1 refused" in ran.printed
    where = f"line 3, {column}:" if column else "line 3:"
    assert where in ran.said[0] and words in ran.said[0]
    (kept,) = (tmp_path / "history/refused" / SITE).glob("rows-*.csv")
    with kept.open(newline="") as stream:
        header, refused = csv.reader(stream)
    assert header == ["refused_line", "refused_column", "refused_reason", *HEADER.split(",")]
    assert refused[:2] == ["3", column] and refused[3:] == row.split(",")


def test_a_kept_row_that_was_mended_loads_as_it_is(tmp_path: Path) -> None:
    rows = csv_file(tmp_path, "rows.csv", HEADER, GOOD, GOOD.replace("60", "sixty"))
    load(tmp_path, rows)
    (kept,) = (tmp_path / "history/refused" / SITE).glob("*.csv")
    mended = kept.read_text().replace("sixty", "60").replace("00:00:00Z", "00:09:00Z")
    ran = load(tmp_path, csv_file(tmp_path, "mended.csv", mended.rstrip("\n")))
    assert ran.code == 0 and "1 added" in ran.printed
    assert "not read: refused_line, refused_column, refused_reason" in ran.said[0]


def test_a_row_that_contradicts_one_that_is_there_is_refused_wherever_that_came_from(
    tmp_path: Path,
) -> None:
    other = GOOD.replace("1.25", "1.26")
    ran = load(tmp_path, csv_file(tmp_path, "a.csv", HEADER, GOOD, other, GOOD))
    assert "1 added, 1 there already, 1 refused" in ran.printed
    assert "line 3, start: another row with this insulator and start" in ran.said[0]
    ran = load(tmp_path, csv_file(tmp_path, "b.csv", HEADER, other))
    assert ran.code == 64 and "0 added, 0 there already, 1 refused" in ran.printed
    ran = load(tmp_path, csv_file(tmp_path, "b.csv", HEADER, other), options=["--source", "b"])
    assert ran.code == 0 and "1 added" in ran.printed


def test_rows_in_any_order_of_time_and_in_pieces_give_the_same_columns(tmp_path: Path) -> None:
    lines = [
        f"A{k % 3},2025-0{1 + k % 4}-1{k % 7}T0{k % 9}:{k % 60:02d}:00Z,60,{k}.5,{k},dry,"
        for k in range(60)
    ]
    load(tmp_path, csv_file(tmp_path, "all.csv", HEADER, *lines))
    apart = tmp_path / "apart"
    apart.mkdir()
    for k, part in enumerate((lines[40:], lines[:20], lines[10:50])):
        load(apart, csv_file(apart, f"{k}.csv", HEADER, *reversed(part)))
    for name in ("A0", "A1", "A2"):
        one, two = (
            reader(folder).loaded_columns(Columns.INTERVAL, name, ["rms_na", "state"], *EVER)
            for folder in (tmp_path, apart)
        )
        assert one["start_us"].size == 20
        assert all(np.array_equal(one[key], two[key]) for key in one)
        assert np.all(np.diff(one["start_us"]) > 0)


def test_a_file_that_breaks_off_in_a_quote_leaves_nothing_of_itself(tmp_path: Path) -> None:
    good = csv_file(tmp_path, "good.csv", HEADER, GOOD)
    broken = csv_file(tmp_path, "broken.csv", HEADER, GOOD.replace("A1", "A9"), '"A9,2025')
    ran = load(tmp_path, broken, good)
    assert ran.code == 64
    assert "broken.csv: line 3" in ran.said[0] and "mend the quotes" in ran.said[0]
    assert reader(tmp_path).loaded_insulators() == ["A1"]


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        (["a;b;c"], "not separated by commas"),
        (["insulator,start,seconds"], "interval rows need insulator,start,seconds and a measure"),
        (["insulator,start,start,seconds,rms_ma"], "column 'start' stands twice"),
        ([""], "the first line is empty"),
    ],
)
def test_a_file_of_no_known_kind_says_what_each_kind_needs(
    tmp_path: Path, lines: list[str], words: str
) -> None:
    ran = load(tmp_path, csv_file(tmp_path, "odd.csv", *lines, "1;2;3"))
    assert ran.code == 64 and len(ran.said) == 1
    assert "odd.csv" in ran.said[0] and words in ran.said[0]


def test_a_file_that_is_not_there_is_wrong_use_before_anything_is_written(tmp_path: Path) -> None:
    ran = load(tmp_path, csv_file(tmp_path, "a.csv", HEADER, GOOD), tmp_path / "none.csv")
    assert ran.code == 64 and "none.csv: there is no such file" in ran.said[0]
    assert not (tmp_path / "history").exists()


def test_load_is_refused_while_another_program_holds_the_data(tmp_path: Path) -> None:
    rows = csv_file(tmp_path, "a.csv", HEADER, GOOD)
    with hold_data(tmp_path / "history", "seafret serve"):
        ran = load(tmp_path, rows)
    assert ran.code == 69 and len(ran.said) == 1
    assert "is held by seafret serve" in ran.said[0] and "stop it first" in ran.said[0]
    assert load(tmp_path, rows).code == 0


def test_unknown_columns_are_named_in_a_warning_and_nothing_else_happens(tmp_path: Path) -> None:
    rows = csv_file(tmp_path, "a.csv", "colour,insulator,start,seconds,rms_ma", f"red,{GOOD[:31]}")
    ran = load(tmp_path, rows)
    assert ran.code == 0 and ran.said == [f"warning: {rows}: not read: colour"]


def test_bytes_that_are_no_utf8_are_a_refused_row_not_a_crash(tmp_path: Path) -> None:
    path = tmp_path / "latin.csv"
    path.write_bytes(f"{HEADER}\n{GOOD}\n{GOOD.replace('A1', 'Z')}\n".encode() + b"\xc4rm,x\n")
    whole = path.read_bytes().replace(b"Z,2025", b"M\xe4st,2025")
    path.write_bytes(whole)
    ran = load(tmp_path, path)
    assert ran.code == 64 and "1 added, 0 there already, 2 refused" in ran.printed
    assert any("line 3, insulator" in line for line in ran.said)


def test_what_replay_writes_loads_with_every_column_and_no_warning(tmp_path: Path) -> None:
    from gateway.replay.tables import INTERVAL_HEADER, header_line, interval_line
    from tests.gateway.build import interval

    text = header_line(INTERVAL_HEADER) + interval_line(interval(3)) + interval_line(interval(4))
    path = tmp_path / "intervals.csv"
    path.write_text(text)
    ran = load(tmp_path, path)
    assert (ran.code, ran.said) == (0, [])
    names = ["charge_nc", "charge_positive_nc", "i2t_negative_pa2s", "wet_us", "pulses_5ma"]
    found = reader(tmp_path).loaded_columns(Columns.INTERVAL, "A1", names, *EVER)
    row = interval(3)
    assert [int(found[name][0]) for name in names] == [
        sum(row.charge_nc),
        row.charge_nc[0],
        row.i2t_pa2s[1],
        row.state_us[1],
        row.pulses[0],
    ]


def test_more_arcing_half_cycles_than_half_cycles_cannot_be(tmp_path: Path) -> None:
    header = "insulator,start,seconds,halfcycles,arcing_halfcycles"
    rows = csv_file(tmp_path, "a.csv", header, "A1,2025-01-01T00:00:00Z,60,6000,6001")
    assert "more arcing half-cycles than half-cycles" in load(tmp_path, rows).said[0]


def test_scripts_get_one_object_with_every_count(tmp_path: Path) -> None:
    rows = csv_file(tmp_path, "a.csv", HEADER, GOOD, "bad")
    (told,) = load(tmp_path, rows, options=["--json"]).document["files"]
    assert (told["kind"], told["rows"], told["added"], told["refused"]) == ("interval", 2, 1, 1)
    assert told["refusals"][0]["line"] == 3
