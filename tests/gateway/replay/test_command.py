"""`seafret replay` end to end: what it writes, in which columns, and how it ends."""

from __future__ import annotations

import hashlib
import json
import re
from pathlib import Path

import numpy as np
import pytest

from edge.recording.model import FileType, Revision
from edge.samples import Channel, ChannelKind, SignalDescription
from edge.wire import body_line, read_record
from tests.edge.test_settings import SOUND
from tests.gateway.replay.command import Ran, seafret_replay, seafret_replay_apart
from tests.properties.recordings import (
    RATE_HZ,
    coast,
    description,
    encoded,
    write,
    write_coast,
    write_codes,
)

WINDOW_COLUMNS = (
    "insulator,start,seconds,state,frequency_hz,halfcycles,arcing_halfcycles,arcing_positive,"
    "arcing_negative,doubtful_halfcycles,spike_halfcycles,peak_ma,rms_ma,mean_ma,h1_ma,h2_ratio,"
    "h3_ratio,h3_deg,h5_ratio,h5_h3,thd,in_phase_ma,quadrature_ma,charge_c,arcing_charge_c,"
    "pulses_5ma,pulses_20ma,pulses_50ma,pulses_100ma,pulses_200ma,arc_pulses_5ma,arc_pulses_20ma,"
    "arc_pulses_50ma,arc_pulses_100ma,arc_pulses_200ma,flags"
)
STATES = {"dry", "wet", "arcing-sparse", "arcing-dense", "de-energised", "unknown"}


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> Ran:
    folder = tmp_path_factory.mktemp("command")
    return seafret_replay_apart(write_coast(folder / "coast"), out=folder / "out")


def test_a_sound_feed_ends_well_and_says_what_was_done_on_standard_error(ran: Ran) -> None:
    assert ran.code == 0
    assert ran.printed == ""
    assert ran.files == {"windows.csv", "intervals.csv", "events.jsonl", "run.json"}
    assert "2 insulators, 7.4 s of signal" in ran.said[-1]


def test_columns_of_the_windows_are_the_agreed_ones_in_their_order(ran: Ran) -> None:
    assert ran.header("windows.csv") == WINDOW_COLUMNS


def test_columns_of_the_intervals_hold_those_of_the_windows_and_the_minutes_own(ran: Ran) -> None:
    columns = ran.header("intervals.csv").split(",")
    own = WINDOW_COLUMNS.split(",")
    assert columns[: len(own) - 1] == own[:-1]
    assert columns[-1] == "flags"
    for state in STATES:
        assert f"seconds_{state.replace('-', '_')}" in columns
    for sum_ in ("charge_{}_c", "i2t_{}_a2s", "energy_{}_j"):
        for side in ("positive", "negative"):
            assert sum_.format(side) in columns
            assert f"arcing_{sum_}".format(side) in columns


def test_cells_are_decimals_utc_times_known_states_and_words(ran: Ran) -> None:
    for row in ran.table("windows.csv"):
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z", row["start"])
        assert row["state"] in STATES
        assert re.fullmatch(r"([a-z-]+(\|[a-z-]+)*)?", row["flags"])
        for name, cell in row.items():
            if name not in ("insulator", "start", "state", "flags"):
                assert re.fullmatch(r"-?\d+(\.\d+)?|", cell), (name, cell)


def test_windows_of_the_coast_have_sensible_states(ran: Ran) -> None:
    rows = ran.table("windows.csv")
    wet = [row["state"] for row in rows if row["insulator"] == "I1"]
    dry = {row["state"] for row in rows if row["insulator"] == "I2"}
    assert {"wet", "arcing-dense"} <= set(wet)
    assert dry == {"dry"}


def test_fifth_to_third_of_a_minute_is_that_of_its_ratios(ran: Ran) -> None:
    for row in ran.table("intervals.csv"):
        if row["h5_h3"]:
            told = float(row["h5_ratio"]) / float(row["h3_ratio"])
            assert float(row["h5_h3"]) == pytest.approx(told, rel=1e-2)
    assert any(row["h5_h3"] for row in ran.table("intervals.csv"))


def test_events_are_canonical_record_bodies_one_a_line(ran: Ran) -> None:
    lines = (ran.out / "events.jsonl").read_bytes().splitlines()
    assert lines
    for line in lines:
        record = read_record(line)
        assert body_line(record) == line
        assert record.kind in ("condition", "capture")
        told = json.loads(line)
        assert told.get("subject", told.get("insulator")) in ("I1", "")


