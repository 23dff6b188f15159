"""A history's rows through deciding alone, from the command to the folder it leaves."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from edge.decide.evaluation import step
from edge.decide.state import initial
from edge.records import HealthRow, IntervalRow, Stream, WeatherRow
from edge.wire import body_line
from gateway.history.sqlite_store import SqliteHistory
from gateway.replay import rows_run
from gateway.replay.progress import PROGRESS
from gateway.replay.results import read_run
from gateway.replay.rows import stored_rows
from gateway.replay.rows_run import RESULTS, RowsRequest, decide_rows
from gateway.replay.stored_columns import Week, stored_weeks
from gateway.replay.stored_units import wanted_rows
from tests.gateway.build import UNIT, commit, key
from tests.gateway.commands.running import SITE, seafret
from tests.gateway.replay.stories import told

SEED, MINUTES = 37, 400
STEP_US = 2 * 3_600_000_000


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A story in a history, as its unit would have sent it."""
    folder = tmp_path_factory.mktemp("rows") / "history"
    writer = SqliteHistory(folder).writer(SITE)
    kept = {body_line(row): row for row in told(SEED, MINUTES)}
    for stream, kind in (
        (Stream.INTERVAL, IntervalRow),
        (Stream.WEATHER, WeatherRow),
        (Stream.HEALTH, HealthRow),
    ):
        own = [row for row in kept.values() if isinstance(row, kind)]
        writer.append(commit(1, own, key(stream=stream)))
    writer.close()
    return folder


