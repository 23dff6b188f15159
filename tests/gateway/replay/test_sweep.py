"""A grid of limits on a labelled library, from the command to the folder it leaves."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path

import pytest

from edge.quantities import State
from edge.records import IntervalRow, Stream
from gateway.history.sqlite_store import SqliteHistory
from gateway.replay.sweep_document import SWEEP_RESULTS
from tests.gateway.build import MINUTE_US, commit, interval, key
from tests.gateway.commands.running import SITE, Ran, seafret
from tests.gateway.replay.told import label_line, labels_text

TOP = Path(__file__).resolve().parents[3]

GRID = f"""
[grid]
"arcing.arcing_halfcycles_per_min" = [6, 20]
"arcing.on_delay_s" = [60, 180]

[hold_out]
from = "2026-11-24T20:00:00Z"

[[site]]
name = "{SITE}"
data = "history"
labels = "labels.csv"
"""


def minute(at: int, rate: int = 0, peak_ua: int = 500) -> IntervalRow:
    arcs: dict[str, object] = {
        "arcing_halfcycles": rate, "arc_pulses": (rate, 0, 0, 0, 0), "peak_ua": peak_ua,
        "flags": (), "h3_ppm": 100_000, "h1_na": 400_000,
    }  # fmt: skip
    if rate:
        arcs |= {
            "first_arc_us": 1000,
            "last_arc_us": MINUTE_US - 1000,
            "state": State.ARCING_SPARSE,
        }
    return interval(at, "A1", **arcs)


def story() -> list[IntervalRow]:
    """A day: four events, each a weak start five minutes before it and strong arcs in it; two of
    large wet sinusoids that arc never; two bursts of weak arcs that are nothing."""
    rows = []
    for at in range(1440):
        within = at % 300
        rate, peak_ua = 0, 500
        if 100 <= within < 105:
            rate, peak_ua = 8, 9_000
        elif 105 <= within < 125:
            rate, peak_ua = 40, 20_000
        elif 250 <= within < 255 and at > 600:
            rate, peak_ua = 8, 9_000
        elif 10 <= within < 40:
            peak_ua = 25_000
        rows.append(minute(at, rate, peak_ua))
    return rows


LABELS = [label_line(105 + 300 * k, 125 + 300 * k) for k in range(4)]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The history, made once."""
    history = tmp_path_factory.mktemp("sweep") / "history"
    writer = SqliteHistory(history).writer(SITE)
    writer.append(commit(1, story(), key(stream=Stream.INTERVAL)))
    writer.close()
    return history


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    shutil.copytree(made, tmp_path / "history")
    (tmp_path / "labels.csv").write_text(labels_text(*LABELS))
    (tmp_path / "grid.toml").write_text(GRID)
    return tmp_path


def sweep(folder: Path, *options: str) -> Ran:
    return seafret("replay", "--sweep", folder / "grid.toml", "--out", folder / "out", *options)


