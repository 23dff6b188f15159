"""The short form of the second table of years. Its bounds are the required figures, never looser.

What fails today is not here: the page beside this file lists it with its figure. The long form is
the whole table.
"""

from __future__ import annotations

from itertools import chain
from pathlib import Path

import pytest

from gateway.trends.document import utc_text
from tests.gateway.commands.running import SITE, load, seafret
from tests.second_years.evenings import coverage, evenings, sharpness
from tests.second_years.figures import COVERAGE, FLAGGED_MOST, FOUND_LEAST, of_trials
from tests.second_years.files import interval_file, weather_file
from tests.second_years.judging import Trial, answer, trials
from tests.second_years.scenarios import Expected
from tests.second_years.site import rows_of, stage
from tests.second_years.table import judged

SEED = 70
FEW = 4
"""Insulators of a site that are judged here: enough to have siblings, fewer than the table's six,
which would take half as long again."""
BLIND = (
    "sensor fades",
    "sensor dies",
    "lead bypassed",
    "outage, not said",
    "two wet nights a year",
    "all currents zero",
    "no weather",
)


def test_steady_years_are_rarely_called_changed() -> None:
    seen = [*chain.from_iterable(trials("steady", SEED, coast, FEW) for coast in range(3))]
    assert len(seen) == 3 * FEW
    assert sum(trial.flagged for trial in seen) <= FLAGGED_MOST * len(seen)


@pytest.mark.parametrize("coast", range(3))
def test_twice_the_salt_of_a_site_is_found_and_named(coast: int) -> None:
    seen = list(trials("deposit doubled, site", SEED, coast, FEW))
    assert sum(trial.flagged and trial.right for trial in seen) >= FOUND_LEAST * len(seen)


def test_twice_the_salt_of_one_insulator_is_found_and_named() -> None:
    seen = list(trials("deposit doubled, one", SEED, 1, FEW))
    touched = [trial for trial in seen if trial.expected.touched]
    assert all(trial.flagged and trial.right for trial in touched)
    spared = [trial for trial in seen if not trial.expected.touched]
    assert sum(trial.flagged for trial in spared) <= FLAGGED_MOST * len(spared)


@pytest.mark.parametrize("place", range(len(BLIND)), ids=BLIND)
def test_what_cannot_be_known_is_not_said(place: int) -> None:
    told = trials(BLIND[place], SEED, place % 3, FEW)
    seen = [trial for trial in told if trial.expected.blind]
    assert seen
    assert not [trial.said for trial in seen if trial.flagged]
    assert {trial.said["decision"] for trial in seen} == {"cannot-decide"}


def test_a_site_of_one_insulator_does_not_say_whether_the_site_moved() -> None:
    (only,) = trials("one insulator, deposit doubled", SEED, 1)
    assert only.flagged
    assert only.cause == "cannot-tell"


def test_a_probe_that_reads_wrong_is_not_laid_at_the_surfaces_door() -> None:
    seen = list(trials("humidity probe 5 % off", SEED, 1, FEW))
    assert sum(trial.cause == "probe" for trial in seen) >= FOUND_LEAST * len(seen)


def test_the_forecast_holds_the_coming_nights_and_is_sharper_than_climatology() -> None:
    seen = list(evenings(SEED, 0, every=20))
    held, of = coverage(seen)
    assert of > 100
    assert held >= COVERAGE[0] * of
    assert sharpness(seen) < 1


def test_the_programs_own_door_gives_the_judged_answer(tmp_path: Path) -> None:
    one, rng = stage([SEED], 0, 2, rich=True)
    rows, _ = rows_of(one.changed("load", 0, 8760, 2.0), rng)
    assert rows.weather is not None
    files = (
        interval_file(tmp_path / "rows.csv", rows.columns.insulators),
        weather_file(tmp_path / "weather.csv", rows.weather),
    )
    assert load(tmp_path, *files).code == 0
    register = tmp_path / "register.toml"
    kinds = (f'[insulator.{n}]\ntype = "composite"\nstress = "12.7 kV post"\n' for n in one.names)
    register.write_text(f"coast_bearing_deg = {one.weather.coast.sea_deg}\n" + "".join(kinds))
    spans = [
        f"{utc_text(span.from_us)},{utc_text(span.to_us)}" for span in (rows.reference, rows.now)
    ]
    asked = ("--reference", spans[0], "--now", spans[1], "--register", register, "--json")
    ran = seafret("trend", "--site", SITE, "--data", tmp_path / "history", *asked)
    assert ran.document["insulators"] == answer(rows)["insulators"]


def test_a_judge_that_flags_everything_fails_the_table() -> None:
    said = {"changed": True, "cause": "single-unit", "decision": "inspect", "wash": None}
    said |= {"index_ratio_low": None, "index_ratio_high": None}
    careless = [Trial("steady", 0, "warm", Expected(), said)] * 6
    (figure,) = [f for f in of_trials(careless) if f.name == "steady: flagged"]
    assert not figure.holds


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_the_long_form_keeps_what_holds() -> None:
    names = ("steady", "deposit doubled, site", "deposit doubled, one", *BLIND)
    failed = [figure for figure in of_trials(judged(names, range(12))) if not figure.holds]
    assert not [figure.line() for figure in failed]
