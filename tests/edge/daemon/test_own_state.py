"""What the unit says of itself beside the signal: noise, certificate, versions, firmware."""

from __future__ import annotations

import json
import subprocess
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from edge.daemon.diagnostics import CERTIFICATE_DAYS, found
from edge.daemon.expiry import NOT_KNOWN, Expiry, expiry_of, warned
from edge.daemon.heartbeat import Heart, beat, begun, listened
from edge.daemon.noise import noise_na, quieter
from edge.records import UnitEvent
from edge.samples import Channel, ChannelKind, SampleBlock, SignalDescription
from tests.edge.daemon.builders import (
    RECORDED,
    daemon_in,
    kept_bodies,
    played_out,
    settings_text,
    write_recording,
)
from tests.edge.daemon.test_heartbeat import GOOD, STANDING, TEN_US

RATE_HZ = 4_800
NOISE_UA = 4.0
SIGNAL = SignalDescription(
    RATE_HZ,
    50.0,
    (
        Channel("old-post", ChannelKind.CURRENT, gain=-0.001),  # microamperes, turned round
        Channel("new-rubber", ChannelKind.CURRENT, gain=0.001),
        Channel("UA", ChannelKind.VOLTAGE, gain=0.001),
    ),
)


def block(*, arcs: bool = False, seed: int = 1, rows: int = RATE_HZ) -> SampleBlock:
    """Noise of 4 uA on 2 mA of mains current, with arcs of 100 mA on the first channel."""
    theta = 2 * np.pi * 50.0 * np.arange(rows) / RATE_HZ
    noise = np.random.default_rng(seed).normal(0.0, NOISE_UA, (rows, 3))
    current = 2_000.0 * np.sin(theta)[:, None] + noise
    if arcs:
        current[:, 0] += np.where(np.abs(np.sin(theta)) > 0.9, 100_000.0, 0.0)
    return SampleBlock(0, np.round(current).astype(np.int32))


def test_the_noise_of_each_current_is_told_whatever_the_mains_and_arcs_do() -> None:
    quiet, busy = noise_na(block(), SIGNAL), noise_na(block(arcs=True), SIGNAL)
    assert set(quiet) == {"old-post", "new-rubber"}
    for noise in (*quiet.values(), busy["new-rubber"]):
        assert noise == pytest.approx(1000 * NOISE_UA, rel=0.08)
    assert busy["old-post"] == pytest.approx(1000 * NOISE_UA, rel=0.5)
    assert quieter(quiet, busy)["old-post"] <= quiet["old-post"]


def test_a_converter_that_stands_still_has_no_noise_at_all() -> None:
    still = SampleBlock(0, np.full((RATE_HZ, 3), 17, np.int16))
    assert noise_na(still, SIGNAL) == {"old-post": 0, "new-rubber": 0}


def test_channels_with_missing_values_and_short_blocks_say_nothing() -> None:
    whole = block()
    missing = np.zeros(whole.samples.shape, bool)
    missing[7, 0] = True
    assert set(noise_na(SampleBlock(0, whole.samples, missing), SIGNAL)) == {"new-rubber"}
    assert noise_na(block(rows=20), SIGNAL) == {}
    broken = whole.samples.astype(np.float32)
    broken[:, 1] = np.nan
    assert set(noise_na(SampleBlock(0, broken), SIGNAL)) == {"old-post"}


def test_the_quietest_moment_of_a_minute_goes_into_its_record() -> None:
    heart = begun(Heart(), TEN_US)
    for noise in ({"A": 900, "B": 50}, {"A": 700}, {"A": 2_000, "B": 60}):
        heart = listened(heart, noise)
    heart, row = beat(heart, heart.end_us, heart.end_us, STANDING)
    assert row.noise_na == {"A": 700, "B": 50} and heart.noise_na == {}