def table(folder: Path) -> list[dict[str, str]]:
    with (folder / "out" / "sweep.csv").open(newline="", encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


def test_a_hand_made_day_gives_the_known_answer(folder: Path) -> None:
    ran = sweep(folder)
    assert (ran.code, ran.said) == (0, [])
    rows = {
        (row["settings"], row["part"]): row for row in table(folder) if row["detector"] == "alarms"
    }
    assert len(rows) == 2 * 5
    weak = rows["arcing.arcing_halfcycles_per_min=6 arcing.on_delay_s=180", "tuning"]
    assert rows["as in force", "tuning"] | {"settings": "", "chosen": ""} == weak | {
        "settings": "", "chosen": "",
    }  # fmt: skip
    assert (weak["events"], weak["missed"], weak["false_alarms"]) == ("4", "0", "2")
    assert float(weak["lead_median_s"]) == 120
    strong = rows["arcing.arcing_halfcycles_per_min=20 arcing.on_delay_s=60", "tuning"]
    assert (strong["missed"], strong["false_alarms"]) == ("0", "0")
    assert float(strong["lead_median_s"]) == -60
    held = rows["arcing.arcing_halfcycles_per_min=6 arcing.on_delay_s=180", "held-out"]
    assert (held["events"], held["false_alarms"]) == ("0", "1")


def test_plain_limits_stand_beside_ours_at_the_same_load(folder: Path) -> None:
    sweep(folder)
    told = json.loads((folder / "out" / "sweep.json").read_text())
    assert set(told["chosen"]) == {"alarms", "peak", "rms", "third-harmonic"}
    load = told["load_alarms_per_month"]
    best = [one for one in told["lines"] if one["chosen"] and one["part"] == "tuning"]
    assert all(one["alarms_per_month"] <= load * 1.000001 for one in best)
    missed = {one["detector"]: one["missed"] for one in best}
    assert missed["alarms"] == 0 and missed["third-harmonic"] == 4


def test_a_stated_load_is_kept_to(folder: Path) -> None:
    (folder / "grid.toml").write_text(GRID + "\n[load]\nalarms_per_month = 150\n")
    sweep(folder)
    (chosen,) = [
        row for row in table(folder)
        if row["detector"] == "alarms" and row["chosen"] == "1" and row["part"] == "tuning"
    ]  # fmt: skip
    assert "per_min=20" in chosen["settings"] and float(chosen["alarms_per_month"]) <= 150


def test_a_sweep_is_made_again_byte_for_byte_and_a_change_is_named(folder: Path) -> None:
    sweep(folder)
    ran = seafret("verify", folder / "out", "--inputs", folder)
    assert ran.code == 0 and ran.printed.startswith("identical: sweep.txt")
    path = folder / "labels.csv"
    path.write_text(labels_text(*LABELS[:3]))
    ran = seafret("verify", folder / "out", "--inputs", folder)
    assert ran.code == 10 and "labels" in ran.printed


def test_the_picture_is_drawn_where_it_is_asked_for(folder: Path) -> None:
    assert sweep(folder, "--plot").code == 0
    assert (folder / "out" / "sweep.png").read_bytes()[:4] == b"\x89PNG"


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"arcing.arcing_halfcycles_per_min" = [6, 20]\n"arcing.on_delay_s" = [60, 180]', "",
         "a sweep over nothing"),
        ("[60, 180]", "[]", "a list of whole numbers is needed"),
        ("[60, 180]", "[-1]", "whole numbers from 0"),
        ("arcing.on_delay_s", "arcing.colour", "arcing.on_delay_s"),
        ("arcing.on_delay_s", "noise.on_delay_s", "near-margin"),
        ('data = "history"\n', "", "give recordings or data"),
        (f'name = "{SITE}"', 'name = "elsewhere"', "has no history of it"),
        ("[hold_out]\n", '[hold_out]\ninsulators = ["B9"]\n', "unknown; there are A1"),
        ("[hold_out]", "[held]", "held is unknown"),
    ],
)  # fmt: skip
def test_a_bad_grid_is_told_in_words(folder: Path, old: str, new: str, words: str) -> None:
    assert old in GRID
    (folder / "grid.toml").write_text(GRID.replace(old, new))
    ran = sweep(folder)
    assert ran.code == 64 and words in " ".join(ran.said)
    assert not (folder / "out" / "run.json").exists()


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (label_line(110, 130), "overlap"),
        (label_line(900, 901, subject="Z9"), "subject 'Z9' is no insulator"),
    ],
)
def test_labels_that_cannot_be_meant_are_named(folder: Path, line: str, words: str) -> None:
    (folder / "labels.csv").write_text(labels_text(*LABELS, line))
    ran = sweep(folder)
    assert ran.code == 64 and words in " ".join(ran.said)


