"""Random SIGKILLs of unit, gateway and broker, all of them real processes."""

from __future__ import annotations

import random
import time
from collections.abc import Sequence
from pathlib import Path

import pytest

from tests.broker import Broker, free_port
from tests.campaigns.trial import WINDOWS, Trial

KILLS, LONG_KILLS = 30, 1000
RATE = 200
PAUSE_S = (0.05, 0.6)
"""Before a kill, once records flow again; a process that was killed is started again at once."""

FLOW_S_MAX = 0.8
"""Where nothing flows by then the kill falls into the start, which must be survived, too."""

SLOW = ("--slow-s", "0.12")
"""Between commit and receipt, so that thirty kills suffice to fall into each of the windows."""


def killed(trial: Trial, kills: int, chance: random.Random, console_port: int = 0) -> None:
    """Kills one of the three at random times, and starts it again."""
    start_gateway = (
        (lambda: trial.start_whole_gateway(console_port)) if console_port else trial.start_gateway
    )
    start_gateway()
    trial.start_unit()
    done = 0
    while done < kills or trial.await_unmet_window():
        if done < kills:
            trial.await_flow(FLOW_S_MAX)
            time.sleep(chance.uniform(*PAUSE_S))  # the random time is the point
        done += 1
        name = chance.choice(("unit", "gateway", "broker"))
        trial.kill(name)
        match name:
            case "unit":
                trial.start_unit()
            case "gateway":
                start_gateway()
            case _:
                trial.broker.start()


def test_thirty_kills_lose_double_and_reorder_nothing(tmp_path: Path, broker: Broker) -> None:
    with Trial(tmp_path, broker, unit=options(), gateway=SLOW) as trial:
        killed(trial, KILLS, random.Random(20_261_125))
        found = trial.finish()
    print(trial.figures(found))
    assert found.is_clean(), found
    assert min(trial.faults[name] for name in ("unit", "gateway", "broker")) > 3
    assert all(trial.windows[window] for window in WINDOWS), trial.windows


def options(*more: str) -> Sequence[str]:
    return ("--rate", str(RATE), *more)


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_a_thousand_kills_of_unit_whole_gateway_and_broker(tmp_path: Path, broker: Broker) -> None:
    with Trial(tmp_path, broker, unit=options()) as trial:
        killed(trial, LONG_KILLS, random.Random(1), console_port=free_port())
        found = trial.finish(wait_s=600)
    print(trial.figures(found))
    assert found.is_clean(), found
    assert all(trial.windows[window] for window in WINDOWS), trial.windows


def test_the_twin_that_takes_the_brokers_word_for_a_receipt_loses_records(
    tmp_path: Path, broker: Broker
) -> None:
    until = 1200
    twin = options("--until", str(until), "--twin", "broker")
    with Trial(tmp_path, broker, unit=twin) as trial:
        trial.start_gateway()
        trial.start_unit()
        trial.await_told(lambda told: trial.stored() > 100)
        trial.kill("gateway")
        trial.await_told(lambda told: told.receipted() > trial.stored() + 50)
        trial.kill("broker")
        trial.broker.start()
        trial.start_gateway()
        trial.await_told(lambda told: told.made >= until)
        trial.end("unit")
        trial.end("gateway")
        found = trial.judged(until, outbox_counts=True)
    assert found.lost_count() > 0, found
    assert not found.is_accounted_for()
