"""The gateway thread that thins: old weeks only, by the one writer, and it ends when asked."""

from __future__ import annotations

import threading
from pathlib import Path

from gateway.history.chunks import WEEK_US
from gateway.history.sqlite_store import SqliteHistory
from gateway.history.store import HistoryFault, SiteWriter
from gateway.keeping import Keeper
from tests.gateway.build import MINUTE_US, START_US, commit, interval

SITE = "north-head"
FIRST_US = (START_US // WEEK_US + 1) * WEEK_US
YEAR_LATER_US = FIRST_US + 380 * 86_400_000_000


def test_rows_of_last_year_are_thinned_while_the_gateway_runs(tmp_path: Path) -> None:
    history = SqliteHistory(tmp_path)
    writer = history.writer(SITE)
    rows = [interval(k, start_us=FIRST_US + k * MINUTE_US) for k in range(30)]
    writer.append(commit(1, [*rows, interval(30, start_us=YEAR_LATER_US)]))
    ended: list[BaseException | None] = []
    done = threading.Event()
    original = writer.thin

    def thin(*given: object) -> object:
        found = original(*given)  # type: ignore[arg-type]
        done.set()
        return found

    writer.thin = thin  # type: ignore[method-assign, assignment]
    keeper = Keeper([SITE], lambda _: writer, 366, lambda: YEAR_LATER_US, ended.append, 0.0)
    keeper.start()
    assert done.wait(60)
    keeper.stop()
    writer.close()
    assert not ended
    assert history.reader(SITE).exposure("A1", 0, 1 << 62)["rows"] == 3 + 1


def test_a_clock_that_runs_years_ahead_thins_nothing(tmp_path: Path) -> None:
    history = SqliteHistory(tmp_path)
    writer = history.writer(SITE)
    writer.append(commit(1, [interval(k, start_us=FIRST_US + k * MINUTE_US) for k in range(30)]))
    Keeper([SITE], lambda _: writer, 366, lambda: 10 * YEAR_LATER_US, lambda _: None).round()
    writer.close()
    assert history.reader(SITE).exposure("A1", 0, 1 << 62)["rows"] == 30


def test_a_site_without_rows_is_left_alone(tmp_path: Path) -> None:
    writer = SqliteHistory(tmp_path).writer(SITE)
    Keeper([SITE], lambda _: writer, 366, lambda: YEAR_LATER_US, lambda _: None).round()
    writer.close()


def test_a_store_that_cannot_be_written_is_no_end_of_the_gateway(tmp_path: Path) -> None:
    writer = SqliteHistory(tmp_path).writer(SITE)
    writer.append(commit(1, [interval(0)]))
    tried = threading.Event()

    def full(*_: object) -> None:
        tried.set()
        raise HistoryFault("the disk is full")

    writer.thin = full  # type: ignore[method-assign, assignment]
    ended: list[BaseException | None] = []
    keeper = Keeper([SITE], lambda _: writer, 366, lambda: YEAR_LATER_US, ended.append, 0.0)
    keeper.start()
    assert tried.wait(60)
    keeper.stop()
    writer.close()
    assert not ended


def test_a_bug_ends_the_thread_and_is_handed_on(tmp_path: Path) -> None:
    handed = threading.Event()
    ended: list[BaseException | None] = []

    def on_end(fault: BaseException | None) -> None:
        ended.append(fault)
        handed.set()

    def broken(_: str) -> SiteWriter:
        raise AssertionError("a bug")

    keeper = Keeper([SITE], broken, 366, lambda: YEAR_LATER_US, on_end, 0.0)
    keeper.start()
    assert handed.wait(60)
    keeper.stop()
    assert isinstance(ended[0], AssertionError)
