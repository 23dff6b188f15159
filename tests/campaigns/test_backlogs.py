"""A gateway that is away, or slow, or comes back from a backup, while the unit goes on."""

from __future__ import annotations

import shutil
import time
from pathlib import Path

import pytest

from tests.broker import Broker
from tests.campaigns.trial import Trial

BACKLOG, LONG_BACKLOG = 8_000, 100_000
SLOW_S = 0.25


def backlogged(folder: Path, broker: Broker, rows: int) -> None:
    """The broker keeps the gateway's session, with its usual limit of 1000 waiting messages."""
    options = ("--until", str(rows), "--rate", "20000", "--burst", "1000")
    with Trial(folder, broker, unit=options) as trial:
        trial.start_gateway()
        trial.start_unit()
        trial.await_told(lambda told: told.receipted() > 0)
        trial.kill("gateway")
        trial.await_told(lambda told: told.made >= rows, wait_s=900)
        left = rows - trial.stored()
        trial.start_gateway()
        began_s = time.monotonic()
        found = trial.finish(rows, wait_s=900)
        took_s = time.monotonic() - began_s
    print(f"{trial.figures(found)}; {left} in {took_s:.1f} s, {left / took_s:.0f} a second")
    assert left > rows / 2
    assert found.is_clean(), found


def test_a_backlog_larger_than_the_brokers_queue_arrives_whole(
    tmp_path: Path, broker: Broker
) -> None:
    backlogged(tmp_path, broker, BACKLOG)


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_a_backlog_of_a_hundred_thousand_rows_arrives_whole(tmp_path: Path, broker: Broker) -> None:
    backlogged(tmp_path, broker, LONG_BACKLOG)


def test_a_slow_gateway_is_not_pressed_and_gets_everything(tmp_path: Path, broker: Broker) -> None:
    """A commit and a quarter of a second each time; what is on its way stays within the window."""
    options = ("--until", "2000", "--rate", "600", "--burst", "100")
    with Trial(tmp_path, broker, unit=options, gateway=("--slow-s", str(SLOW_S))) as trial:
        trial.start_gateway()
        trial.start_unit()
        most = 0
        until_s = time.monotonic() + 90
        while not (trial.told().made >= 2000 and trial.told().is_receipted()):
            lanes = trial.told().lanes.values()
            most = max(most, max((sent - receipted for _, sent, receipted in lanes), default=0))
            assert time.monotonic() < until_s, trial.told()
            time.sleep(0.05)
        found = trial.finish(2000)
    print(f"{trial.figures(found)}; at most {most} records of a stream on their way")
    assert found.is_clean(), found
    assert most <= 400, "four messages of a hundred records"


def restored(folder: Path, broker: Broker, rows: int) -> None:
    options = ("--until", str(rows), "--rate", "400")
    with Trial(folder, broker, unit=options) as trial:
        trial.start_gateway()
        trial.start_unit()
        trial.await_told(lambda told: told.receipted() > rows // 4)
        assert trial.end("gateway") == 0
        backup = folder / "yesterday"
        shutil.copytree(trial.history_folder, backup)
        held = trial.stored()
        trial.start_gateway()
        trial.await_drained(rows)
        assert trial.end("gateway") == 0
        shutil.rmtree(trial.history_folder)
        shutil.copytree(backup, trial.history_folder)
        trial.start_gateway()
        trial.await_stored(sum(committed for committed, _, _ in trial.told().lanes.values()))
        found = trial.finish(rows)
    print(f"{trial.figures(found)}; the backup held {held}")
    assert found.is_clean(), found


def test_a_gateway_restored_from_a_backup_asks_a_silent_unit_for_what_it_lost(
    tmp_path: Path, broker: Broker
) -> None:
    """The unit has nothing more to say: no gap shows, only the gateway's question helps."""
    restored(tmp_path, broker, 1200)


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_a_gateway_restored_from_a_backup_gets_ten_thousand_records_again(
    tmp_path: Path, broker: Broker
) -> None:
    restored(tmp_path, broker, 12_000)
