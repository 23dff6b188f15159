"""Wall clocks of unit and gateway that step by years while they run, or begin at 1970."""

from __future__ import annotations

import subprocess
import time
from contextlib import closing
from pathlib import Path

import pytest

from edge.records import HealthRow, Stream
from gateway.history.sqlite_store import SqliteHistory
from tests.broker import Broker
from tests.campaigns.gate import SITE
from tests.campaigns.trial import Trial

YEAR_S = 31_557_600
STEPS_S = (10 * YEAR_S, -10 * YEAR_S, 3600, -3600, -56 * YEAR_S, 0)
LONG_STEPS = 60
RATE = 200


@pytest.fixture(scope="module")
def shim(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The stepping library, compiled."""
    library = tmp_path_factory.mktemp("clock") / "clock_shim.so"
    source = str(Path(__file__).with_name("clock_shim.c"))
    subprocess.run(
        ["gcc", "-shared", "-fPIC", "-O2", "-Wall", "-o", str(library), source, "-ldl"], check=True
    )
    return library


def stepped(folder: Path, broker: Broker, shim: Path, steps_s: list[int]) -> None:
    """Unit and gateway step apart; the unit trusts its clock, as one with a time service would."""
    options = ("--rate", str(RATE), "--trusts-clock")
    with Trial(folder, broker, unit=options) as trial:
        trial.steps_clock(shim)
        trial.step("unit", -56 * YEAR_S)  # 1970 at boot
        trial.start_gateway()
        trial.start_unit()
        trial.await_told(lambda told: told.receipted() > 0)
        for number, step_s in enumerate(steps_s):
            trial.note_fault("clock step")
            trial.step(("unit", "gateway")[number % 2], step_s)
            made = trial.told().made
            began_s = time.monotonic()
            trial.await_told(lambda told, at=made: told.made > at)  # type: ignore[misc]
            stored = trial.stored()
            trial.await_told(
                lambda told, at=stored: trial.stored() > at or told.is_receipted()  # type: ignore[misc]
            )
            assert time.monotonic() - began_s < 40, "a timer waits for the old time"
            if number % 3 == 2:
                trial.kill("unit")
                trial.start_unit()
        found = trial.finish()
    print(trial.figures(found), "years", sorted(years_of(trial)))
    assert found.is_clean(), found
    assert 1970 in years_of(trial) and len(years_of(trial)) >= 3


def years_of(trial: Trial) -> set[int]:
    """The years in which the unit's records say that they were committed."""
    with closing(SqliteHistory(trial.history_folder).reader(SITE)) as reader:
        keys = [key for key in reader.marks() if key.stream is Stream.HEALTH]
        lines = [line for key in keys for line in reader.lines(key)]
    of_health = [line for line in lines if isinstance(line.record, HealthRow)]
    return {time.gmtime(line.t_utc_us // 1_000_000).tm_year for line in of_health}


def test_clocks_that_step_by_years_lose_nothing_and_stall_nothing(
    tmp_path: Path, broker: Broker, shim: Path
) -> None:
    stepped(tmp_path, broker, shim, list(STEPS_S))


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_sixty_steps_of_the_clocks_lose_nothing(tmp_path: Path, broker: Broker, shim: Path) -> None:
    stepped(tmp_path, broker, shim, [STEPS_S[n % len(STEPS_S)] for n in range(LONG_STEPS)])
