"""Weather in a wrong unit is refused; what people did and found is kept row by row."""

from __future__ import annotations

from pathlib import Path

import pytest

from gateway.history.chunks import ABSENT
from gateway.history.loaded import DEPOSIT, INSPECTION, LINE_STATUS, MAINTENANCE, Columns
from tests.gateway.commands.running import csv_file, load
from tests.gateway.loading.conftest import reader
from tests.gateway.loading.test_load import EVER

WEATHER = "start,seconds,rh_pct,air_c,rain_mm"


def test_humidity_as_a_fraction_refuses_the_whole_file(tmp_path: Path) -> None:
    rows = csv_file(
        tmp_path,
        "w.csv",
        WEATHER,
        "2025-01-01T00:00:00Z,3600,0.93,11,0",
        "2025-01-01T01:00:00Z,3600,1.00,11,0",
    )
    ran = load(tmp_path, rows)
    assert ran.code == 64 and "rh_pct never exceeds 1; it must be in per cent" in ran.said[0]
    assert reader(tmp_path).extent_us(Columns.WEATHER) is None


@pytest.mark.parametrize(
    ("row", "column"),
    [
        ("2025-01-01T01:00:00Z,3600,-1,11,0", "rh_pct"),
        ("2025-01-01T01:00:00Z,3600,140,11,0", "rh_pct"),
        ("2025-01-01T01:00:00Z,3600,80,288.15,0", "air_c"),
        ("2025-01-01T01:00:00Z,3600,80,11,-2", "rain_mm"),
    ],
)
def test_impossible_weather_is_refused_row_by_row(tmp_path: Path, row: str, column: str) -> None:
    rows = csv_file(tmp_path, "w.csv", WEATHER, "2025-01-01T00:00:00Z,3600,80,11,", row)
    ran = load(tmp_path, rows)
    assert ran.code == 64 and f"line 3, {column}: {column} is" in ran.said[0]
    found = reader(tmp_path).loaded_columns(Columns.WEATHER, "", ["rh_cpct", "rain_um"], *EVER)
    assert (found["rh_cpct"].tolist(), found["rain_um"].tolist()) == ([8000], [ABSENT])


def test_air_above_sixty_degrees_asks_after_the_unit(tmp_path: Path) -> None:
    rows = csv_file(tmp_path, "w.csv", WEATHER, "2025-01-01T00:00:00Z,3600,80,71,")
    assert any("degrees Celsius?" in line for line in load(tmp_path, rows).said)


def test_what_people_did_and_found_is_kept_and_one_visit_may_hold_several(tmp_path: Path) -> None:
    at = "2025-03-01T09:00:00Z"
    files = [
        csv_file(
            tmp_path, "m.csv", "insulator,start,action,note",
            f"A1,{at},wash,low pressure", f"A1,{at},inspect,", f",{at},outage,storm",
            f"A1,{at},paint,",
        ),
        csv_file(
            tmp_path, "i.csv", "insulator,start,finding,grade,depth_mm,photo",
            f"A1,{at},erosion,moderate,1.5,p7.jpg", f"A1,{at},hydrophobicity,5,,",
            f"A1,{at},chalking,,,", f"A1,{at},tracking,,,", f"A1,{at},hydrophobicity,light,,",
        ),
        csv_file(
            tmp_path, "d.csv", "insulator,start,esdd_mg_cm2,nsdd_mg_cm2",
            f"A1,{at},0.062,0.3", f"A2,{at},,",
        ),
        csv_file(
            tmp_path, "l.csv", "start,seconds,line_status",
            f"{at},7200,out-of-service", f"{at},7200,sleeping",
        ),
    ]  # fmt: skip
    ran = load(tmp_path, *files)
    counts = [line.split("rows: ")[1] for line in ran.printed.splitlines()]
    assert counts == [
        "3 added, 0 there already, 1 refused",
        "3 added, 0 there already, 2 refused",
        "1 added, 0 there already, 1 refused",
        "1 added, 0 there already, 1 refused",
    ]
    notes = reader(tmp_path)
    done = [(row["insulator"], row["action"]) for row in notes.notes(MAINTENANCE, *EVER)]
    assert sorted(done) == [("", "outage"), ("A1", "inspect"), ("A1", "wash")]
    erosion = next(row for row in notes.notes(INSPECTION, *EVER) if row["finding"] == "erosion")
    assert (erosion["grade"], erosion["depth_um"], erosion["photo"]) == ("moderate", 1500, "p7.jpg")
    assert notes.notes(DEPOSIT, *EVER)[0]["esdd_ng_cm2"] == 62_000
    assert notes.notes(LINE_STATUS, *EVER)[0]["duration_us"] == 7_200_000_000
    assert load(tmp_path, *files).printed.count("0 added") == 4
