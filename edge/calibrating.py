"""`seafret-edge calibrate`: the dry phasor proposed from dry hours, as settings to paste.

It changes nothing by itself: a calibration is a dated entry of the settings that a person adds. It
proposes none where the surface is not dry, for a dry phasor taken from a wet surface would hide
every later wetting. Limits are design choices.
"""

from __future__ import annotations

import argparse
import cmath
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from math import degrees

import numpy as np

from edge.clock import read_clock
from edge.daemon.faults import NotDry, SourceSilent
from edge.daemon.looking import Look, look, opened
from edge.daemon.running import read_settings
from edge.faults import Exit
from edge.measure.flags import flag_words
from edge.measure.plan import Calibration
from edge.measure.windows import ABSENT, WindowTable
from edge.quantities import STATES, Flag, State
from edge.settings import measure_plan

WINDOWS_MIN = 25
"""Fewer windows (five seconds) say nothing of the spread."""

LEADING_DEG = (55.0, 125.0)
"""A capacitive current leads by 90 degrees, tilted by neighbouring phases; outside of this a
resistive current flows."""

SPREAD_RATIO_MAX = 0.1
SPREAD_MA_MIN = 0.005
"""A spread above this share of the phasor, or above the second where that is more, is no steady
capacitance."""

RH_CPCT_MAX = 7_500
"""Where the humidity is measured, it must be below this."""

BAD_FLAGS = (
    *(Flag.SENSOR_FAULT, Flag.SATURATED, Flag.NO_FREQUENCY, Flag.MISSING),
    Flag.NOT_FINITE,
)

_ARCING = [STATES.index(state) for state in (State.ARCING_SPARSE, State.ARCING_DENSE)]


@dataclass(frozen=True, slots=True)
class Phasor:
    """dry_ma: r.m.s. dry_deg: leading the voltage. spread_ma: r.m.s. of the windows about it."""

    dry_ma: float
    dry_deg: float
    spread_ma: float
    windows: int


def calibrate(arguments: argparse.Namespace) -> int:
    """Prints proposals; refusals go to standard error, and all of them refused is a fault."""
    settings, clock = read_settings(arguments.settings), read_clock(arguments.clock)
    source = opened(settings, arguments.settings.parent, clock, arguments.recording)
    seconds = None if arguments.recording is not None else arguments.seconds
    try:
        seen = look(settings, source, clock.utc_us(), seconds)
    finally:
        source.close()
    if not seen.windows:
        raise SourceSilent(f"nothing to calibrate from: {seen.end}")
    plan = measure_plan(settings, source.description, source.flags)
    refused: list[str] = []
    for insulator in plan.insulators:
        table = seen.windows.get(insulator.id)
        objection = "no windows" if table is None else objection_to(table, seen.readings)
        if table is None or objection:
            refused.append(f"insulator {insulator.id}: {objection}: no dry phasor can be taken")
        else:
            before = insulator.calibration_at(seen.start_us)
            print(proposal(insulator.id, phasor_of(table), before, seen))
    if len(refused) == len(plan.insulators):
        raise NotDry("\n".join([*refused, "come back in dry hours"]))
    for line in refused:
        print(line, file=sys.stderr)
    return Exit.FOUND if refused else Exit.FINE


def phasor_of(table: WindowTable) -> Phasor:
    """Mean and spread of the windows' fundamentals against the voltage."""
    whole = table.in_phase_na != ABSENT
    current_ma = (table.in_phase_na[whole] + 1j * table.quadrature_na[whole]) / 1e6
    mean_ma = complex(current_ma.mean())
    spread_ma = float(np.sqrt(np.mean(np.abs(current_ma - mean_ma) ** 2)))
    return Phasor(abs(mean_ma), degrees(cmath.phase(mean_ma)), spread_ma, int(whole.sum()))


def objection_to(table: WindowTable, readings: Mapping[str, int]) -> str:
    """Why these windows are of no dry surface, in words; "" where they are."""
    flags = {word for bits in set(table.flags.tolist()) for word in flag_words(bits)}
    humid = readings.get("rh_cpct")
    if bad := [flag.value for flag in BAD_FLAGS if flag.value in flags]:
        return f"the windows are flagged {', '.join(bad)}"
    if int((table.in_phase_na != ABSENT).sum()) < WINDOWS_MIN:
        return f"fewer than {WINDOWS_MIN} windows with a voltage to compare with"
    if np.isin(table.state, _ARCING).any() or table.doubtful_halfcycles.any():
        return "it arcs, or may arc"
    if humid is not None and humid > RH_CPCT_MAX:
        return f"the air has {humid / 100:.0f} % humidity; at most {RH_CPCT_MAX / 100:.0f} % is dry"
    found = phasor_of(table)
    low, high = LEADING_DEG
    if not low <= found.dry_deg <= high:
        return f"the current leads by {found.dry_deg:.1f} deg; dry is {low:g} to {high:g}"
    most_ma = max(SPREAD_MA_MIN, SPREAD_RATIO_MAX * found.dry_ma)
    if found.spread_ma > most_ma:
        return f"it wanders by {found.spread_ma:.4f} mA; steady is up to {most_ma:.4f}"
    return ""


def proposal(name: str, found: Phasor, before: Calibration, seen: Look) -> str:
    """The entry to add to the settings under the insulator, with the evidence as a comment."""
    at = datetime.fromtimestamp(seen.start_us // 1_000_000, UTC)
    humid = seen.readings.get("rh_cpct")
    air = "humidity not measured" if humid is None else f"humidity {humid / 100:.1f} %"
    lines = [
        f"# insulator {name}: {found.windows} windows from {at:%Y-%m-%d %H:%M:%S} UTC, {air}",
        "[[insulator.calibrations]]",
        f'id = "dry-{at:%Y%m%dT%H%M%SZ}"',
        f"valid_from = {at:%Y-%m-%dT%H:%M:%SZ}",
        f"gain = {before.gain!r}",
        f"offset_ma = {before.offset_ma!r}",
        f"lag_deg = {before.lag_deg!r}",
        f"dry_ma = {found.dry_ma:.6f}",
        f"dry_deg = {found.dry_deg:.3f}",
        f"dry_spread_ma = {found.spread_ma:.6f}",
    ]
    return "\n".join(lines) + "\n"
