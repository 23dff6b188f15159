"""What each step finds: a unit at fault in one way only, and the fault is found and named."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from edge.clock import Clock
from edge.commissioning.asking import Place
from edge.commissioning.bench import Bench
from edge.commissioning.conducting import Asked, conduct
from edge.commissioning.guiding import Guide
from edge.commissioning.journal import Begun, Journal, load, save, with_begun
from edge.commissioning.outcome import Verdict
from edge.commissioning.standing import WITNESS_FILE, subject_sha
from edge.commissioning.unit_steps import told_alarm
from edge.settings import parse_settings
from tests.broker import Broker, free_port
from tests.edge.commissioning import rig
from tests.edge.commissioning.rig import Line, Sensors, Worker


@pytest.fixture(scope="module")
def sensors(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Sensors]:
    made = Sensors(tmp_path_factory.mktemp("line") / "port")
    yield made
    made.close()


@pytest.fixture
def worker(sensors: Sensors, tmp_path: Path) -> Worker:
    sensors.line, sensors.sending = Line(), True
    (tmp_path / "clock.json").write_text(json.dumps(rig.fast_clock()))
    text = rig.settings_text(sensors.port.parent, free_port())
    (tmp_path / "edge.toml").write_text(text)
    (tmp_path / "data").mkdir()
    return Worker(sensors, Broker(tmp_path))


def done(worker: Worker, folder: Path, step: str, wait_s: float = 20.0) -> dict[str, Any]:
    """What the witness record says of one step after it was done."""
    asked = Asked(
        settings=folder / "edge.toml", clock=folder / "clock.json", steps=(step,), wait_s=wait_s
    )
    assert conduct(asked, worker) == 10
    witness = rig.written(folder, WITNESS_FILE)
    assert witness["in_service"] is False
    (found,) = [one for one in witness["steps"] if one["step"] == step]
    others = [one["verdict"] for one in witness["steps"] if one["step"] != step]
    assert set(others) == {"blank"}
    return found


FAULTY_LINES: list[tuple[str, str, dict[str, Any], str]] = [
    ("gain", "sensor of another gain", {"gain": 0.95}, r"gain by 1\.05\d\d, as a new dated entry"),
    ("noise", "noise", {"noise_ma": 0.2}, ""),
    ("polarity", "leads swapped", {"turned": True}, "the sensor is turned: swap its leads"),
    ("dry-phasor", "part of the current lost", {"gain": 0.8}, ""),
    ("bypass-dry", "a bridged collector", {"collected": 0.9}, ""),
]


@pytest.mark.parametrize(("step", "what", "changed", "note"), FAULTY_LINES)
def test_a_fault_of_the_sensor_fails_its_step(
    worker: Worker, tmp_path: Path, step: str, what: str, changed: dict[str, Any], note: str
) -> None:
    worker.change(**changed)
    found = done(worker, tmp_path, step)
    assert found["verdict"] == "failed", what
    assert re.search(note, found["note"])
    assert any(not _holds(one) for one in found["readings"])


def _holds(one: dict[str, Any]) -> bool:
    low = one["low"] is None or one["figure"] >= one["low"]
    return low and (one["high"] is None or one["figure"] <= one["high"])


def test_a_film_that_leads_current_past_the_ring_fails_the_wet_step_only(
    worker: Worker, tmp_path: Path
) -> None:
    worker.hands["Spray ring"] = lambda: worker.change(injected_ma=8.0, collected=0.7)
    found = done(worker, tmp_path, "bypass-wet")
    assert found["verdict"] == "failed" and "renew its sealing" in found["note"]
    assert found["readings"][0]["figure"] == pytest.approx(0.7, abs=0.01)
    assert found["entered"] == {"conductivity_ms_cm": "5", "injected_ma": "8.0"}


@pytest.mark.parametrize("step", ["gain", "lead-off", "dry-phasor", "polarity", "saturation"])
def test_a_sensor_that_shows_nothing_at_all_fails_its_steps(
    worker: Worker, tmp_path: Path, step: str
) -> None:
    """A lead that was never connected, or a dead amplifier: every sample is the same code."""
    worker.change(gain=0.0, noise_ma=0.0)
    assert done(worker, tmp_path, step, wait_s=0.5)["verdict"] == "failed"


HANDS: list[tuple[str, str, str]] = [
    ("saturation", "a fifth above the full scale, for", ""),
    ("lead-off", "take the collector lead off", "the current stayed"),
    ("data-lead-off", "Pull the data lead", "samples kept coming"),
    ("supply-off", "Switch the unit's supply off", "samples kept coming"),
]


@pytest.mark.parametrize(("step", "words", "note"), HANDS)
def test_what_was_not_really_done_by_hand_fails_its_step(
    worker: Worker, tmp_path: Path, step: str, words: str, note: str
) -> None:
    worker.hands[words] = lambda: None
    found = done(worker, tmp_path, step, wait_s=0.5)
    assert found["verdict"] == "failed" and note in found["note"]


def test_a_supply_that_did_not_really_fail_is_told_from_one_that_did(
    worker: Worker, tmp_path: Path
) -> None:
    worker.hands["Switch the supply on again"] = lambda: worker.send(True)
    found = done(worker, tmp_path, "supply-off")
    assert found["verdict"] == "failed" and "did not lose its supply" in found["note"]


def test_without_a_broker_computer_and_uplink_fail(worker: Worker, tmp_path: Path) -> None:
    assert "receipted nothing" in done(worker, tmp_path, "link", wait_s=1.5)["note"]
    (tmp_path / "data" / "commissioning.json").unlink()
    assert "FAULT broker" in done(worker, tmp_path, "computer")["note"]


def test_an_uncalibrated_dry_current_is_proposed_for_the_settings(
    worker: Worker, tmp_path: Path
) -> None:
    path = tmp_path / "edge.toml"
    lines = [one for one in path.read_text().splitlines() if not one.startswith("dry_")]
    path.write_text("\n".join(lines))
    found = done(worker, tmp_path, "dry-phasor")
    assert found["verdict"] == "failed"
    entry = found["note"][found["note"].index("[[insulator.calibrations]]") :]
    settings = parse_settings(f"{path.read_text()}\n{entry}", "edge.toml")
    proposed = settings.insulator[0].calibrations[1]
    assert proposed.dry_ma == pytest.approx(rig.DRY_MA, rel=0.02)
    assert proposed.dry_deg == pytest.approx(rig.DRY_DEG, abs=0.5)


PAPER = [
    ("identity", {"plate": "GS-8"}, "failed", "the plate says 'GS-8', the settings 'GS-7'"),
    ("people", {"witness": "r. dunlin"}, "failed", "the same person"),
    ("people", {"witness": ""}, "blank", ""),
    ("instruments", {"ammeter_due": "2026-05-05"}, "failed", "take one whose calibration holds"),
    ("instruments", {"ammeter_due": ""}, "blank", ""),
    ("bypass-wet", {"conductivity_ms_cm": "0.3"}, "failed", "proves nothing about a salty film"),
]


@pytest.mark.parametrize(("step", "answers", "verdict", "note"), PAPER)
def test_an_answer_that_does_not_hold_or_is_left_out_blocks(
    worker: Worker, tmp_path: Path, step: str, answers: dict[str, str], verdict: str, note: str
) -> None:
    worker.answers |= answers
    found = done(worker, tmp_path, step)
    assert found["verdict"] == verdict and note in found["note"]


def test_points_of_the_gain_that_were_made_are_not_made_again(
    worker: Worker, tmp_path: Path
) -> None:
    asked = worker.ask
    worker.ask = lambda place, q: "" if q.key == "injected_4_ma" else asked(place, q)  # type: ignore[method-assign]
    assert done(worker, tmp_path, "gain")["missing"] == ["injected_4_ma"]
    # A cut in the middle of the step leaves the points in the journal; the next run goes on.
    settings = parse_settings((tmp_path / "edge.toml").read_text(), "edge.toml")
    journal = load(tmp_path / "data", settings.unit.id, subject_sha(settings), 0)
    place = Place("gain", rig.PLATE)
    begun = Begun(at_us=1, boot="x", kept={"points": [[2.0, 2.0], [10.0, 10.0], [26.0, 26.0]]})
    save(with_begun(journal, place, begun), tmp_path / "data")
    worker.ask, worker.shown = asked, []  # type: ignore[method-assign]
    found = done(worker, tmp_path, "gain")
    assert found["verdict"] == "passed"
    points = [words for words in worker.shown if words.startswith("Point")]
    assert [words[:7] for words in points] == ["Point 4", "Point 5"]


def test_a_computer_that_lost_its_supply_with_the_unit_goes_on_at_that_step(
    worker: Worker, tmp_path: Path
) -> None:
    settings = parse_settings((tmp_path / "edge.toml").read_text(), "edge.toml")
    place = Place("supply-off")
    journal = Journal(unit=settings.unit.id, subject_sha=subject_sha(settings), begun_us=0)
    cut = with_begun(journal, place, Begun(at_us=1, boot="before"))
    bench = Bench(settings, tmp_path, Clock(), 5.0, boot=lambda: "after")
    guide = Guide(cut, tmp_path / "data", bench, worker)
    guide.run(("supply-off",))
    bench.release()
    assert guide.journal.verdict(place) is Verdict.PASSED
    assert "went on by itself" in guide.journal.outcomes[place].note


def test_a_step_given_up_is_blank(worker: Worker, tmp_path: Path) -> None:
    worker.act = lambda place, words: False  # type: ignore[method-assign]
    assert done(worker, tmp_path, "noise")["missing"] == ["carried out"]


@pytest.mark.parametrize(
    ("seen", "by", "verdict"),
    [
        ("over-range", "M. Tern", Verdict.PASSED),
        ("arcing", "M. Tern", Verdict.PASSED),
        ("sensor-failed", "M. Tern", Verdict.FAILED),
        ("", "M. Tern", Verdict.BLANK),
        ("over-range", "", Verdict.BLANK),
    ],
)
def test_the_control_room_must_have_seen_what_the_unit_rang(
    seen: str, by: str, verdict: Verdict
) -> None:
    rung = ["over-range of GS-7", "arcing of GS-7"]
    outcome = told_alarm(rung, 2.0, {"seen_alarm": seen, "seen_by": by})
    assert outcome.verdict is verdict
    assert told_alarm(rung, 90.0, {"seen_alarm": "arcing", "seen_by": "x"}).verdict is (
        Verdict.FAILED
    )
