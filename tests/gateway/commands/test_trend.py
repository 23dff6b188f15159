"""`seafret trend` from CSV files to the verdict, through the history and back."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import jsonschema
import numpy as np
import pytest

from gateway.trends.change import compare_periods
from gateway.trends.columns import IntervalColumns, SiteColumns, WeatherColumns
from gateway.trends.document import trend_document
from tests.gateway.commands.running import SITE, Ran, csv_file, load, seafret
from tests.gateway.commands.year_files import interval_file, register_file, weather_file
from tests.gateway.trends.years import Made, Year, made

NUMBER = {"type": ["number", "null"]}
WASH = {
    "type": ["object", "null"],
    "required": ["ratio", "low", "high", "verdict"],
    "properties": {"verdict": {"enum": ["helped", "did-not", "not-enough-wet-hours"]}},
}
MOMENT = {"type": "string", "pattern": r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ$"}
PERIOD = {
    "type": "object",
    "required": ["from", "to"],
    "properties": {"from": MOMENT, "to": MOMENT},
}
INSULATOR = {
    "insulator": {"type": "string"},
    "index_ratio": NUMBER,
    "index_ratio_low": NUMBER,
    "index_ratio_high": NUMBER,
    "onset_rh_reference": NUMBER,
    "onset_rh_now": NUMBER,
    "wet_hours_reference": {"type": "integer"},
    "wet_hours_now": {"type": "integer"},
    "changed": {"enum": [True, False, None]},
    "cause": {
        "enum": [
            "none",
            "deposit-site",
            "hydrophobicity-reversible",
            "hydrophobicity-lasting",
            "single-unit",
            "sensor",
            "probe",
            "cannot-tell",
        ]
    },
    "decision": {
        "enum": ["none-indicated", "inspect", "wash", "recoat", "replace", "cannot-decide"]
    },
    "reasons": {"type": "array", "items": {"type": "string"}},
    "wash": WASH,
}
SCHEMA = {
    "type": "object",
    "required": ["site", "reference", "now", "interval_level", "insulators"],
    "properties": {
        "site": {"const": SITE},
        "reference": PERIOD,
        "now": PERIOD,
        "interval_level": {"const": 0.9},
        "insulators": {
            "type": "array",
            "items": {"type": "object", "required": [*INSULATOR], "properties": INSULATOR},
        },
    },
}


@dataclass(frozen=True, slots=True)
class Stored:
    """A year that was loaded."""

    folder: Path
    year: Made

    def trend(self, *options: str | Path) -> Ran:
        return seafret("trend", "--site", SITE, "--data", self.folder / "history", *options)

    def document(self, *options: str | Path) -> dict[str, Any]:
        document: dict[str, Any] = self.trend("--json", *options).document
        jsonschema.validate(document, SCHEMA)
        return document


def stored(folder: Path, year: Made, weather: bool = True) -> Stored:
    files = [interval_file(folder, year)]
    if weather:
        files.append(weather_file(folder, year.weather))
    assert load(folder, *files).code == 0
    return Stored(folder, year)


@pytest.fixture(scope="module")
def dirty(tmp_path_factory: pytest.TempPathFactory) -> Stored:
    """Three insulators; from the middle of the year P1 carries two and a half times the current."""
    return stored(
        tmp_path_factory.mktemp("dirty"), made(Year(seed=11, insulators=3, factor={0: 2.5}))
    )


@pytest.fixture(scope="module")
def told(dirty: Stored) -> dict[str, Any]:
    """What is said of it where nothing is asked for."""
    return dirty.document()


def test_json_keeps_the_contract_and_equals_the_trend_of_the_columns_themselves(
    dirty: Stored,
) -> None:
    register = register_file(dirty.folder, dirty.year)
    now = "2025-07-02T12:00:00Z,2026-01-01"
    reference = "2025-01-01,2025-07-02T12:00:00Z"
    found = dirty.document("--register", register, "--reference", reference, "--now", now)
    year = dirty.year
    weather = replace(
        year.weather,
        air_c=np.round(year.weather.air_c, 2),
        rain_mm=np.round(year.weather.rain_mm, 3),
    )
    expected = trend_document(
        compare_periods(year.site, weather, year.register, year.reference, year.now)
    )
    assert found == json.loads(json.dumps(expected))
    by_name = {one["insulator"]: one for one in found["insulators"]}
    assert by_name["P1"]["changed"] is True and 1.7 < by_name["P1"]["index_ratio"] < 3.6


def test_text_fits_eighty_columns_and_says_the_most_urgent_first(dirty: Stored) -> None:
    ran = dirty.trend()
    lines = ran.printed.splitlines()
    assert ran.code == 10 and not ran.said
    assert max(len(line) for line in lines) <= 80
    heads = [line for line in lines if line[:1] == "P"]
    assert heads[0] == "P1  INSPECT  (type unknown)" and len(heads) == 3
    assert "core and interface faults" in ran.printed and "keep clear" in ran.printed


def test_the_picture_has_a_row_of_panels_for_each_insulator(dirty: Stored) -> None:
    picture = dirty.folder / "trend.svg"
    assert dirty.trend("--plot", picture).code == 10
    root = ElementTree.fromstring(picture.read_text(encoding="utf-8"))
    axes = [one for one in root.iter() if one.get("id", "").startswith("axes_")]
    assert len(axes) == 3 * (3 + 1)  # the exposure has two scales
    ran = dirty.trend("--plot", dirty.folder / "trend.doc")
    assert ran.code == 64 and "must end in .png" in ran.said[0] and not ran.printed


def test_one_insulator_is_shown_as_among_its_siblings(dirty: Stored, told: dict[str, Any]) -> None:
    only = dirty.document("--insulator", "P2")
    assert only["insulators"] == [told["insulators"][1]]
    ran = dirty.trend("--insulator", "P9")
    assert ran.code == 64 and "the site has P1, P2, P3" in ran.said[0]


def test_a_register_beside_the_data_is_read_without_being_asked_for(dirty: Stored) -> None:
    beside = dirty.folder / "history" / f"{SITE}.register.toml"
    beside.write_text('[insulator.P1]\ntype = "coated-glass"\n', encoding="utf-8")
    try:
        assert "P1  INSPECT  (coated-glass)" in dirty.trend().printed
        beside.write_text('[insulator.P1]\ntype = "wood"\n', encoding="utf-8")
        ran = dirty.trend()
        assert ran.code == 64 and "insulator.P1.type" in ran.said[0]
    finally:
        beside.unlink()


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--now", "yesterday"], "--now is 'yesterday'; it must be FROM,TO in UTC"),
        (["--reference", "2025-05-01,2025-04-01"], "it ends before it begins"),
        (["--reference", "2025-01-01,2025-06-01", "--now", "2025-05-01,2025-12-01"], "overlap"),
        (["--reference", "2025-01-01,2027-01-01"], "no rows after the reference"),
    ],
)
def test_a_period_that_cannot_be_is_one_line_of_wrong_use(
    dirty: Stored, options: list[str], words: str
) -> None:
    ran = dirty.trend(*options)
    assert ran.code == 64 and len(ran.said) == 1 and words in ran.said[0]


def test_a_site_without_history_names_those_that_have_one(dirty: Stored) -> None:
    ran = seafret("trend", "--site", "elsewhere", "--data", dirty.folder / "history")
    assert ran.code == 64 and f"it has {SITE}" in ran.said[0]


def some_days(days: int, rh_pct: float, rms_ma: float | None = None) -> Made:
    """The first days of a year of one insulator at a level humidity, with two wet nights."""
    year = made(Year(seed=5, insulators=1, gap_share=0.0))
    hours = 24 * days
    rh = np.full(hours, rh_pct)
    rh[20:30], rh[hours - 28 : hours - 18] = 92.0, 93.0
    rows = year.site.insulators["P1"]
    cut = IntervalColumns(
        **{name: getattr(rows, name)[:hours] for name in
           ("start_us", "duration_us", "peak_ua", "halfcycles", "arcing_halfcycles", "charge_nc")},
        rms_na=rows.rms_na[:hours] if rms_ma is None else np.full(hours, rms_ma * 1e6),
    )  # fmt: skip
    if rms_ma == 0.0:
        cut = replace(cut, peak_ua=np.zeros(hours), charge_nc=np.zeros(hours, np.int64))
    weather = WeatherColumns(
        year.weather.start_us[:hours],
        year.weather.duration_us[:hours],
        rh,
        year.weather.air_c[:hours],
        rain_mm=np.zeros(hours),
    )
    return replace(year, site=SiteColumns(SITE, {"P1": cut}), weather=weather)


def is_unsaid(one: dict[str, Any]) -> bool:
    numbers = ("index_ratio", "index_ratio_low", "index_ratio_high", "onset_rh_now")
    return one["changed"] is None and all(one[name] is None for name in numbers)


def test_two_wet_nights_are_not_enough_to_say_anything(tmp_path: Path) -> None:
    site = stored(tmp_path, some_days(30, 50.0))
    (one,) = site.document()["insulators"]
    assert is_unsaid(one) and one["decision"] == "cannot-decide" and one["reasons"]
    ran = site.trend("--plot", tmp_path / "few.png")
    assert ran.code == 20 and (tmp_path / "few.png").read_bytes()[1:4] == b"PNG"


def test_currents_of_zero_throughout_are_never_called_sound(tmp_path: Path) -> None:
    site = stored(tmp_path, some_days(200, 85.0, rms_ma=0.0))
    (one,) = site.document("--plot", tmp_path / "none.png")["insulators"]
    assert is_unsaid(one) and one["decision"] == "cannot-decide"


def test_one_insulator_alone_is_never_blamed_apart_from_its_siblings(tmp_path: Path) -> None:
    alone = made(Year(seed=6, insulators=1, factor={0: 3.0}))
    (one,) = stored(tmp_path, alone).document()["insulators"]
    assert one["changed"] is True and one["cause"] in ("cannot-tell", "deposit-site")


def test_without_weather_everything_that_needs_wetness_is_null(tmp_path: Path) -> None:
    site = stored(tmp_path, made(Year(seed=7, insulators=1)), weather=False)
    found = site.document()
    assert found["weather_flags"] == ["no-weather"]
    assert all(is_unsaid(one) for one in found["insulators"])
    assert "no-weather" in site.trend().printed


def test_overlapping_rows_are_flagged_and_counted_once(tmp_path: Path) -> None:
    site = stored(tmp_path, made(Year(seed=8, insulators=1, gap_share=0.0)))
    before = site.document()["insulators"][0]
    lines = ["insulator,start,seconds,rms_ma"]
    lines += [f"P1,2025-0{month}-03T10:30:00Z,3600,9.0" for month in range(1, 10)]
    assert load(tmp_path, csv_file(tmp_path, "more.csv", *lines)).code == 0
    after = site.document()["insulators"][0]
    assert after.pop("flags") == ["overlapping-rows"] and before.pop("flags") == []
    assert after == before


def test_maintenance_that_was_loaded_gets_its_wash_verdict(tmp_path: Path) -> None:
    site = stored(tmp_path, made(Year(seed=9, insulators=1, factor={0: 0.3})))
    washed = csv_file(tmp_path, "w.csv", "insulator,start,action", ",2025-07-02T09:00:00Z,wash")
    assert site.document()["insulators"][0]["wash"] is None
    assert load(tmp_path, washed).code == 0
    for one in site.document()["insulators"]:
        assert one["wash"]["verdict"] == "helped" and one["wash"]["high"] < 1


def test_erosion_that_was_found_decides_until_the_insulator_is_replaced(
    tmp_path: Path,
) -> None:
    site = stored(tmp_path, some_days(30, 50.0))
    at = "2025-05-01T09:00:00Z"
    found = csv_file(tmp_path, "i.csv", "insulator,start,finding,grade", f"P1,{at},erosion,severe")
    load(tmp_path, found)
    register = register_file(tmp_path, site.year)
    assert site.document("--register", register)["insulators"][0]["decision"] == "replace"
    assert site.document()["insulators"][0]["decision"] == "inspect"  # of a type that is not known
    done = csv_file(tmp_path, "m.csv", "insulator,start,action", "P1,2025-05-20T09:00:00Z,replace")
    load(tmp_path, done)
    assert site.document("--register", register)["insulators"][0]["decision"] == "cannot-decide"
