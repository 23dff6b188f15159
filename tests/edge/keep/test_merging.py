"""Dry minutes put together: every sum is preserved, and nothing that matters is held back."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edge.keep.combining import combine
from edge.keep.merging import TICK_US, Merging, as_plain, flush, from_plain, step
from edge.quantities import BY_NAME, STATES, State
from edge.records import IntervalRow, Span
from tests.edge.keep.builders import MINUTE_US, minute_row

WET = tuple(MINUTE_US if state is State.WET else 0 for state in STATES)
SUMMED = (
    *("duration_us", "windows", "state_us", "halfcycles", "arcing_halfcycles", "arcing_positive"),
    *("arcing_negative", "doubtful_halfcycles", "spike_halfcycles", "clipped_halfcycles"),
    *("pulses", "arc_pulses", "charge_nc", "arcing_charge_nc", "i2t_pa2s", "arcing_i2t_pa2s"),
)


def run(rows: Sequence[IntervalRow], quiet: Sequence[bool] | None = None) -> list[IntervalRow]:
    state, out = Merging(), []
    for row, calm in zip(rows, quiet or [True] * len(rows), strict=True):
        state, ready = step(state, row, calm)
        state = from_plain(as_plain(state))
        out += ready
    return [*out, *flush(state)[1]]


def totals(rows: Sequence[IntervalRow]) -> dict[tuple[str, str], tuple[int, ...]]:
    """Every sum, by insulator and field."""
    found: dict[tuple[str, str], tuple[int, ...]] = {}
    for row in rows:
        for name in SUMMED:
            worth = getattr(row, name)
            parts = worth if isinstance(worth, tuple) else (worth,)
            before = found.get((row.insulator, name), (0,) * len(parts))
            found[row.insulator, name] = tuple(map(sum, zip(before, parts, strict=True)))
    return found


def test_ten_dry_minutes_become_one_row_at_the_end_of_their_tick() -> None:
    state = Merging()
    for n in range(9):
        state, out = step(state, minute_row(n), True)
        assert out == ()
    state, (row,) = step(state, minute_row(9), True)
    assert state == Merging()
    assert (row.span, row.duration_us, row.start_us) == (
        Span.MERGED,
        10 * MINUTE_US,
        minute_row(0).start_us,
    )
    assert totals([row]) == totals([minute_row(n) for n in range(10)])
    assert row.peak_ua == minute_row(9).peak_ua


def test_a_row_never_crosses_a_ten_minute_tick() -> None:
    out = run([minute_row(n) for n in range(4, 16)])
    assert [(row.start_us % TICK_US) // MINUTE_US for row in out] == [4, 0]
    assert [row.duration_us // MINUTE_US for row in out] == [6, 6]


def test_a_minute_alone_stays_a_minute() -> None:
    assert run([minute_row(0)]) == [minute_row(0)]


@pytest.mark.parametrize(
    "changes",
    [
        {"state": State.WET, "state_us": WET},
        {"state_us": (59_000_000, 1_000_000, 0, 0, 0, 0)},
        {"arcing_halfcycles": 1, "arcing_positive": 1},
        {"doubtful_halfcycles": 1},
        {"silent_from_us": 30_000_000},
        {"span": Span.TEN_SECONDS},
    ],
    ids=lambda changes: next(iter(changes)),
)
def test_a_row_that_is_not_plainly_dry_ends_the_run_and_passes_at_once(
    changes: dict[str, object],
) -> None:
    state = Merging()
    for n in range(3):
        state, _ = step(state, minute_row(n), True)
    odd = minute_row(3, **changes)
    state, out = step(state, odd, True)
    assert state == Merging()
    assert out == (combine([minute_row(n) for n in range(3)]), odd)


@pytest.mark.parametrize(
    "changes",
    [
        {"flags": ("gap", "no-reference")},
        {"calibration": "dry-2"},
        {"rms_na": None},
        {"start_us": minute_row(3).start_us + 5_000_000},
    ],
    ids=lambda changes: next(iter(changes)),
)
def test_a_change_about_the_rows_starts_a_new_run(changes: dict[str, object]) -> None:
    rows = [minute_row(n) for n in range(3)]
    changed = minute_row(3, **changes)
    out = run([*rows, changed])
    assert out == [combine(rows), changed]


def test_a_condition_or_a_delay_anywhere_lets_every_insulator_go() -> None:
    state = Merging()
    for n in range(2):
        state, _ = step(state, minute_row(n), True)
        state, _ = step(state, minute_row(n, insulator="P7-B"), True)
    state, out = step(state, minute_row(2), False)
    assert state == Merging()
    assert [(row.insulator, row.duration_us // MINUTE_US) for row in out] == [
        ("P7-A", 2),
        ("P7-B", 2),
        ("P7-A", 1),
    ]


def test_while_a_condition_is_in_every_minute_passes_as_it_is() -> None:
    rows = [minute_row(n) for n in range(20)]
    assert run(rows, [False] * 20) == rows


def test_insulators_are_merged_each_for_itself() -> None:
    rows = [minute_row(n, insulator=name) for n in range(10) for name in ("P7-A", "P7-B")]
    out = run(rows)
    assert [row.insulator for row in out] == ["P7-A", "P7-B"]
    assert totals(out) == totals(rows)


worth = st.integers(0, 10**12)


@st.composite
def minute_rows(draw: st.DrawFn) -> list[IntervalRow]:
    rows = []
    for n in range(draw(st.integers(1, 40))):
        if draw(st.integers(0, 9)) == 0:
            continue  # a minute that is missing
        changes: dict[str, object] = {
            "insulator": draw(st.sampled_from(["P7-A", "P7-B"])),
            "charge_nc": (draw(worth), draw(worth)),
            "i2t_pa2s": (draw(worth), draw(worth)),
            "windows": draw(st.integers(0, 300)),
            "peak_ua": draw(st.integers(0, 10**6)),
            "flags": draw(st.sampled_from([(), (), (), ("gap",)])),
        }
        if draw(st.integers(0, 6)) == 0:
            changes |= {"state": State.WET, "state_us": WET}
        if draw(st.integers(0, 8)) == 0:
            changes |= {"arcing_halfcycles": 7, "arcing_charge_nc": (draw(worth), draw(worth))}
        rows.append(minute_row(n, **changes))
    return rows


@settings(max_examples=80, deadline=None)
@given(minute_rows(), st.data())
def test_sums_are_the_same_along_every_path(rows: list[IntervalRow], data: st.DataObject) -> None:
    quiet = data.draw(st.lists(st.booleans(), min_size=len(rows), max_size=len(rows)))
    out = run(rows, quiet)
    assert totals(out) == totals(rows)
    for name in ("P7-A", "P7-B"):
        starts = [row.start_us for row in out if row.insulator == name]
        assert starts == sorted(starts)
    for row in out:
        if row.span is Span.MERGED:
            assert row.state is State.DRY
            end_us = row.start_us + row.duration_us
            assert (end_us - 1) // TICK_US == row.start_us // TICK_US


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(worth, worth, st.booleans()), min_size=2, max_size=12), st.data())
def test_combining_in_any_grouping_gives_the_same_sums_and_extremes(
    amounts: list[tuple[int, int, bool]], data: st.DataObject
) -> None:
    rows = [
        minute_row(n, charge_nc=(p, m), peak_ua=p % 999_983, energy_uj=(p - m, m) if said else None)
        for n, (p, m, said) in enumerate(amounts)
    ]
    cut = data.draw(st.integers(1, len(rows) - 1))
    whole = combine(rows)
    grouped = combine([combine(rows[:cut]), combine(rows[cut:])])
    same = ("energy_uj", "peak_ua", "live_us", "flags", "state", "start_us", "start_counter")
    assert totals([whole]) == totals([grouped]) == totals(rows)
    for name in same:
        assert getattr(whole, name) == getattr(grouped, name)
    assert (whole.energy_uj is None) == any(row.energy_uj is None for row in rows)


def test_what_cannot_be_summed_follows_the_stated_rules() -> None:
    rows = [
        minute_row(0, rms_na=300, h1_na=300, mean_na=-10, h3_ppm=100_000, h3_cdeg=17_000),
        minute_row(1, rms_na=400, h1_na=400, mean_na=5, h3_ppm=50_000, h3_cdeg=-3_000),
    ]
    row = combine(rows)
    assert row.rms_na == round(math.sqrt((300**2 + 400**2) / 2))
    assert row.mean_na == -2  # -2.5, halves upwards
    assert row.h3_ppm == round(math.sqrt((30_000_000**2 + 20_000_000**2) / (300**2 + 400**2)))
    assert row.h3_cdeg == 17_000
    short = dataclasses.replace(rows[1], duration_us=MINUTE_US // 3)
    assert combine([rows[0], short]).rms_na == round(math.sqrt((3 * 300**2 + 400**2) / 4))


def test_offsets_of_arcs_and_silence_count_from_the_combined_start() -> None:
    rows = [
        minute_row(0, live_us=MINUTE_US),
        minute_row(1, arcing_halfcycles=4, first_arc_us=1000, last_arc_us=50_000),
        minute_row(2, live_us=20_000_000, silent_from_us=20_000_000),
        minute_row(3, live_us=0, silent_from_us=0),
    ]
    row = combine(rows)
    assert (row.first_arc_us, row.last_arc_us) == (MINUTE_US + 1000, MINUTE_US + 50_000)
    assert row.live_us == row.silent_from_us == 2 * MINUTE_US + 20_000_000
    assert combine([*rows[:3], minute_row(3)]).silent_from_us is None


@pytest.mark.parametrize(
    ("positive", "state"), [(1499, State.ARCING_SPARSE), (1500, State.ARCING_DENSE)]
)
def test_a_combined_row_is_judged_dense_from_half_of_one_polarity(
    positive: int, state: State
) -> None:
    row = minute_row(0, arcing_halfcycles=positive, arcing_positive=positive)
    assert combine([row, minute_row(1, halfcycles=0)]).state is state


def test_every_additive_quantity_of_a_row_is_summed() -> None:
    fields = {field.name for field in dataclasses.fields(IntervalRow)}
    additive = {name for name in fields if name in BY_NAME and BY_NAME[name].additive}
    assert additive <= {*SUMMED, "energy_uj", "arcing_energy_uj"}
