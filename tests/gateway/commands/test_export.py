"""`seafret export`: what comes out is what went in, as readers of others see it."""

from __future__ import annotations

import csv
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import duckdb
import pytest

from edge.quantities import BY_NAME, column_text
from gateway.__main__ import verdict
from gateway.history.sqlite_store import SqliteHistory
from gateway.replay.tables import INTERVAL_HEADER, header_line, interval_line
from tests.gateway.build import commit, interval
from tests.gateway.commands.running import SITE, Ran, csv_file, load, seafret

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
LATER = "2026-11-25T06:00:00.250000Z"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two minutes that a unit sent for A1 and one loaded row of B'2 with few columns."""
    writer = SqliteHistory(tmp_path / "history").writer(SITE)
    writer.append(commit(1, [interval(0, flags=("gap", "late")), interval(1, energy_uj=None)]))
    writer.close()
    header = "insulator,start,seconds,rms_ma,mean_ma,charge_c,state"
    rows = csv_file(tmp_path, "b.csv", header, f"B-2,{LATER},3600,0.000001,-0.5,0.3,dry")
    assert load(tmp_path, rows).code == 0
    return tmp_path


def export(folder: Path, name: str, *options: str) -> Ran:
    out = folder / name
    return seafret("export", "--site", SITE, "--data", folder / "history", "--out", out, *options)


def table(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


def test_csv_has_units_in_its_names_and_exact_decimals(folder: Path) -> None:
    ran = export(folder, "out.csv")
    assert (ran.code, ran.said) == (0, []) and ran.printed.startswith("3 rows in ")
    first, second, third = table(folder / "out.csv")
    row = interval(0)
    assert first["start"] == "2026-11-24T00:00:00.000000Z" and first["origin"] == "unit"
    assert (first["insulator"], first["state"], first["flags"]) == ("A1", "wet", "gap|late")
    assert first["charge_c"] == column_text(BY_NAME["charge_nc"], sum(row.charge_nc))
    assert first["charge_negative_c"] == column_text(BY_NAME["charge_nc"], row.charge_nc[1])
    assert first["energy_j"] == column_text(BY_NAME["energy_uj"], sum(row.energy_uj or ()))
    assert second["energy_j"] == "" and second["energy_positive_j"] == ""
    assert third["start"] == LATER and third["origin"] == "loaded"
    assert (third["rms_ma"], third["mean_ma"], third["peak_ma"]) == ("0.000001", "-0.500000", "")


def test_an_independent_reader_finds_in_parquet_what_the_csv_says(folder: Path) -> None:
    assert export(folder, "out.csv").code == export(folder, "out.parquet").code == 0
    with duckdb.connect() as connection:
        connection.execute("SET TimeZone = 'UTC'")
        found = connection.execute(
            "SELECT *, epoch_us(start) FROM read_parquet(?)", [str(folder / "out.parquet")]
        )
        names = [column[0] for column in found.description or []]
        rows = [dict(zip(names, row, strict=True)) for row in found.fetchall()]
    for written, read in zip(table(folder / "out.csv"), rows, strict=True):
        start = EPOCH + timedelta(microseconds=read.pop('epoch_us("start")'))
        assert written["start"] == start.strftime("%Y-%m-%dT%H:%M:%S.%fZ")
        assert list(written) == list(read)
        for name in written.keys() - {"start"}:
            plain = "" if read[name] is None else str(read[name])
            if isinstance(read[name], Decimal):
                plain = f"{read[name]:f}"
            assert plain == written[name], name


def test_an_exported_csv_loads_into_another_site_without_a_loss(
    folder: Path, tmp_path: Path
) -> None:
    export(folder, "out.csv")
    other = tmp_path / "other"
    other.mkdir()
    ran = load(other, folder / "out.csv")
    assert (ran.code, ran.said) == (0, []) and "3 added" in ran.printed
    export(other, "again.csv")
    before, after = table(folder / "out.csv"), table(other / "again.csv")
    assert [{**row, "origin": ""} for row in after] == [{**row, "origin": ""} for row in before]


def test_minutes_of_a_replay_come_out_as_replay_wrote_them(tmp_path: Path) -> None:
    text = header_line(INTERVAL_HEADER) + "".join(interval_line(interval(k)) for k in range(3))
    path = tmp_path / "intervals.csv"
    path.write_text(text)
    load(tmp_path, path)
    export(tmp_path, "out.csv")
    for before, after in zip(table(path), table(tmp_path / "out.csv"), strict=True):
        kept = [name for name in before if name != "calibration"]
        assert {name: before[name] for name in kept} == {name: after[name] for name in kept}


def test_from_and_to_keep_the_rows_that_start_between_them(folder: Path) -> None:
    ran = export(folder, "out.csv", "--from", "2026-11-24T00:01:00Z", "--to", "2026-11-25")
    assert ran.code == 0
    (only,) = table(folder / "out.csv")
    assert only["start"] == "2026-11-24T00:01:00.000000Z"


def test_no_rows_are_told_by_the_exit_code_and_a_header_alone(folder: Path) -> None:
    assert export(folder, "out.csv", "--from", "2030-01-01").code == 20
    assert table(folder / "out.csv") == []
    assert export(folder, "out.parquet", "--from", "2030-01-01").code == 20
    with duckdb.connect() as connection:
        path = str(folder / "out.parquet")
        assert connection.execute("SELECT * FROM read_parquet(?)", [path]).fetchall() == []


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["out.xlsx"], "must end in .csv or .parquet"),
        (["out.csv", "--from", "soon"], "--from is 'soon'; it must be UTC like"),
        (["nowhere/out.csv"], "No such file or directory"),
    ],
)
def test_wrong_use_is_one_line_and_leaves_no_file(
    folder: Path, options: list[str], words: str
) -> None:
    ran = export(folder, *options)
    assert ran.code == 64 and len(ran.said) == 1 and words in ran.said[0]
    assert not list(folder.glob("out*"))


def test_without_pyarrow_the_extra_is_named_and_csv_still_works(folder: Path) -> None:
    """In a process of its own, in which the library cannot be imported."""
    source = (
        "import sys; sys.modules['pyarrow'] = None\n"
        "from gateway.__main__ import main\n"
        "args = ['export', '--site', sys.argv[1], '--data', sys.argv[2], '--out']\n"
        "print(main([*args, sys.argv[3] + '/a.csv']), main([*args, sys.argv[3] + '/a.parquet']))"
    )
    words = [sys.executable, "-c", source, SITE, str(folder / "history"), str(folder)]
    ran = subprocess.run(words, capture_output=True, text=True, check=True)
    assert ran.stdout.splitlines()[-1] == "0 69"
    assert "pip install 'seafret[parquet]'" in ran.stderr and len(ran.stderr.splitlines()) == 1
    assert verdict(ModuleNotFoundError(name="pyarrow.parquet"))[1].endswith("'seafret[parquet]'")
