"""What is kept of a day's waveforms: what is new over segments, the weightiest first."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from edge.captures import choosing
from edge.captures.choosing import (
    BASELINE_FROM_US,
    CAPTURE_BYTES_A_DAY,
    CURRENT_STEPS_UA,
    Choosing,
    share_bytes,
    wire_bytes,
)
from edge.captures.file import file_bytes
from edge.measure.raw_rows import CapturedWaveform, Trigger
from edge.records import Capture, CapturePart
from tests.edge.captures.builders import DAY_S, row_at, waveform

NOON_S = BASELINE_FROM_US / 1e6


def chosen(
    candidates: Iterable[tuple[float, CapturedWaveform]], state: Choosing | None = None
) -> tuple[Choosing, list[Capture | CapturePart]]:
    """Each candidate with the arcing minute row of its second."""
    state, records = state or {}, []
    for second, one in candidates:
        state, some = choosing.step(state, row_at(second, arcs=True), (one,), "sha")
        records += some
    return state, records


def kept(candidates: Iterable[tuple[float, CapturedWaveform]]) -> list[str]:
    _, records = chosen(candidates)
    return [one.trigger for one in records if isinstance(one, Capture)]


def seen(trigger: Trigger, *moments: float, peak_ua: int = 1_000) -> list:
    return [(second, waveform(trigger, second, peak_ua)) for second in moments]


def test_arcing_that_goes_on_after_less_than_ten_minutes_is_no_new_onset() -> None:
    assert kept(seen(Trigger.ONSET, 100.0, 690.0)) == ["arcing-onset"]
    assert kept(seen(Trigger.ONSET, 100.0, 710.0)) == ["arcing-onset"] * 2


def test_arcs_of_rows_without_a_waveform_put_the_next_onset_off() -> None:
    state, _ = choosing.step({}, row_at(100.0, arcs=True), (), "sha")
    _, records = chosen(seen(Trigger.ONSET, 400.0), state)
    assert records == []


def test_the_first_arcs_of_a_clock_that_was_never_set_are_an_onset() -> None:
    one = waveform(Trigger.ONSET, 5.0)
    unset = replace(one.anchor, utc_ns=5_000_000_000, synchronised=False)
    _, records = choosing.step({}, row_at(5.0, arcs=True), (replace(one, anchor=unset),), "sha")
    assert isinstance(records[0], Capture) and records[0].trigger_us < 10_000_000


def test_a_new_highest_exceeds_the_last_of_the_day_by_a_quarter() -> None:
    moments = (1_000.0, 2_000.0, 3_000.0, DAY_S + 1_000.0)
    peaks = (10_000, 12_000, 12_500, 3_000)
    found = [seen(Trigger.HIGHEST, s, peak_ua=p)[0] for s, p in zip(moments, peaks, strict=True)]
    _, records = chosen(found)
    times = [one.trigger_us for one in records if isinstance(one, Capture)]
    assert len(times) == 3
    assert {round((b - a) / 1e6) for a, b in pairwise(times)} == {2_000, DAY_S - 2_000}


def test_the_baseline_is_the_first_dry_minute_after_noon_once_a_day() -> None:
    moments = (NOON_S - 60, NOON_S + 600, NOON_S + 1_200, DAY_S + 60.0, DAY_S + NOON_S)
    _, records = chosen(seen(Trigger.BASELINE, *moments))
    times = [one.trigger_us for one in records if isinstance(one, Capture)]
    assert len(times) == 2 and times[1] - times[0] == round((DAY_S - 600) * 1e6)


@pytest.mark.parametrize(
    ("asking", "named"),
    [
        ((Trigger.ONSET, Trigger.OVER_RANGE, Trigger.HIGHEST), "over-range"),
        ((Trigger.HIGHEST, Trigger.ONSET), "arcing-onset"),
    ],
)
def test_one_moment_is_kept_once(asking: tuple[Trigger, ...], named: str) -> None:
    found = [waveform(trigger, 30.0) for trigger in asking]
    _, records = choosing.step({}, row_at(30.0, arcs=True), found, "sha")
    assert [one.trigger for one in records if isinstance(one, Capture)] == [named]


def test_an_onset_before_a_flashover_in_the_same_minute_is_kept_besides() -> None:
    found = [waveform(Trigger.ONSET, 10.0), waveform(Trigger.FLASHOVER, 40.0)]
    _, records = choosing.step({}, row_at(40.0, arcs=True), found, "sha")
    triggers = [one.trigger for one in records if isinstance(one, Capture)]
    assert triggers == ["flashover-suspected", "arcing-onset"]


def spent_bytes(records: Iterable[object]) -> int:
    return sum(len(one.content_b64) for one in records if isinstance(one, CapturePart))


def storm(seed: int) -> list[tuple[float, CapturedWaveform]]:
    """A day of onsets and ever higher currents, and a flashover as the last of all."""
    rng = np.random.default_rng(seed)
    found = []
    for number in range(110):
        second = 700.0 * number + float(rng.uniform(0, 60))
        trigger = (Trigger.ONSET, Trigger.HIGHEST, Trigger.OVER_RANGE)[rng.integers(3)]
        found += seen(trigger, second, peak_ua=int(10 ** rng.uniform(3, 6)))
    return [*found, *seen(Trigger.FLASHOVER, 80_000.0, peak_ua=900_000)]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_flashover_at_the_end_of_a_storm_finds_room_and_the_day_keeps_its_bytes(
    seed: int,
) -> None:
    _, records = chosen(storm(seed))
    assert isinstance(records[-1], CapturePart)
    assert [one.trigger for one in records if isinstance(one, Capture)][-1].startswith("flash")
    assert CAPTURE_BYTES_A_DAY / 2 < spent_bytes(records) <= CAPTURE_BYTES_A_DAY


def test_first_come_first_served_would_lose_the_flashover(monkeypatch: pytest.MonkeyPatch) -> None:
    """The careless twin: every weight may take all of the day's bytes."""
    monkeypatch.setattr(choosing, "share_bytes", lambda trigger, peak_ua: CAPTURE_BYTES_A_DAY)
    onsets = seen(Trigger.ONSET, *(700.0 * number for number in range(1, 100)))
    found = [*onsets, *seen(Trigger.FLASHOVER, 80_000.0)]
    assert "flashover-suspected" not in kept(found)
    monkeypatch.undo()
    assert kept(found)[-1] == "flashover-suspected"