def test_one_broken_recording_among_others_is_named_counted_and_passed_over(
    tmp_path: Path,
) -> None:
    library = tmp_path / "library"
    library.mkdir()
    for suffix in ("cfg", "dat"):
        name = f"dry_band_arcing_50hz.{suffix}"
        shutil.copy(TOP / "replay_data" / name, library / name)
    (library / "broken.cfg").write_text("this is no recording\n")
    (library / "broken.dat").write_bytes(b"")
    (tmp_path / "labels.csv").write_text(labels_text())
    text = GRID.replace('data = "history"', 'recordings = "library"')
    (tmp_path / "grid.toml").write_text(text)
    ran = sweep(tmp_path)
    assert ran.code == 64
    assert "1 recordings passed over" in ran.printed and "broken.cfg" in ran.printed
    told = json.loads((tmp_path / "out" / "run.json").read_text())
    assert len(told["broken"]) == 1 and told["inputs"][0]["rows"] > 0


def by_trial(folder: Path, part: str) -> dict[tuple[str, str], dict[str, str]]:
    rows = [row for row in table(folder) if row["part"] == part]
    return {(row["detector"], row["settings"]): row for row in rows}


def test_a_site_that_is_held_out_never_tunes_and_is_judged_beside(folder: Path) -> None:
    """The second site has the same day with events where nothing arcs: tuning must not see it."""
    history = folder / "history"
    shutil.copyfile(history / f"{SITE}.sqlite3", history / "elsewhere.sqlite3")
    calm = [label_line(180 + 300 * k, 190 + 300 * k) for k in range(4)]
    (folder / "elsewhere.csv").write_text(labels_text(*calm))
    sweep(folder)
    alone = by_trial(folder, "tuning")
    second = '\n[[site]]\nname = "elsewhere"\ndata = "history"\nlabels = "elsewhere.csv"\n'
    (folder / "grid.toml").write_text(GRID + second + "held_out = true\n")
    assert sweep(folder).code == 0
    assert by_trial(folder, "tuning") == alone
    held = by_trial(folder, "held-out")["alarms", "as in force"]
    assert (held["events"], held["missed"]) == ("4", "4")
    assert json.loads((folder / "out" / "run.json").read_text())["held_out_sites"] == ["elsewhere"]
    (folder / "grid.toml").write_text(GRID + second)
    sweep(folder)
    assert by_trial(folder, "tuning") != alone


def test_a_sweep_that_was_stopped_goes_on_and_leaves_the_same_bytes(folder: Path) -> None:
    sweep(folder)
    whole = {name: (folder / "out" / name).read_bytes() for name in SWEEP_RESULTS}
    shutil.rmtree(folder / "out")
    second = '\n[[site]]\nname = "south"\nrecordings = "library"\nlabels = "labels.csv"\n'
    library = folder / "library"
    library.mkdir()
    for suffix in ("cfg", "dat"):
        name = f"dry_calm_50hz.{suffix}"
        shutil.copy(TOP / "replay_data" / name, library / name)
    (folder / "grid.toml").write_text(GRID + second)
    ran = sweep(folder)  # the labels name an insulator that the second site lacks
    assert ran.code == 64 and not (folder / "out" / "run.json").exists()
    kept = sorted((folder / "out" / "kept").iterdir())
    assert len(kept) == 3  # the recording, and both sites tried
    (folder / "grid.toml").write_text(GRID)
    assert sweep(folder).code == 0
    assert {name: (folder / "out" / name).read_bytes() for name in SWEEP_RESULTS} == whole
    assert not (folder / "out" / "kept").exists()


def test_kept_parts_of_a_sweep_are_taken_and_not_made_again(folder: Path, tmp_path: Path) -> None:
    """Proven by a kept part that was tampered with: it shows in the result."""
    (folder / "labels.csv").write_text("start,end\n")  # stops the sweep when it comes to score
    assert sweep(folder).code == 64
    (kept,) = (folder / "out" / "kept").iterdir()
    plain = json.loads(kept.read_text())
    plain["rows"] = 77
    kept.write_text(json.dumps(plain))
    (folder / "labels.csv").write_text(labels_text(*LABELS))
    assert sweep(folder).code == 0
    told = json.loads((folder / "out" / "run.json").read_text())
    assert told["inputs"][0]["rows"] == 77
