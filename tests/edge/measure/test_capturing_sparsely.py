"""Looking at the windows that can matter finds what looking at every window finds."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from edge.measure import capturing
from edge.measure.capturing import Capturing
from edge.measure.plan import plan_from_description
from edge.measure.triggers import DRY, Found
from edge.measure.windows import ABSENT, WindowTable
from edge.quantities import STATES, State
from edge.samples import SampleBlock
from tests.edge.measure.builders import anchor, angle, columns, describe, measured, sine

RATE_HZ = 4_800.0
DESCRIPTION = describe(RATE_HZ)
PLAN = plan_from_description(DESCRIPTION)
WINDOWS = 700
SAMPLES = WINDOWS * 960
WET = STATES.index(State.WET)
CUTS = (130, 131, 200, 460)


@lru_cache(maxsize=1)
def plain() -> WindowTable:
    """Some minutes of wet windows without arcs."""
    theta = angle(RATE_HZ, 50, 2.0)
    one = measured(columns(3 * sine(theta), 17 * sine(theta)), DESCRIPTION).table.rows(1, 2)
    at = np.arange(WINDOWS)
    few = {name: np.repeat(getattr(one, name), WINDOWS, axis=0) for name in one.__slots__}
    few |= {"start": at * 960, "start_us": at * 200_000 + int(one.start_us[0])}
    return WindowTable(**few)


def eventful(seed: int) -> WindowTable:
    """Dry spells, arcs in bursts, silences, clipping, in any order."""
    chance = np.random.default_rng(seed)
    table = plain()
    state = np.full(WINDOWS, WET)
    live, clipped = np.ones(WINDOWS, np.int64), np.zeros(WINDOWS, np.int64)
    arcs = np.zeros((WINDOWS, 2), np.int64)
    for _ in range(int(chance.integers(1, 7))):
        begin, span = int(chance.integers(WINDOWS)), int(chance.integers(1, 30))
        which = chance.choice(["dry", "arcs", "silent", "clipped", "gone"])
        if which == "dry":
            state[begin : begin + 20 * span] = DRY
        elif which == "arcs":
            arcs[begin : begin + span, 0] = chance.integers(0, 3, len(arcs[begin : begin + span]))
        elif which == "silent":
            live[begin : begin + span] = 0
        elif which == "gone":  # right after arcs, in the next table
            begin = int(chance.choice(CUTS))
            arcs[begin - span % 7 - 1 : begin - span % 4, 1] = 1
            live[begin : begin + 4 + span] = 0
        else:
            clipped[begin : begin + span] = 1
    arcing = arcs.any(axis=1)
    peaks = np.where(arcing, chance.integers(5_000, 90_000, WINDOWS), 0)
    return replace(
        table,
        state=np.where(arcing, STATES.index(State.ARCING_SPARSE), state),
        live=live | arcing,
        clipped_halfcycles=clipped,
        arcing=arcs,
        arcing_peak_ua=peaks,
        peak_ua=np.maximum(peaks, 3_000),
        first_arc_us=np.where(arcing, 20_000, ABSENT),
        last_arc_us=np.where(arcing, 90_000, ABSENT),
    )


def found_in(table: WindowTable) -> list[tuple[object, ...]]:
    samples = np.arange(2 * SAMPLES, dtype=np.int16).reshape(-1, 2)
    state: Capturing = capturing.begun(PLAN, 0, anchor())
    found: list[Found] = []
    for first, stop in zip([0, *CUTS], [*CUTS, WINDOWS], strict=True):
        state = capturing.fed(state, SampleBlock(first * 960, samples[first * 960 : stop * 960]))
        part = table.rows(first, stop)
        state, some = capturing.step(PLAN, DESCRIPTION, state, [part], stop == WINDOWS)
        found += some
    return [
        (
            *(one.due_us, one.captured.trigger, one.captured.counter, len(one.captured.samples)),
            *(one.captured.trigger_counter, one.captured.peak_ua, one.captured.flags),
        )
        for one in found
    ]


@pytest.mark.parametrize("seed", range(40))
def test_the_windows_that_can_matter_are_enough(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    table = eventful(seed)
    sparsely = found_in(table)
    monkeypatch.setattr(capturing, "_telling", lambda _, part: list(range(len(part))))
    assert sparsely == found_in(table)
