"""A small recording of one arcing and one dry insulator, settings around it, and what was kept."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import numpy as np

from edge.clock import Clock
from edge.daemon.running import FILE_NAME, Daemon
from edge.recording.model import FileType
from edge.recording.writer import Writing, quantised, write_pair
from edge.samples import Channel, ChannelKind, SignalDescription
from edge.settings import parse_settings
from edge.wire import read_record

RATE_HZ = 4_800
CREST_KV = 18.0
START_UTC_NS = 1_795_557_510_000_000_000
"""90 seconds before a ten-minute tick."""

CHANNELS = (
    Channel("old-post", ChannelKind.CURRENT, "A"),
    Channel("new-rubber", ChannelKind.CURRENT, "A"),
    Channel("UA", ChannelKind.VOLTAGE, "A"),
)


def write_recording(folder: Path, signal_s: float = 150.0, arcs_from_s: float = 5.0) -> Path:
    """`old-post` arcs from `arcs_from_s` on with crests of 140 mA, `new-rubber` stays dry."""
    t = np.arange(round(RATE_HZ * signal_s)) / RATE_HZ
    theta = 2 * np.pi * 50.0 * t
    noise = np.random.default_rng(7).normal(0.0, 0.004, (t.size, 2))
    dry = 0.08 * np.cos(theta)
    band = np.where(np.abs(np.sin(theta)) >= np.sin(np.radians(50.0)), np.sin(theta), 0.0)
    arcs = np.where(t >= arcs_from_s, 140.0 * band, 0.0)
    physical = np.stack([dry + arcs + noise[:, 0], dry + noise[:, 1], CREST_KV * np.sin(theta)], 1)
    codes, channels = quantised(physical, CHANNELS, FileType.BINARY)
    writing = Writing(
        station="gannet-stack",
        device="test",
        signal=SignalDescription(RATE_HZ, 50.0, channels),
        start_utc_ns=START_UTC_NS,
        trigger_utc_ns=START_UTC_NS,
    )
    path = folder / "night.cfg"
    with path.open("wb") as configuration, path.with_suffix(".dat").open("wb") as rows:
        write_pair(configuration, rows, writing, codes)
    return path


def settings_text(source: str, broker_port: int | None = None, more: str = "") -> str:
    """Settings of the unit at Gannet Stack; paths are relative to the settings' folder."""
    insulators = "".join(
        f"""
[[insulator]]
id = "{name}"
type = "{kind}"
profile = "line post"
voltage_class_kv = 24
creepage_mm = 600
arcing_distance_mm = 250
creepage_basis = "phase-phase"
phase = "A"
sensor_place = "earth lead"
ranges = [{{ channel = "{name}" }}]
"""
        for name, kind in (("old-post", "ceramic"), ("new-rubber", "composite"))
    )
    broker = f'[broker]\nhost = "127.0.0.1"\nport = {broker_port}\n' if broker_port else ""
    return f"""
[unit]
id = "gannet-stack.pole-1"
[site]
name = "Gannet Stack"
nominal_hz = 50
coast_bearing_deg = 250
[source]
{source}
[store]
folder = "data"
quota_mb = 16
{broker}{more}{insulators}"""


RECORDED = 'kind = "recordings"\npath = "night.cfg"'


def daemon_in(
    folder: Path, text: str, *, signal_s: float | None = None, clock: Clock | None = None
) -> Daemon:
    """A daemon in this process, its settings and data in `folder`."""
    settings = parse_settings(text, "edge.toml")
    return Daemon(settings, folder, clock or Clock(), signal_s, hello_wait_s=0.3)


def played_out(daemon: Daemon) -> None:
    """From start to the end of its signal."""
    try:
        daemon.start()
        daemon.wait()
    finally:
        daemon.stop()


def kept_bodies(folder: Path, *kinds: str) -> list[bytes]:
    """Bodies of these kinds in the durable file, stream by stream in order."""
    with sqlite3.connect(folder / "data" / FILE_NAME) as db:
        bodies = [bytes(body) for (body,) in db.execute("SELECT body FROM outbox ORDER BY place")]
    db.close()
    for body in bodies:
        read_record(body)
    return [body for body in bodies if json.loads(body)["kind"] in kinds]