def certificate(folder: Path, days: float) -> Path:
    """A certificate of its own that ends after so many days, less a minute.

    By openssl's small authority, which lets both dates be chosen.
    """
    end = datetime.now(UTC) + timedelta(days=days) - timedelta(minutes=1)
    begin = min(datetime.now(UTC), end) - timedelta(days=1)
    (folder / "index").write_text("")
    (folder / "serial").write_text("01\n")
    (folder / "ca.cnf").write_text(
        "[ca]\ndefault_ca=own\n[own]\ndatabase=index\nserial=serial\nnew_certs_dir=.\n"
        "default_md=sha256\npolicy=any\n[any]\ncommonName=supplied\n"
    )
    openssl(folder, "req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -keyout unit.key")
    stamp = "%Y%m%d%H%M%SZ"
    dates = f"-startdate {begin.strftime(stamp)} -enddate {end.strftime(stamp)}"
    openssl(folder, f"ca -batch -notext -config ca.cnf -ss_cert new.pem -selfsign {dates}")
    return folder / "unit.pem"


def openssl(folder: Path, words: str) -> None:
    more = {
        "req": "-out new.pem -subj /CN=gannet-stack.pole-1 -days 1",
        "ca": "-keyfile unit.key -cert new.pem -out unit.pem",
    }
    command = ["openssl", *words.split(), *more[words.split()[0]].split()]
    subprocess.run(command, check=True, capture_output=True, cwd=folder)


def now_us() -> int:
    return round(datetime.now(UTC).timestamp() * 1e6)


@pytest.mark.parametrize(("days", "left"), [(400, 399), (30, 29), (1, 0), (-2, -3)])
def test_the_days_left_are_read_from_the_certificate_itself(
    tmp_path: Path, days: int, left: int
) -> None:
    path = certificate(tmp_path, days)
    assert expiry_of(path, now_us(), synchronised=True) == Expiry(left)
    assert expiry_of(path, now_us(), synchronised=False) == NOT_KNOWN
    assert expiry_of(None, now_us(), synchronised=True) == NOT_KNOWN


def test_a_certificate_that_is_gone_or_is_none_is_a_finding_and_an_event(tmp_path: Path) -> None:
    (tmp_path / "not.pem").write_text("hello")
    for path in (tmp_path / "missing.pem", tmp_path / "not.pem"):
        now = expiry_of(path, 1, synchronised=True)
        assert now.days is None and path.name in now.unreadable
        (event,) = warned(NOT_KNOWN, now, 9)
        assert event.event == "certificate-unreadable" and warned(now, now, 10) == ()


def test_each_limit_is_told_once_and_a_renewal_begins_anew() -> None:
    told: list[UnitEvent] = []
    before = NOT_KNOWN
    for days in [*range(40, -3, -1), 365, 20]:
        told += warned(before, Expiry(days), 5)
        before = Expiry(days)
    limits = [event.detail["warned_at_days"] for event in told]
    assert limits == [*CERTIFICATE_DAYS, -1, 30]
    assert [event.detail["days"] for event in told] == [30, 7, 1, -1, 20]


def test_no_day_before_the_end_has_two_findings_and_none_within_a_month_has_none() -> None:
    for days in range(-40, 60):
        assert len(found(replace(GOOD, certificate_days=days))) == (days <= 30)


def test_a_daemon_tells_noise_certificate_and_what_it_runs_on(tmp_path: Path) -> None:
    write_recording(tmp_path)
    played_out(daemon_in(tmp_path, settings_text(RECORDED)))
    beats = [json.loads(body) for body in kept_bodies(tmp_path, "health")]
    assert all(set(beat["noise_na"]) == {"old-post", "new-rubber"} for beat in beats)
    # The recording has 4 uA of noise and is kept in steps of its own range.
    assert all(3_000 < beat["noise_na"]["new-rubber"] < 6_000 for beat in beats)
    assert all(beat.get("certificate_days") is None for beat in beats)
    (started,) = [
        event
        for event in map(json.loads, kept_bodies(tmp_path, "unit-event"))
        if event["event"] == "started"
    ]
    told = {"software", "python", "sqlite", "openssl", "numpy", "kernel", "settings"}
    assert told <= set(started["detail"])