def test_the_manifest_names_inputs_by_their_hashes_and_counts_what_was_written(ran: Ran) -> None:
    manifest = ran.manifest
    for one in manifest["inputs"]:
        content = (ran.out.parent / "coast" / one["name"]).read_bytes()
        assert hashlib.sha256(content).hexdigest() == one["sha256"]
    assert [one["name"] for one in manifest["inputs"]][:2] == ["first.cfg", "first.dat"]
    assert manifest["counts"] == {
        "windows": len(ran.table("windows.csv")),
        "intervals": len(ran.table("intervals.csv")),
        "events": len((ran.out / "events.jsonl").read_text().splitlines()),
        "captures": (ran.out / "events.jsonl").read_text().count('"kind":"capture"'),
    }
    assert manifest["seconds_of_signal"] == pytest.approx(7.4, abs=1e-3)
    assert re.fullmatch(r"[0-9a-f]{16}", manifest["settings_sha"])
    assert manifest["software"].startswith("seafret ")


def test_the_same_command_within_another_process_leaves_the_same_bytes(
    ran: Ran, tmp_path: Path
) -> None:
    again = seafret_replay(ran.out.parent / "coast", out=tmp_path)
    assert again.files == ran.files
    for name in ran.files:
        assert (again.out / name).read_bytes() == (ran.out / name).read_bytes()


def test_a_second_run_into_the_same_folder_leaves_the_same_bytes(tmp_path: Path) -> None:
    path = write(tmp_path / "one.cfg", coast(1.5), description())
    seafret_replay(path, out=tmp_path / "out")
    before = {name: (tmp_path / "out" / name).read_bytes() for name in ("windows.csv", "run.json")}
    again = seafret_replay(path, out=tmp_path / "out")
    assert again.code == 0
    assert before == {name: (again.out / name).read_bytes() for name in before}


def test_settings_name_the_insulators_and_their_hash_is_in_the_manifest(tmp_path: Path) -> None:
    signal = SignalDescription(
        RATE_HZ,
        50,
        (
            Channel("I1-fine", ChannelKind.CURRENT, "A"),
            Channel("I1", ChannelKind.CURRENT, "A"),
            Channel("U1", ChannelKind.VOLTAGE, "A"),
        ),
    )
    path = write(tmp_path / "one.cfg", coast(1.5), signal)
    settings = tmp_path / "mast.toml"
    settings.write_text(SOUND, encoding="utf-8")
    ran = seafret_replay(path, out=tmp_path / "out", options=("--settings", str(settings)))
    assert ran.code == 0
    assert {row["insulator"] for row in ran.table("windows.csv")} == {"M3-A"}
    assert {row["calibration"] for row in ran.table("intervals.csv")} == {"bench-2026"}
    assert ran.manifest["voltage_reference"] == "U1"


def test_without_a_voltage_phase_and_energy_are_empty_and_the_flags_say_why(tmp_path: Path) -> None:
    signal = SignalDescription(RATE_HZ, 50, (Channel("I1", ChannelKind.CURRENT, "A"),))
    ran = seafret_replay(write(tmp_path / "i.cfg", coast(1.5)[:, :1], signal), out=tmp_path / "o")
    assert ran.code == 0
    for row in ran.table("windows.csv"):
        assert (row["in_phase_ma"], row["quadrature_ma"]) == ("", "")
        assert "no-reference" in row["flags"].split("|")
    (minute,) = ran.table("intervals.csv")
    assert minute["energy_positive_j"] == ""
    assert float(minute["h1_ma"]) > 0.1


@pytest.mark.parametrize(
    ("zone", "start"),
    [
        ((), "2026-03-07T21:19:57.000000Z"),
        (("--time-zone", "UTC"), "2026-03-07T21:19:57.000000Z"),
        (("--time-zone", "+02:00"), "2026-03-07T19:19:57.000000Z"),
        (("--time-zone", "America/St_Johns"), "2026-03-08T00:49:57.000000Z"),
    ],
    ids=["unsaid", "UTC", "an offset", "a name"],
)
def test_a_record_before_2013_is_utc_unless_the_caller_knows(
    tmp_path: Path, zone: tuple[str, ...], start: str
) -> None:
    codes, signal = encoded(coast(1.2), description())
    path = write_codes(tmp_path / "old.cfg", codes, signal, revision=Revision.R1999)
    ran = seafret_replay(path, out=tmp_path / "out", options=zone)
    rows = ran.table("windows.csv")
    assert rows[0]["start"] == start
    assert ("time-zone-assumed" in rows[0]["flags"]) == (not zone)


def test_a_float_record_with_numbers_that_are_none_flags_those_windows_alone(
    tmp_path: Path,
) -> None:
    samples = coast(3.0)
    samples[7_000:7_010, 1] = np.nan
    samples[9_000, 1] = np.inf
    codes, signal = encoded(samples, description(), FileType.FLOAT32)
    path = write_codes(tmp_path / "f.cfg", codes, signal, file_type=FileType.FLOAT32)
    ran = seafret_replay(path, out=tmp_path / "out")
    assert ran.code == 0
    rows = [row for row in ran.table("windows.csv") if row["insulator"] == "I2"]
    lost = [row for row in rows if "missing" in row["flags"] or "not-finite" in row["flags"]]
    assert len(lost) == 2
    assert {row["state"] for row in lost} == {"unknown"}
    assert {row["state"] for row in rows if row not in lost} == {"dry"}
