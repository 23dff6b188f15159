"""Columns for notebooks: pandas takes them as they are, and the worked example runs."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from edge.records import Stream
from gateway.history.frames import interval_frame, weather_frame
from gateway.history.sqlite_store import SqliteHistory
from gateway.replay.examples.question_to_limit import main
from gateway.replay.frames import events_frame, table_frame
from tests.gateway.build import MINUTE_US, START_US, commit, interval, key, weather
from tests.gateway.commands.running import SITE
from tests.gateway.replay.test_sweep import GRID, LABELS, story
from tests.gateway.replay.told import labels_text, occurrence, result


def test_interval_rows_come_in_units_with_utc_times_and_quality(tmp_path: Path) -> None:
    writer = SqliteHistory(tmp_path).writer(SITE)
    rows = [interval(0, flags=("gap", "late")), interval(1, rms_na=None, flags=())]
    writer.append(commit(1, rows, key(stream=Stream.INTERVAL)))
    writer.append(commit(1, [weather(0)], key(stream=Stream.WEATHER)))
    writer.close()
    reader = SqliteHistory(tmp_path).reader(SITE)
    frame = pd.DataFrame(interval_frame(reader, "A1", 0, 1 << 60))
    sky = pd.DataFrame(weather_frame(reader, 0, 1 << 60))
    nothing = interval_frame(reader, "A1", 0, 1)
    reader.close()
    assert str(frame["start"].dtype) == "datetime64[us]"
    assert frame["start"].astype("int64").tolist() == [START_US, START_US + MINUTE_US]
    assert frame["peak_ma"].tolist() == [12.345, 12.346] and np.isnan(frame["rms_ma"][1])
    assert frame["state"].tolist() == ["wet", "wet"]
    assert frame["flags"].tolist() == ["gap|late", ""]
    assert sky["rh_pct"].tolist() == [91.5] and sky["air_c"].tolist() == [-3.1]
    assert all(column.size == 0 for column in nothing.values())


def test_what_a_replay_left_comes_as_columns(tmp_path: Path) -> None:
    folder = result(tmp_path / "run", [occurrence(10, 20)], minutes=30)
    frame = pd.DataFrame(table_frame(folder / "intervals.csv"))
    assert len(frame) == 60 and frame["seconds"].tolist() == [60.0] * 60
    assert frame["insulator"].unique().tolist() == ["A1", "A2"]
    events = pd.DataFrame(events_frame(folder))
    assert events["condition"].tolist() == ["in", "out"]
    assert (events["at"].astype("int64") - START_US).tolist() == [10 * MINUTE_US, 20 * MINUTE_US]


def test_the_worked_example_runs_from_the_question_to_a_limit(tmp_path: Path) -> None:
    writer = SqliteHistory(tmp_path / "history").writer(SITE)
    writer.append(commit(1, story(), key(stream=Stream.INTERVAL)))
    writer.close()
    labels, grid = tmp_path / "labels.csv", tmp_path / "grid.toml"
    labels.write_text(labels_text(*LABELS))
    grid.write_text(GRID)
    said = main(tmp_path / "history", SITE, labels, grid, tmp_path / "out")
    assert said[0] == "A1: 1440 rows, 135 with arcs"
    assert said[2] == "events told: 4 of 4; false alarms: 3"
    assert said[3] == "proposed: arcing.arcing_halfcycles_per_min=6 arcing.on_delay_s=60"
    assert said[4:] == ["  tuning: 0 of 4 missed, 2 false alarms",
                        "  held-out: 0 of 0 missed, 1 false alarms"]  # fmt: skip
