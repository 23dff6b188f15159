"""Recordings written by other code, in every format: replayed to the states that were put in."""

from __future__ import annotations

import csv
from dataclasses import dataclass

import pytest

from gateway.replay.run import Request, Summary, replay
from tests.replay.other_code import (
    ARC_MA,
    CHANNELS,
    DRY_MA,
    FILM_MA,
    LAYOUTS,
    SECONDS,
    Layout,
    write,
)

STATES = dict(zip(CHANNELS, ("dry", "wet", "arcing-dense"), strict=True))
QUANTISING_MA = 0.01
HALFCYCLES = round(2 * 50 * SECONDS)


@dataclass(frozen=True, slots=True)
class Told:
    """A layout, and what its replay wrote."""

    layout: Layout
    summary: Summary
    windows: list[dict[str, str]]

    def of(self, insulator: str, whole: bool = False) -> list[dict[str, str]]:
        """Windows of one insulator; `whole`: without one that was cut."""
        return [
            row
            for row in self.windows
            if row["insulator"] == insulator and not (whole and "short" in row["flags"])
        ]


@pytest.fixture(scope="module", params=LAYOUTS, ids=lambda layout: layout.name)
def told(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Told:
    folder = tmp_path_factory.mktemp(request.param.name)
    summary = replay(Request((write(request.param, folder),)), folder / "out")
    with (folder / "out" / "windows.csv").open(newline="", encoding="utf-8") as lines:
        return Told(request.param, summary, list(csv.DictReader(lines)))


def test_what_other_code_wrote_replays_to_sensible_states(told: Told) -> None:
    assert not told.summary.cut
    assert told.summary.seconds_of_signal == pytest.approx(SECONDS, abs=0.02)
    assert {row["insulator"] for row in told.windows} == set(CHANNELS)
    for name, state in STATES.items():
        rows = told.of(name)
        assert {row["state"] for row in rows} == {state}, name
        arcing = sum(int(row["arcing_halfcycles"]) for row in rows)
        assert abs(arcing - (HALFCYCLES if state == "arcing-dense" else 0)) <= 2
        assert all(49.9 < float(row["frequency_hz"]) < 50.1 for row in rows)


def test_its_currents_come_out_at_primary_in_every_unit(told: Told) -> None:
    dry, wet, arcing = (told.of(name, whole=True) for name in CHANNELS)
    assert len(dry) >= 5
    for row in dry:
        assert float(row["quadrature_ma"]) == pytest.approx(DRY_MA / 2**0.5, abs=QUANTISING_MA)
    for row in wet:
        assert float(row["in_phase_ma"]) == pytest.approx(FILM_MA / 2**0.5, abs=QUANTISING_MA)
    highest = max(float(row["peak_ma"]) for row in arcing)
    assert highest == pytest.approx(0.85 * ARC_MA, abs=0.2)


def test_its_time_is_read_and_doubted_where_it_names_no_zone(told: Told) -> None:
    assert told.windows[0]["start"].startswith("2026-11-24T21:15:00.25")
    flagged = {"time-zone-assumed" in row["flags"].split("|") for row in told.windows}
    assert flagged == {told.layout.revision != "2013"}
