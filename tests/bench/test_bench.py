"""That the benchmark runs and compares like with like. How fast anything is, no test says."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from gateway.replay.run import Request, replay
from tests.bench import judging_year, living, loop, replaying, stages, wear, whole_loop
from tests.bench.__main__ import main
from tests.bench.agreement import Disagreement, compare
from tests.bench.recordings import Size, Surface, write
from tests.bench.report import table
from tests.bench.timing import Figure, Spread

SMALL = Size(4, currents=2)


@pytest.mark.parametrize("surface", list(Surface))
def test_the_whole_loop_finds_the_same_arcing_halfcycles(surface: Surface, tmp_path: Path) -> None:
    path = write(tmp_path, surface, SMALL, seed=7)
    replay(Request((path,)), tmp_path / "ours")
    rows = whole_loop.run(path, tmp_path / "loop")
    agreed = compare(tmp_path / "ours", tmp_path / "loop", halfcycles_alike_min=0.98)
    assert rows == agreed["windows"]


def test_the_whole_loop_follows_the_mains(tmp_path: Path) -> None:
    path = write(tmp_path, Surface.ARCING, replace(SMALL, seconds=30), seed=7)
    faster = path.read_text().replace("10000.0,", "10080.0,")
    path.write_text(faster)
    whole_loop.run(path, tmp_path / "loop")
    last = (tmp_path / "loop" / "windows.csv").read_text().splitlines()[-1]
    assert float(last.split(",")[4]) == pytest.approx(50.4, abs=0.01)


@pytest.mark.parametrize("surface", list(Surface))
def test_the_loop_and_the_replay_measure_the_same(surface: Surface, tmp_path: Path) -> None:
    path = write(tmp_path, surface, SMALL, seed=7)
    replay(Request((path,)), tmp_path / "ours")
    rows = loop.run(path, tmp_path / "loop")
    agreed = compare(tmp_path / "ours", tmp_path / "loop")
    assert rows == agreed["windows"] == 5 * SMALL.seconds * SMALL.currents


def test_a_loop_that_scales_wrongly_is_told_from_ours(tmp_path: Path) -> None:
    path = write(tmp_path, Surface.WET, SMALL, seed=7)
    replay(Request((path,)), tmp_path / "ours")
    lines = path.read_text().splitlines()
    lines[3] = lines[3].replace(",0.01,", ",0.01001,")
    path.write_text("\r\n".join(lines) + "\r\n")
    loop.run(path, tmp_path / "loop")
    with pytest.raises(Disagreement, match="I1"):
        compare(tmp_path / "ours", tmp_path / "loop")


def test_records_put_in_a_row_are_one_signal(tmp_path: Path) -> None:
    path = write(tmp_path, Surface.WET, SMALL, seed=7)
    feed = replaying.repeated(path, tmp_path / "feed", SMALL, records=3)
    found = replay(Request((feed,)), tmp_path / "ours")
    assert found.seconds_of_signal == 3 * SMALL.seconds
    assert "gap" not in (tmp_path / "ours" / "windows.csv").read_text()


def test_every_window_of_the_live_path_has_a_lag(tmp_path: Path) -> None:
    figures = living.cost(tmp_path, SMALL, rounds=1, pieces_s=(0.05,))
    by_name = {one.name.split(",")[0]: one.spread for one in figures}
    assert by_name["p99 last sample to result"].low > 0
    assert by_name["share of a core"].low > 0


def test_the_stages_of_a_replay_are_all_found_in_its_profile(tmp_path: Path) -> None:
    figures = stages.profile(tmp_path, Size(20, currents=1))
    shares = [one.spread.middle for one in figures if one.part == "stages"]
    assert sum(shares) == pytest.approx(100)
    assert min(shares) >= 0


def test_a_minute_of_routine_rows_costs_one_commit_and_the_process_writes(tmp_path: Path) -> None:
    figures = wear.wear_of(wear.Disk(tmp_path, ""), wear.WET, minutes=12)
    assert figures["commits"] == 12 and figures["rows"] == 12 * (wear.INSULATORS + 2)


def test_a_year_judged_again_agrees_with_a_loop_over_a_frame() -> None:
    figures = judging_year.judging(days=20, insulators=2, rounds=1)
    assert [one.spread.low > 0 for one in figures] == [True] * 4


def test_the_command_prints_what_a_script_can_read(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--seconds", "2", "--rounds", "2", "--only", "ingest", "decide", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert {one["part"] for one in said} == {"ingest", "decide"}
    assert all(0 < one["low"] <= one["middle"] <= one["high"] for one in said)


def test_the_table_keeps_to_eighty_columns() -> None:
    name = "p99 last sample to result, pieces of 1000 ms"
    figures = [Figure("live", name, "ms", Spread(1.0, 123_456.7, 2e6), "under 100")]
    text = table(figures)
    assert max(map(len, text.splitlines())) <= 80
    assert "123457" in text
