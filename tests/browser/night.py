"""A gateway that shows the end of an invented night, its clock almost standing still."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from gateway.history.lock import hold_data
from gateway.history.sqlite_store import SqliteHistory
from gateway.service import Gateway
from gateway.settings import read_settings
from tests.broker import Broker, free_port

TOP = Path(__file__).parents[2]
RECORDINGS = TOP / "replay_data"


def live_through(folder: Path, seconds: int) -> None:
    """Runs the demo and keeps what it writes."""
    words = [sys.executable, "-m", "gateway", "demo", "--seconds", str(seconds)]
    subprocess.run([*words, "--data", str(folder)], cwd=TOP, check=True)


@contextmanager
def served(night: Path, folder: Path) -> Iterator[Gateway]:
    """A gateway over a copy of the night, a broker that it is connected to, and two results."""
    shutil.copytree(night / "history", folder / "history")
    broker = Broker(folder)
    broker.start()
    settings = read_settings(_settings(night, folder, broker.port))
    _results(folder / "results")
    try:
        with hold_data(settings.data, "pictures"):
            gateway = Gateway(settings)
            gateway.start()
            try:
                gateway._subscription.connected.wait(20)
                yield gateway
            finally:
                gateway.stop()
    finally:
        broker.stop()


def _settings(night: Path, folder: Path, broker_port: int) -> Path:
    text = (night / "gateway.toml").read_text(encoding="utf-8")
    text = text[: text.index("[broker]")] + text[text.index("[watch]") :]
    text = re.sub(r"(?ms)^\[clock\].*?^(?=\[)", "", text)
    text = re.sub(r"(?m)^(title = .*)$", r'\1\ncall = "the duty engineer, x4411"', text)
    head = (
        f'[broker]\nport = {broker_port}\n[console]\nport = {free_port()}\nresults = "results"\n'
        'time_zone = "Europe/Oslo"\n'
        f"[clock]\nrate = 0.001\nreal_origin_us = {time.time_ns() // 1000}\n"
        f"shown_origin_us = {_last_heard(folder / 'history')}\n"
    )
    path = folder / "gateway.toml"
    data, _, rest = text.partition("\n")
    path.write_text("\n".join((data, head, rest)), encoding="utf-8")
    return path


def _last_heard(history: Path) -> int:
    store = SqliteHistory(history)
    moments = []
    for site in store.sites():
        reader = store.reader(site)
        moments += [mark.received_us for mark in reader.marks().values()]
        reader.close()
    return max(moments)


def _results(folder: Path) -> None:
    """Two replays whose alarms differ."""
    for name in ("flashover_and_trip_50hz", "dry_band_arcing_50hz"):
        words = [sys.executable, "-m", "gateway", "replay", str(RECORDINGS / f"{name}.cfg")]
        out = str(folder / name.replace("_", "-"))
        subprocess.run([*words, "--out", out], cwd=TOP, check=True, capture_output=True)
