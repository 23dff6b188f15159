"""What `check` looks at, in the order in which one thing needs another."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

from edge.checking.broker import broker_findings
from edge.checking.finding import Finding, fault, raised
from edge.checking.sensors import sensor_findings
from edge.checking.weather import weather_findings
from edge.clock import Clock, read_clock
from edge.daemon.running import FILE_NAME, made_folder, read_settings
from edge.faults import Exit
from edge.settings import Settings

YEAR_2024_US = 1_704_067_200_000_000
"""A clock before this release was never set."""

ERROR_US_MAX = 250_000
"""Half-width of UTC above which the clock alarm rings."""


def inspection(path: Path, clock_file: Path | None) -> Iterator[Finding]:
    """Findings as they are made; nothing more where the settings cannot be read."""
    try:
        settings, clock = read_settings(path), read_clock(clock_file)
    except (OSError, ValueError) as cause:
        yield raised("settings", cause)
        return
    found = f"{path}, {settings.unit.id}, {len(settings.insulator)} insulators, {settings.sha}"
    yield Finding("settings", found)
    yield from sensor_findings(settings, path.parent, clock)
    yield from weather_findings(settings)
    yield clock_finding(clock)
    yield from disk_findings(settings, path.parent)
    yield from broker_findings(settings, path.parent, clock)


def clock_finding(clock: Clock) -> Finding:
    """Whether UTC is set and kept."""
    known, now_us = clock.discipline(), clock.utc_us()
    if now_us < YEAR_2024_US:
        return fault("clock", "it was never set", "give it a time source, then check again")
    if not known.synchronised:
        return fault(
            "clock",
            f"nobody disciplines it ({known.source})",
            "check antenna or network; timedatectl shows the time service",
        )
    error = "error unknown" if known.error_us is None else f"within {known.error_us / 1e3:.1f} ms"
    if known.error_us is not None and known.error_us > ERROR_US_MAX:
        return fault("clock", f"{known.source}, {error}", "wait for it to settle, then check again")
    return Finding("clock", f"{known.source}, {error}")


def disk_findings(settings: Settings, base: Path) -> Iterator[Finding]:
    """Whether the folder can be written, and the disk holds the quota."""
    try:
        folder = made_folder(settings, base)
    except (OSError, ValueError) as cause:
        yield raised("disk", cause)
        return
    assert settings.store is not None
    disk = os.statvfs(folder)
    free = disk.f_bavail * disk.f_frsize
    file = folder / FILE_NAME
    used = file.stat().st_size if file.exists() else 0
    quota = settings.store.quota_mb * 1_000_000
    found = f"{folder} can be written; {free // 1_000_000} MB free for a quota of {quota:,} bytes"
    if free + used < quota:
        yield fault("disk", found, "make room, or lower store.quota_mb", Exit.OUT_OF_REACH)
        return
    yield Finding("disk", found)
