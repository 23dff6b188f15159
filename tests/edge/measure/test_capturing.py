"""Waveforms worth keeping: what triggers them, what they hold, and that cuts do not matter."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from edge.measure import stepping
from edge.measure.plan import plan_from_description
from edge.measure.raw_rows import CapturedWaveform, Trigger
from edge.measure.stepping import MeasureState
from edge.samples import SampleBlock, SignalDescription, SourceItem, StreamEnd
from tests.edge.measure.builders import (
    Floats,
    anchor,
    angle,
    blocks,
    columns,
    dead_band,
    describe,
)

RATE_HZ = 4_800.0
CODE_MA, CODE_KV = 0.01, 0.001
TICK_START = "2026-03-07T21:10:00"


def described(raw_max: float | None = None) -> SignalDescription:
    """One current in hundredths of a milliampere, one voltage in volts."""
    current, voltage = describe(RATE_HZ).channels
    low = None if raw_max is None else -raw_max
    current = replace(current, gain=CODE_MA, raw_min=low, raw_max=raw_max)
    return replace(describe(RATE_HZ), channels=(current, replace(voltage, gain=CODE_KV)))


def codes(current_ma: Floats, theta: Floats) -> np.ndarray:
    """Raw rows with a little noise on the current."""
    noise = np.random.default_rng(5).normal(0.0, 0.02, len(theta))
    raw = columns((current_ma + noise) / CODE_MA, 17.0 * np.sin(theta) / CODE_KV)
    return np.rint(raw).astype(np.int16)


def arcing_at(theta: Floats, *spans: tuple[float, float, float]) -> Floats:
    """A film with arcs of a crest [mA] between seconds (from, to, crest)."""
    t = np.arange(len(theta)) / RATE_HZ
    current = 0.15 * np.cos(theta) + 0.05 * np.sin(theta)
    for begin, end, crest in spans:
        current = current + crest * dead_band(48)(theta) * ((t >= begin) & (t < end))
    return current


def captured(items: list[SourceItem], description: SignalDescription) -> list[CapturedWaveform]:
    """All candidates in order."""
    state: MeasureState = stepping.initial(plan_from_description(description), description)
    found: list[CapturedWaveform] = []
    for item in items:
        state, some = stepping.step(state, item)
        found += some.captured
    return found


def candidates(
    raw: np.ndarray, size: int = 1 << 16, raw_max: float | None = None
) -> list[CapturedWaveform]:
    """Of an uninterrupted signal from a ten-minute tick on."""
    items = [anchor(TICK_START), *blocks(raw, size), StreamEnd(len(raw), "end")]
    return captured(items, described(raw_max))


def of(trigger: Trigger, found: list[CapturedWaveform]) -> CapturedWaveform:
    """The only one of its trigger."""
    (one,) = [each for each in found if each.trigger is trigger]
    return one


def seconds(one: CapturedWaveform) -> tuple[float, float, float]:
    """Begin, trigger and end from the start of the signal."""
    end = one.counter + len(one.samples)
    return one.counter / RATE_HZ, one.trigger_counter / RATE_HZ, end / RATE_HZ


def storm(duration_s: float = 9.0) -> np.ndarray:
    """Arcs from 3.1 s on, stronger ones from 5 s on, gone for good at 7.013 s."""
    theta = angle(RATE_HZ, 50.0, duration_s)
    t = np.arange(len(theta)) / RATE_HZ
    current = arcing_at(theta, (3.1, 4.3, 20.0), (5.0, 5.4, 90.0), (6.5, 7.013, 60.0))
    return codes(np.where(t < 7.013, current, 0.0), theta)


def test_rows_are_the_very_codes_that_the_source_delivered() -> None:
    raw = storm()
    found = candidates(raw)
    assert {one.trigger for one in found} == {Trigger.ONSET, Trigger.HIGHEST, Trigger.FLASHOVER}
    for one in found:
        assert one.samples.dtype == np.int16
        assert np.array_equal(one.samples, raw[one.counter : one.counter + len(one.samples)])


def test_an_onset_holds_a_window_before_and_after_that_of_the_first_arc() -> None:
    begin_s, trigger_s, end_s = seconds(of(Trigger.ONSET, candidates(storm())))
    assert trigger_s == pytest.approx(3.1, abs=1 / RATE_HZ)
    assert 0.2 <= trigger_s - begin_s <= 0.41 and 0.2 <= end_s - trigger_s <= 0.41
    assert end_s - begin_s == pytest.approx(0.6, abs=0.02)


def test_the_highest_of_a_segment_is_triggered_at_its_crest() -> None:
    raw = storm()
    one = of(Trigger.HIGHEST, candidates(raw))
    assert abs(int(raw[one.trigger_counter, 0])) == np.abs(raw[:, 0].astype(int)).max()
    assert one.peak_ua == round(abs(int(raw[one.trigger_counter, 0])) * CODE_MA * 1e3)


def test_a_flashover_holds_the_last_arc_and_the_silence_after_it() -> None:
    one = of(Trigger.FLASHOVER, candidates(storm()))
    begin_s, trigger_s, end_s = seconds(one)
    assert begin_s < 6.8 < trigger_s < 7.02 < end_s < 7.9
    silent = one.samples[round((7.05 - begin_s) * RATE_HZ) :, 0]
    assert np.abs(silent).max() < 20


def test_current_that_dies_three_seconds_after_the_arcs_is_no_flashover() -> None:
    theta = angle(RATE_HZ, 50.0, 9.0)
    t = np.arange(len(theta)) / RATE_HZ
    current = np.where(t < 6.5, arcing_at(theta, (2.0, 3.3, 20.0)), 0.0)
    assert Trigger.FLASHOVER not in {one.trigger for one in candidates(codes(current, theta))}


def test_a_short_pause_without_current_is_no_flashover() -> None:
    theta = angle(RATE_HZ, 50.0, 9.0)
    t = np.arange(len(theta)) / RATE_HZ
    current = arcing_at(theta, (2.0, 3.3, 20.0))
    current = np.where((t > 3.3) & (t < 4.0), 0.0, current)
    assert Trigger.FLASHOVER not in {one.trigger for one in candidates(codes(current, theta))}


def test_over_range_is_triggered_by_the_converters_end() -> None:
    raw = storm()
    raw[:, 0] = np.clip(raw[:, 0], -5_000, 5_000)
    one = of(Trigger.OVER_RANGE, candidates(raw, raw_max=5_000.0))
    assert abs(int(raw[one.trigger_counter, 0])) == 5_000
    assert 5.0 <= seconds(one)[1] < 5.2
    assert Trigger.OVER_RANGE not in {each.trigger for each in candidates(raw, raw_max=5_001.0)}


def test_the_first_window_of_the_first_dry_minute_is_a_baseline() -> None:
    theta = angle(RATE_HZ, 50.0, 185.0)
    raw = codes(arcing_at(theta, (20.0, 20.5, 20.0)), theta)
    begin_s, _, end_s = seconds(of(Trigger.BASELINE, candidates(raw)))
    assert 59.9 < begin_s < 60.2 and end_s - begin_s == pytest.approx(0.207, abs=0.02)


def test_no_baseline_comes_from_a_minute_that_is_not_whole() -> None:
    theta = angle(RATE_HZ, 50.0, 58.0)
    assert candidates(codes(arcing_at(theta), theta)) == []


def bodies(found: list[CapturedWaveform]) -> list[tuple[object, ...]]:
    return [
        (
            *(one.trigger, one.counter, one.trigger_counter, one.row_counter, one.flags),
            *(one.peak_ua, one.samples.tobytes()),
        )
        for one in found
    ]


@pytest.mark.parametrize("size", [97, 960, 4_801])
def test_candidates_do_not_depend_on_how_the_signal_is_cut(size: int) -> None:
    raw = storm()
    assert bodies(candidates(raw, size)) == bodies(candidates(raw))


def test_candidates_across_a_tick_and_a_gap_do_not_depend_on_cuts() -> None:
    raw = storm(12.0)
    begin = anchor("2026-03-07T21:09:54.300")

    def items(size: int) -> list[SourceItem]:
        cut = round(9.1 * RATE_HZ)
        later = [replace(one, counter=one.counter + 2_000) for one in blocks(raw[cut:], size, cut)]
        return [begin, *blocks(raw[:cut], size), *later, StreamEnd(len(raw) + 2_000, "end")]

    whole, pieces = captured(items(1 << 16), described()), captured(items(331), described())
    assert len(whole) >= 4 and bodies(whole) == bodies(pieces)


def test_raw_rows_are_held_for_seconds_only_however_long_it_arcs() -> None:
    theta = angle(RATE_HZ, 50.0, 20.0)
    raw = codes(arcing_at(theta, (1.0, 19.0, 20.0)), theta)
    description = described()
    state = stepping.initial(plan_from_description(description), description)
    longest = 0
    for item in [anchor(TICK_START), *blocks(raw, 480)]:
        state, _ = stepping.step(state, item)
        if state.capturing is not None and isinstance(item, SampleBlock):
            pieces = state.capturing.rows.pieces
            longest = max(longest, pieces[-1].counter_end - pieces[0].counter)
    assert longest < 2.0 * RATE_HZ
