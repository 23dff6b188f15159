"""The link between unit and broker cut, half-open, trickling and refusing, at random."""

from __future__ import annotations

import random
import time
from pathlib import Path

import pytest

from tests.broker import Broker
from tests.campaigns.proxy import Link, Mode
from tests.campaigns.trial import WINDOWS, Trial

FAULTS, LONG_FAULTS = 12, 200
SPOILT = (Mode.CUT, Mode.HALF_OPEN, Mode.TRICKLE, Mode.REFUSE)
SPOILT_S, SOUND_S = (0.2, 1.2), (0.3, 0.8)
KEEPALIVE_S = 2
HALF_OPEN_FACTOR_MAX = 1.5
"""A half-open link is found within so many times the keep-alive."""


def spoilt(trial: Trial, link: Link, faults: int, chance: random.Random) -> None:
    """Every kind of fault in turn, for random times."""
    number = -1
    while (number := number + 1) < faults or trial.await_unmet_window():
        time.sleep(chance.uniform(*SOUND_S) if number < faults else 0)
        mode = SPOILT[number % len(SPOILT)]
        trial.note_fault(mode.value)
        link.set(mode)
        time.sleep(chance.uniform(*SPOILT_S))
        link.set(Mode.PASS)


def campaign(folder: Path, broker: Broker, faults: int, rate: int) -> None:
    options = ("--rate", str(rate), "--keepalive", str(KEEPALIVE_S))
    slow = ("--slow-s", "0.12")
    with (
        Link(broker.port) as link,
        Trial(folder, broker, port=link.port, unit=options, gateway=slow) as trial,
    ):
        trial.start_gateway()
        trial.start_unit()
        trial.await_told(lambda told: told.receipted() > 0)
        spoilt(trial, link, faults, random.Random(faults))
        found = trial.finish(wait_s=200)
    print(trial.figures(found))
    assert found.is_clean(), found
    assert all(trial.windows[window] for window in WINDOWS), trial.windows


def test_a_link_spoilt_in_every_way_loses_nothing(tmp_path: Path, broker: Broker) -> None:
    campaign(tmp_path, broker, FAULTS, rate=200)


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_two_hundred_faults_of_the_link_lose_nothing(tmp_path: Path, broker: Broker) -> None:
    campaign(tmp_path, broker, LONG_FAULTS, rate=200)


def test_a_half_open_link_is_found_within_one_and_a_half_keepalives(
    tmp_path: Path, broker: Broker
) -> None:
    """Found is: a new connection is tried. The old one still looks sound to the unit's kernel."""
    options = ("--until", "60", "--keepalive", str(KEEPALIVE_S))
    with Link(broker.port) as link, Trial(tmp_path, broker, port=link.port, unit=options) as trial:
        trial.start_gateway()
        trial.start_unit()
        trial.await_drained(60)
        before = link.accepted
        link.set(Mode.HALF_OPEN)
        began_s = time.monotonic()
        trial.await_told(lambda _: link.accepted > before, wait_s=20)
        found_s = time.monotonic() - began_s
        link.set(Mode.PASS)
        assert trial.finish(60).is_clean()
    print(f"half-open found after {found_s:.1f} s at a keep-alive of {KEEPALIVE_S} s")
    assert found_s <= HALF_OPEN_FACTOR_MAX * KEEPALIVE_S + 2