def short_weeks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Weeks of two hours, so that a story has several."""
    monkeypatch.setattr("gateway.replay.stored_columns.WEEK_US", STEP_US)


def replayed(data: Path, out: Path, *options: str) -> None:
    ran = seafret("replay", "--site", SITE, "--data", data, "--out", out, *options)
    assert ran.code == 0, ran.said


def bytes_of(folder: Path) -> dict[str, bytes]:
    return {name: (folder / name).read_bytes() for name in RESULTS}


def test_rows_by_columns_decide_as_whole_rows_one_by_one(
    data: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    short_weeks(monkeypatch)
    replayed(data, tmp_path / "out", "--rate", "10000")
    reader = SqliteHistory(data).reader(SITE)
    wanted = wanted_rows(reader, None, None, None)
    plan, _ = rows_run.plan_of(RowsRequest(SITE, wanted, None, 10_000.0))
    state, lines = initial(plan), []
    for row in stored_rows(reader, UNIT, wanted.insulators, wanted.from_us, wanted.to_us):
        state, said = step(state, row, plan)
        lines += [body_line(one) for one in said]
    reader.close()
    assert len(lines) > 20
    assert (tmp_path / "out" / "events.jsonl").read_bytes().splitlines() == lines


def test_a_run_that_was_stopped_goes_on_and_leaves_the_same_bytes(
    data: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    short_weeks(monkeypatch)
    replayed(data, tmp_path / "whole")
    reader = SqliteHistory(data).reader(SITE)
    request = RowsRequest(SITE, wanted_rows(reader, None, None, None))

    class Stopped(Exception):
        pass

    def two_weeks(*given: object) -> Iterator[Week]:
        for number, week in enumerate(stored_weeks(*given)):  # type: ignore[arg-type]
            if number == 2:
                raise Stopped
            yield week

    with monkeypatch.context() as patched:
        patched.setattr(rows_run, "stored_weeks", two_weeks)
        with pytest.raises(Stopped):
            decide_rows(reader, request, tmp_path / "cut")
    assert (tmp_path / "cut" / PROGRESS).is_file() and not (tmp_path / "cut/run.json").exists()
    with (tmp_path / "cut" / "events.jsonl.part").open("ab") as stream:
        stream.write(b"half a line")  # of the week that was not finished
    done = decide_rows(reader, request, tmp_path / "cut")
    reader.close()
    assert done.resumed
    assert bytes_of(tmp_path / "cut") == bytes_of(tmp_path / "whole")
    assert not (tmp_path / "cut" / PROGRESS).exists()


def test_a_progress_of_another_request_is_not_gone_on_with(data: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / PROGRESS).write_text(json.dumps({"identity": {"site": "elsewhere"}}))
    replayed(data, out)
    replayed(data, tmp_path / "fresh")
    assert bytes_of(out) == bytes_of(tmp_path / "fresh")


def test_packed_weeks_give_the_same_bytes_as_single_rows(data: Path, tmp_path: Path) -> None:
    replayed(data, tmp_path / "single")
    copy = tmp_path / "history"
    copy.mkdir()
    for path in data.iterdir():
        (copy / path.name).write_bytes(path.read_bytes())
    writer = SqliteHistory(copy).writer(SITE)
    assert writer.pack(1 << 61) > 0  # type: ignore[attr-defined]
    writer.close()
    replayed(copy, tmp_path / "packed")
    assert bytes_of(tmp_path / "packed") == bytes_of(tmp_path / "single")


def test_a_rows_result_can_be_compared_and_says_what_it_rests_on(
    data: Path, tmp_path: Path
) -> None:
    replayed(data, tmp_path / "a")
    run = read_run(tmp_path / "a")
    assert run.insulators == ("A1", "A2", "B-3") and all(run.watched.values())
    manifest = json.loads((tmp_path / "a" / "run.json").read_text())
    assert manifest["order"] == "event" and manifest["inputs"][0]["sha256"]
    assert seafret("compare", tmp_path / "a", tmp_path / "a").code == 0


def test_exported_envelopes_decide_as_the_history_that_they_came_from(
    data: Path, tmp_path: Path
) -> None:
    replayed(data, tmp_path / "rows")
    feed = tmp_path / "unit.jsonl"
    assert seafret("export", "--site", SITE, "--data", data, "--out", feed).code == 0
    assert seafret("replay", feed, "--out", tmp_path / "envelopes").code == 0
    rows, envelopes = (tmp_path / one / "events.jsonl" for one in ("rows", "envelopes"))
    assert rows.read_bytes() == envelopes.read_bytes()
    assert seafret("compare", tmp_path / "rows", tmp_path / "envelopes").code == 10  # inputs differ


def test_verify_makes_a_rows_result_again_and_names_what_was_changed(
    data: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    replayed(data, out)
    ran = seafret("verify", out, "--data", data)
    assert (ran.code, ran.printed) == (0, f"identical: {', '.join(RESULTS)}\n")
    lines = (out / "events.jsonl").read_bytes().splitlines(keepends=True)
    (out / "events.jsonl").write_bytes(b"".join(lines[:-1]))
    ran = seafret("verify", out, "--data", data)
    assert ran.code == 10 and f"events.jsonl, line {len(lines)}" in ran.printed
    assert seafret("verify", out).code == 64


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ([], "give FEEDs, or --site and --data"),
        (["--site", SITE], "give FEEDs, or --site and --data"),
        (["--site", SITE, "--data", "{data}", "--unit", "x.y"], "the history has units:"),
        (["--site", "nowhere", "--data", "{data}"], "has no history of it"),
    ],
)
def test_wrong_use_says_what_is_there(
    data: Path, tmp_path: Path, options: list[str], words: str
) -> None:
    given = [one.format(data=data) for one in options]
    ran = seafret("replay", "--out", tmp_path / "out", *given)
    assert ran.code == 64 and words in ran.said[0]


REACHED = """
import json, sys
connections = []
sys.addaudithook(lambda event, _: event.startswith("socket.") and connections.append(event))
from gateway.__main__ import main
code = main(sys.argv[1:])
print(json.dumps([code, sorted(sys.modules), connections]))
"""


def test_a_replay_loads_nothing_that_could_reach_a_control_room(data: Path, tmp_path: Path) -> None:
    """In a process of its own: what it has loaded at its end, and that it opened no socket."""
    words = ["replay", "--site", SITE, "--data", str(data), "--out", str(tmp_path / "out")]
    ran = subprocess.run(
        [sys.executable, "-c", REACHED, *words], capture_output=True, text=True, check=True
    )
    code, modules, connections = json.loads(ran.stdout.splitlines()[-1])
    assert code == 0 and not connections
    far = ("notices", "outstation", "watch", "outworks", "service", "ingest", "console", "limits")
    loaded = [one for one in modules if one.startswith(tuple(f"gateway.{name}" for name in far))]
    assert not loaded and "paho" not in modules