def test_what_is_refused_is_refused_only_where_its_share_is_full() -> None:
    state: Choosing = {}
    spent = 0
    for second, one in storm(4):
        before = state.get("I1", choosing.FRESH).spent_bytes
        state, records = choosing.step(state, row_at(second, arcs=True), (one,), "sha")
        spent += spent_bytes(records)
        size = wire_bytes(len(file_bytes(one, "sha")))
        share = share_bytes(one.trigger, one.peak_ua)
        if records:
            assert spent <= share
        elif one.trigger is Trigger.OVER_RANGE:
            assert before + size > share
    assert state["I1"].spent_bytes == spent


def test_shares_grow_with_trigger_and_current_and_end_at_the_day() -> None:
    currents = (0, *CURRENT_STEPS_UA)
    for trigger in Trigger:
        shares = [share_bytes(trigger, peak_ua) for peak_ua in currents]
        assert shares == sorted(shares)
    for lighter, heavier in pairwise(Trigger):
        assert share_bytes(lighter, 10**6) <= share_bytes(heavier, 0)
    assert share_bytes(Trigger.FLASHOVER, 0) == CAPTURE_BYTES_A_DAY


def test_a_clock_set_back_over_midnight_gains_no_bytes() -> None:
    state, _ = chosen(seen(Trigger.OVER_RANGE, DAY_S + 60.0))
    spent = state["I1"].spent_bytes
    state, _ = chosen(seen(Trigger.OVER_RANGE, DAY_S - 60.0), state)
    assert state["I1"].spent_bytes == 2 * spent
    state, _ = chosen(seen(Trigger.OVER_RANGE, 2 * DAY_S + 60.0), state)
    assert state["I1"].spent_bytes == spent


def test_the_state_comes_back_from_json_as_it_was() -> None:
    state, _ = chosen(storm(5))
    plain: Mapping[str, object] = json.loads(json.dumps(choosing.as_plain(state)))
    assert choosing.from_plain(plain) == state
