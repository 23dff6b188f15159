"""Decisions beside the advice, the fleet's list, and the night ahead: through the commands."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from gateway.history.lock import hold_data
from gateway.trends.columns import HOUR_US
from tests.gateway.commands.running import SITE, Ran, csv_file, load, seafret
from tests.gateway.commands.year_files import interval_file, times, weather_file
from tests.gateway.trends.years import Made, Year, made


@dataclass(frozen=True, slots=True)
class Stored:
    folder: Path
    year: Made

    def run(self, command: str, *words: str) -> Ran:
        return seafret(command, "--data", self.folder / "history", "--site", SITE, *words)


@pytest.fixture(scope="module")
def stored(tmp_path_factory: pytest.TempPathFactory) -> Stored:
    """Two insulators; P1 carries three times the current from the middle of the year on."""
    folder = tmp_path_factory.mktemp("decided")
    year = made(Year(seed=13, insulators=2, factor={0: 3.0}))
    found = csv_file(
        folder,
        "found.csv",
        "insulator,start,finding,grade,depth_mm,photo",
        "P1,2025-03-04T10:00:00Z,erosion,light,0.4,P1-0304.jpg",
    )
    washed = csv_file(
        folder, "done.csv", "insulator,start,action,note", "P1,2025-06-01T08:00:00Z,wash,by hand"
    )
    files = (interval_file(folder, year), weather_file(folder, year.weather), found, washed)
    assert load(folder, *files).code == 0
    return Stored(folder, year)


def decide(stored: Stored, decision: str, *more: str) -> Ran:
    words = ("--insulator", "P1", "--decision", decision, "--by", "M. Keel", *more)
    return stored.run("decide", *words)


def test_a_decision_stands_beside_the_advice_of_that_moment_and_is_never_changed(
    stored: Stored,
) -> None:
    advised = stored.run("trend", "--json", "--insulator", "P1").document["insulators"][0]
    ran = decide(stored, "wash", "--reference", "WO-7", "--note", "before the fog season")
    assert ran.code == 0 and f"the program advised {advised['decision']}" in ran.printed
    assert "decision 2" in decide(stored, "inspect").printed
    lines = stored.run("assess", "--insulator", "P1", "--json").document["lines"]
    told = [(one["what"], one["text"].split(":")[0]) for one in lines]
    assert told == [
        ("found", "erosion light, 0.4 mm deep, found on 2025-03-04"),
        ("done", "wash"),
        ("advised", advised["decision"]),
        ("decided", "wash by M. Keel"),
        ("advised", advised["decision"]),
        ("decided", "inspect by M. Keel"),
    ]
    file = sqlite3.connect(stored.folder / "history" / f"{SITE}.sqlite3")
    with pytest.raises(sqlite3.IntegrityError, match="only ever added to"):
        file.execute("DELETE FROM decisions")
    file.close()


def test_the_fleets_list_has_the_most_urgent_first_with_what_a_person_decided(
    stored: Stored,
) -> None:
    decide(stored, "wash")
    found = stored.run("assess", "--json").document["insulators"]
    assert found[0]["insulator"] == "P1" and len(found) == 2
    assert found[0]["decided"].startswith("wash by M. Keel") and found[1]["decided"] is None
    ran = seafret("assess", "--data", stored.folder / "history")
    assert ran.code == 10 and max(map(len, ran.printed.splitlines())) <= 80


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--insulator", "P9", "--decision", "wash", "--by", "x"), "the site has P1, P2"),
        (("--insulator", "P1", "--decision", "wash", "--by", " "), "needs the name"),
        (("--insulator", "P1", "--decision", "wash", "--by", "x" * 65), "at most 64"),
        (("--insulator", "P1", "--decision", "paint", "--by", "x"), "paint"),
    ],
)
def test_a_decision_that_cannot_be_is_one_line_of_wrong_use(
    stored: Stored, words: tuple[str, ...], said: str
) -> None:
    ran = stored.run("decide", *words)
    assert ran.code == 64 and len(ran.said) == 1 and said in ran.said[0]


def test_nothing_is_decided_while_another_program_holds_the_data(stored: Stored) -> None:
    with hold_data(stored.folder / "history", "seafret serve"):
        ran = decide(stored, "wash")
    assert ran.code == 69 and "held by seafret serve" in ran.said[0]


def forecast_file(stored: Stored, issued: str, rh_pct: float) -> Path:
    end = int(stored.year.weather.start_us[-1]) + HOUR_US
    start = times(end + np.arange(14) * HOUR_US)
    lines = [f"{issued},{one},3600,{rh_pct}" for one in start]
    return csv_file(stored.folder, "forecast.csv", "issued,start,seconds,rh_pct", *lines)


def test_the_latest_forecast_says_what_tonight_would_bring_and_history_stays_as_it_is(
    stored: Stored,
) -> None:
    before = stored.run("trend", "--json").document
    ran = stored.run("forecast")
    assert ran.code == 64 and "has no forecast of the two days ahead" in ran.said[0]
    assert load(stored.folder, forecast_file(stored, "2025-12-31T12:00:00Z", 60.0)).code == 0
    dry = stored.run("forecast", "--json").document
    assert load(stored.folder, forecast_file(stored, "2025-12-31T18:00:00Z", 96.0)).code == 0
    wet = stored.run("forecast", "--json").document
    assert (dry["issued"], wet["issued"]) == ("2025-12-31T12:00:00Z", "2025-12-31T18:00:00Z")
    for one, other in zip(dry["insulators"], wet["insulators"], strict=True):
        assert one["current_high_ma"] < other["current_low_ma"]
        assert one["from"] == "2026-01-01T00:00:00Z" and one["to"] == "2026-01-01T14:00:00Z"
    text = stored.run("forecast").printed
    assert "its own error is not in the range" in text and "no protection" in text
    assert stored.run("trend", "--json").document == before
