"""Pictures of a replay: what is drawn, where it stands, and which half-cycles are marked."""

from __future__ import annotations

import struct
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from edge.quantities import STATES, State
from gateway.replay.feeds import opened_feed
from gateway.replay.pictures import gathering as gathering_module
from gateway.replay.pictures.gathering import WAVEFORMS_MAX, Gathering, Story
from gateway.replay.pictures.marking import marked
from gateway.replay.pictures.page import write_page
from gateway.replay.pictures.series import Series, thinned
from gateway.replay.pictures.timeline import SLOT_SHARE, timeline
from gateway.replay.player import played
from gateway.replay.run import plans_for
from tests.edge.daemon.builders import write_recording
from tests.gateway.replay.command import seafret_replay

ARCS_FROM_S = 5.0


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Arcs with crests of 140 mA about 50 degrees off every zero, from the fifth second on."""
    return write_recording(tmp_path_factory.mktemp("night"), 12.0, ARCS_FROM_S)


@pytest.fixture(scope="module")
def stories(night: Path) -> dict[str, Story]:
    return {one.insulator: one for one in gathered(night).stories()}


def gathered(feed_path: Path) -> Gathering:
    with opened_feed([feed_path]) as feed:
        plans, _ = plans_for(feed, None)
        found = Gathering(tuple(one.id for one in plans.measure.insulators))
        for outputs in played(plans, feed.items()):
            found.take(outputs)
    return found


def series(count: int, seconds: float = 0.2, gap_after: int = -1, gap_s: float = 0.0) -> Series:
    """Quiet windows on end, with one gap where it is asked for."""
    begin = np.arange(count) * round(seconds * 1e6)
    begin = begin + np.where(np.arange(count) > gap_after, round(gap_s * 1e6), 0)
    flat, zero = np.full(count, 0.1), np.zeros(count, np.int64)
    return Series(
        begin_us=begin.astype(np.int64) + 1_800_000_000_000_000,
        end_us=begin.astype(np.int64) + 1_800_000_000_000_000 + round(seconds * 1e6),
        state=np.full(count, STATES.index(State.DRY)),
        peak_ma=flat,
        rms_ma=flat,
        h3=flat,
        h5=flat,
        thd=flat,
        positive=zero,
        negative=zero,
        doubtful=zero,
        halfcycles=np.full(count, 20),
    )


def test_thinning_loses_no_peak_no_state_and_no_half_cycle() -> None:
    long = series(10_000)
    peak, state, positive = long.peak_ma.copy(), long.state.copy(), long.positive.copy()
    peak[4_321], state[7_777], positive[9_999] = 250.0, STATES.index(State.ARCING_SPARSE), 3
    long = replace(long, peak_ma=peak, state=state, positive=positive)
    short = thinned(long, 100)
    assert len(short) == 100
    assert short.peak_ma.max() == 250.0 and short.peak_ma.argmax() == 43
    assert STATES[short.state[77]] is State.ARCING_SPARSE
    assert short.positive.sum() == 3 and short.halfcycles.sum() == long.halfcycles.sum()
    assert (short.begin_us[0], short.end_us[-1]) == (long.begin_us[0], long.end_us[-1])


def test_a_long_gap_is_a_marked_slot_and_a_short_one_keeps_its_length() -> None:
    for gap_s, slots in ((3_600.0, 1), (0.1, 0)):
        found = timeline(series(100, gap_after=49, gap_s=gap_s))
        assert len(found.slots) == slots
        width = 20.0 + (SLOT_SHARE * 20.0 if slots else gap_s)
        assert found.width == pytest.approx(width)
        assert found.breaks.nonzero()[0].tolist() == [49, 99]


def test_ticks_are_round_times_that_do_not_crowd() -> None:
    places = timeline(series(18_000)).ticks
    assert [text for _, text in places][:2] == ["08:00", "08:10"]
    apart = np.diff([place for place, _ in places])
    assert (apart >= 0.1 * 3_600).all()
    assert all("." in text for _, text in timeline(series(8)).ticks)


def test_arcing_half_cycles_are_marked_where_they_burn_and_nowhere_else(
    stories: dict[str, Story],
) -> None:
    ((manifest, content),) = stories["old-post"].waveforms
    shown = marked(manifest, content)
    lengths = [end - begin for begin, end in shown.arcs_ms]
    assert lengths == pytest.approx([10.0] * len(lengths), abs=0.05)
    assert shown.arcs_ms[0][0] == pytest.approx(0.0, abs=0.3), "the trigger begins the first one"
    inside = np.zeros(len(shown.time_ms), np.bool_)
    for begin, end in shown.arcs_ms:
        inside |= (shown.time_ms >= begin) & (shown.time_ms <= end)
    burning = np.abs(shown.current_ma) > 20.0
    assert not (burning & ~inside & (shown.time_ms < 380.0)).any()
    assert (burning & inside).sum() > 500
    assert shown.voltage_kv is not None and shown.voltage_kv.max() == pytest.approx(18.0, rel=0.01)


def test_a_picture_shows_the_weightiest_waveforms_only(stories: dict[str, Story]) -> None:
    kept = {name: tuple(m.trigger for m, _ in one.waveforms) for name, one in stories.items()}
    assert kept == {"old-post": ("arcing-onset",), "new-rubber": ()}
    (one,) = stories["old-post"].waveforms
    found = Gathering(("x",))
    found.waveforms["x"] = {
        trigger: (replace(one[0], trigger=trigger), one[1])
        for trigger in (
            *("baseline", "arcing-onset", "highest-arcing-current"),
            *("over-range", "flashover-suspected"),
        )
    }
    triggers = [manifest.trigger for manifest, _ in found.telling("x")]
    assert len(triggers) == WAVEFORMS_MAX and "baseline" not in triggers
    assert "flashover-suspected" in triggers


def test_a_long_feed_is_drawn_from_its_minutes(
    night: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(gathering_module, "WINDOWS_MAX", 30)
    found = list(gathered(night).stories())
    assert [one.is_minutes for one in found] == [True, True]
    assert found[0].series.peak_ma.max() == pytest.approx(140.0, rel=0.02)


def size_of(path: Path) -> tuple[int, int]:
    content = path.read_bytes()
    assert content[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = struct.unpack(">II", content[16:24])
    return width, height


def test_the_command_draws_a_page_for_each_insulator(night: Path, tmp_path: Path) -> None:
    ran = seafret_replay(night, out=tmp_path, options=("--plot",))
    assert ran.code == 0
    pages = {path.stem: size_of(path) for path in (tmp_path / "pictures").iterdir()}
    assert set(pages) == {"old-post", "new-rubber"}
    assert pages["old-post"][0] == pages["new-rubber"][0] > 1_000
    assert pages["old-post"][1] > pages["new-rubber"][1], "a row of waveforms more"


def test_a_page_of_a_silent_insulator_with_a_strange_name_is_drawn(tmp_path: Path) -> None:
    nothing = replace(series(5), state=np.full(5, STATES.index(State.UNKNOWN)))
    bare = replace(nothing, **{name: np.full(5, np.nan) for name in ("rms_ma", "h3", "h5", "thd")})
    path = write_page(Story("a$b$ :c", bare, False, ()), {}, tmp_path)
    assert size_of(path)[0] > 1_000 and "$" not in path.name


def test_pictures_change_no_other_result(night: Path, tmp_path: Path) -> None:
    plain, drawn = tmp_path / "plain", tmp_path / "drawn"
    seafret_replay(night, out=plain)
    seafret_replay(night, out=drawn, options=("--plot",))
    for name in ("windows.csv", "intervals.csv", "events.jsonl"):
        assert (plain / name).read_bytes() == (drawn / name).read_bytes()
