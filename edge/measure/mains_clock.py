"""The one mains clock of a unit: where each mains cycle begins, in samples.

The fundamental of the reference channel is demodulated in blocks of two cycles (Hann weighted, one
cycle apart). Its phase, smoothed, says where the cycles begin. With a voltage the clock is locked
to its rising zero. With a current only the frequency is used, never the phase: as the surface wets,
the current turns by 90 degrees against the voltage.

A clock is anchored at a segment's first sample and knows nothing from before. All positions are in
samples from there, as floats; sample k covers [k - 1/2, k + 1/2). Every block is reduced by itself
and every sum runs in a fixed order, so the positions do not depend on how the input was cut.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]
Bools = npt.NDArray[np.bool_]

ANCHOR_S = 0.5
"""Signal from which frequency and reference are first found; less where a segment is shorter."""

LOCK_COHERENCE_MIN = 0.8
"""Below this share of coherent power a channel carries no mains frequency."""

FREQUENCY_OFF_RATIO_MAX = 0.1
"""A fundamental further than this from nominal is not the mains."""

ROUNDING_RATIO = 1e-9
"""A fundamental below this share of the highest sample is what rounding leaves of a constant."""

VANISHED_RATIO = 0.25
"""A phasor below this share of the anchor's is not followed; the clock coasts."""

SMOOTH_BLOCKS = 1
"""Blocks on either side over which a locked phase is averaged; this is the clock's look-ahead."""

FREQUENCY_BLOCKS = 100
"""Blocks (about 2 s) over which the frequency of a current is averaged."""

FIRST_BLOCKS = 20
"""Blocks at the start of a segment that share one first frequency of a current."""

FREQUENCY_HELD_BLOCKS = 10
"""Blocks for which one frequency of a current is held."""

TREND_BLOCKS = 50
"""From so many blocks on a drift of the frequency is followed ahead of their mean."""

STEP_CLIP_MAD = 3.0
"""Phase steps further from the median than so many median deviations are the surface's."""


@dataclass(frozen=True, slots=True, eq=False)
class Clock:
    """State of the clock within one segment.

    hop: samples between blocks. block_hz: demodulation frequency [Hz]. locked: the phase of a
    voltage is followed. found: there is a mains frequency at all. level: amplitude at the anchor.
    raw_from, raw: index of the first kept block, unwrapped phases against the demodulation [rad].
    track_from, track: the same for the phases that are final. zero: number of the rising zero of
    the reference with which cycle 0 begins.
    """

    rate_hz: float
    block_hz: float
    hop: int
    locked: bool
    found: bool
    level: float
    raw_from: int = 0
    raw: Floats = field(default_factory=lambda: np.zeros(0))
    track_from: int = 0
    track: Floats = field(default_factory=lambda: np.zeros(0))
    zero: int = 0

    @property
    def next_block(self) -> int:
        """Index of the first block not yet taken in."""
        return self.raw_from + len(self.raw)

    @property
    def next_track(self) -> int:
        """Index of the first block whose phase is not final."""
        return self.track_from + len(self.track)


def phasors(reference: Floats, first_block: int, hop: int, hz: float, rate_hz: float) -> Complexes:
    """Fundamental of each whole two-cycle block: peak amplitude, and phase as of sample 0.

    reference: samples from position first_block * hop on. The phase of sin(2 pi hz t) is 0.
    """
    blocks = (len(reference) - 2 * hop) // hop + 1
    if blocks <= 0:
        return np.zeros(0, np.complex128)
    view = np.lib.stride_tricks.sliding_window_view(reference, 2 * hop)[::hop][:blocks]
    at = np.arange(2 * hop)
    hann = 1.0 - np.cos(2 * np.pi * (at + 0.5) / (2 * hop))
    turn = 2 * np.pi * hz / rate_hz
    cosine = np.add.reduce(view * (hann * np.cos(turn * at)), axis=1)
    sine = np.add.reduce(view * (hann * np.sin(turn * at)), axis=1)
    starts = (first_block + np.arange(blocks)) * hop
    spin = np.exp(-1j * np.remainder(turn * starts, 2 * np.pi))
    return np.asarray((sine + 1j * cosine) * spin / hop, np.complex128)


def coherence(found: Complexes) -> tuple[float, float]:
    """(share of coherent power, mean turn a block [rad]) of consecutive phasors."""
    products = found[1:] * np.conj(found[:-1])
    total = float(np.sum(np.abs(products)))
    if not np.isfinite(total) or total <= 0.0:
        return 0.0, 0.0
    summed = complex(np.sum(products))
    return abs(summed) / total, float(np.angle(summed))


def anchored(reference: Floats, rate_hz: float, nominal_hz: float, locked: bool) -> Clock:
    """A clock from the first samples of a segment; `found` is False where there is no mains.

    The fundamental is found against the nominal frequency first, then once more against itself.
    """
    hz = float(nominal_hz)
    level = 0.0
    for _ in range(2):
        hop = round(rate_hz / hz)
        seen = phasors(reference, 0, hop, hz, rate_hz)
        share, turn = coherence(seen)
        hz += turn / (2 * np.pi) * rate_hz / hop
        off = abs(hz - nominal_hz) / nominal_hz
        if share < LOCK_COHERENCE_MIN or off > FREQUENCY_OFF_RATIO_MAX:
            return coasting(rate_hz, nominal_hz)
        level = float(np.median(np.abs(seen)))
    if level < ROUNDING_RATIO * float(np.max(np.abs(reference))):
        return coasting(rate_hz, nominal_hz)
    return Clock(rate_hz, hz, round(rate_hz / hz), locked, True, level)


def coasting(rate_hz: float, nominal_hz: float) -> Clock:
    """A clock without mains: cycles of nominal length from the segment's first sample on."""
    return Clock(rate_hz, float(nominal_hz), round(rate_hz / nominal_hz), False, False, 0.0)


def extended(clock: Clock, reference: Floats, ended: bool) -> Clock:
    """The clock with every further whole block of `reference` taken in.

    reference: samples from position next_block * hop on. ended: the segment ends with them, so
    that the last phases are final with what there is.
    """
    fresh = phasors(reference, clock.next_block, clock.hop, clock.block_hz, clock.rate_hz)
    raw = np.concatenate([clock.raw, _unwrapped(clock, fresh)])
    clock = replace(clock, raw=raw)
    final = _locked_track(clock, ended) if clock.locked else _free_track(clock, ended)
    if clock.next_track == 0 and len(final) and clock.locked:
        clock = replace(clock, zero=_first_zero(clock, float(final[0])))
    clock = replace(clock, track=np.concatenate([clock.track, final]))
    return _trimmed(clock)


def _first_zero(clock: Clock, first_phase: float) -> int:
    """Number of the first rising zero within half a sample of the segment's start, or after."""
    turn = 2 * np.pi * clock.block_hz / clock.rate_hz
    return math.ceil((first_phase - turn / 2) / (2 * np.pi))


def _unwrapped(clock: Clock, fresh: Complexes) -> Floats:
    if len(fresh) == 0:
        return np.zeros(0)
    if not clock.found:
        return np.zeros(len(fresh))
    followed = np.abs(fresh) > VANISHED_RATIO * clock.level
    angles = np.angle(fresh)
    before = clock.raw[-1] if len(clock.raw) else _first_angle(clock, angles, followed)
    # a phase that is not followed stays where it was: the clock coasts at block_hz
    phases = np.empty(len(fresh))
    for index, (angle, follow) in enumerate(zip(angles.tolist(), followed.tolist(), strict=True)):
        if follow:
            step = (angle - before + np.pi) % (2 * np.pi) - np.pi
            before = before + step
        phases[index] = before
    return phases


def _first_angle(clock: Clock, angles: Floats, followed: Bools) -> float:
    """The first phase within the anchor that is followed; missing samples leave none."""
    within = np.flatnonzero(followed[: round(clock.rate_hz * ANCHOR_S / clock.hop)])
    return float(angles[within[0]]) if len(within) else 0.0


def _locked_track(clock: Clock, ended: bool) -> Floats:
    """Moving average over SMOOTH_BLOCKS on either side, fewer at the segment's ends."""
    first, last = clock.next_track, clock.next_block
    stop = last if ended else last - SMOOTH_BLOCKS
    if stop <= first:
        return np.zeros(0)
    at = np.arange(first, stop)
    room = np.minimum(at, (last - 1 - at) if ended else SMOOTH_BLOCKS)
    reach = np.minimum(SMOOTH_BLOCKS, room)
    summed = np.zeros(len(at))
    for offset in range(-SMOOTH_BLOCKS, SMOOTH_BLOCKS + 1):
        inside = np.abs(offset) <= reach
        summed[inside] += clock.raw[at[inside] + offset - clock.raw_from]
    return np.asarray(summed / (2 * reach + 1), np.float64)


def _free_track(clock: Clock, ended: bool) -> Floats:
    """Phases from the frequency alone: the clipped trend of the phase steps before each block."""
    first, last = clock.next_track, clock.next_block
    if last < FIRST_BLOCKS and not ended:
        return np.zeros(0)
    found = np.empty(max(0, last - first))
    before = float(clock.track[-1]) if len(clock.track) else 0.0
    held = None
    for index, block in enumerate(range(first, last)):
        group = block - block % FREQUENCY_HELD_BLOCKS
        if held is None or block == group:
            held = _clipped_step(clock, group)
        before = before + held if block else before
        found[index] = before
    return found


def _clipped_step(clock: Clock, block: int) -> float:
    stop = min(max(block, FIRST_BLOCKS - 1), clock.next_block - 1)
    start = max(0, stop - FREQUENCY_BLOCKS)
    phases = clock.raw[start - clock.raw_from : stop + 1 - clock.raw_from]
    steps = np.asarray(np.diff(phases), np.float64)
    if len(steps) == 0:
        return 0.0
    # what the steps scatter by about their trend, so that a drift is no outlier
    at = np.arange(len(steps)) - (len(steps) - 1) / 2
    middle, trend = _line(at, steps)
    rest = np.asarray(steps - middle - trend * at, np.float64)
    reach = STEP_CLIP_MAD * float(np.median(np.abs(rest - np.median(rest))))
    centre = float(np.median(rest))
    clipped = np.asarray(np.clip(rest, centre - reach, centre + reach), np.float64)
    more, bend = _line(at, clipped)
    ahead = float(at[-1]) + FREQUENCY_HELD_BLOCKS / 2 if block >= TREND_BLOCKS else 0.0
    return middle + more + (trend + bend) * ahead


def _line(at: npt.NDArray[np.floating[Any]], steps: Floats) -> tuple[float, float]:
    """(mean, slope) of the least-squares line; `at` is centred."""
    square = float(np.add.reduce(at * at))
    slope = float(np.add.reduce(at * steps)) / square if square > 0 else 0.0
    return float(np.add.reduce(steps)) / len(steps), slope


def _trimmed(clock: Clock) -> Clock:
    """Without what no later block needs: the raw phases further back than a frequency looks."""
    keep = clock.next_track - FREQUENCY_BLOCKS - FREQUENCY_HELD_BLOCKS - SMOOTH_BLOCKS - 2
    drop = max(0, keep - clock.raw_from)
    return replace(clock, raw_from=clock.raw_from + drop, raw=clock.raw[drop:])


def track_trimmed(clock: Clock, position: float) -> Clock:
    """Without the final phases of blocks more than two before `position`."""
    keep = int(position // clock.hop) - 3
    drop = min(max(0, keep - clock.track_from), max(0, len(clock.track) - 2))
    return replace(clock, track_from=clock.track_from + drop, track=clock.track[drop:])


def cycle_positions(clock: Clock, first_cycle: float, count: int, stride: float) -> Floats:
    """Positions at which `count` cycles begin: `first_cycle` and every `stride` cycles after it.

    Cycle 0 begins at the first rising zero at or after the segment's first sample (to within half
    a sample). Only positions up to `final_position` will never change.
    """
    centres = (clock.track_from + np.arange(len(clock.track)) + 1) * clock.hop - 0.5
    turn = 2 * np.pi * clock.block_hz / clock.rate_hz
    wanted = (first_cycle + clock.zero + np.arange(count) * stride) * 2 * np.pi
    if len(clock.track) == 0:
        return np.asarray(wanted / turn, np.float64)
    angles = turn * centres + clock.track
    inside = np.interp(wanted, angles, centres)
    early = centres[0] + (wanted - angles[0]) / turn
    late = centres[-1] + (wanted - angles[-1]) / _last_turn(clock, turn)
    chosen = np.where(wanted < angles[0], early, np.where(wanted > angles[-1], late, inside))
    return np.asarray(chosen, np.float64)


def _last_turn(clock: Clock, turn: float) -> float:
    if len(clock.track) < 2:
        return turn
    return turn + float(clock.track[-1] - clock.track[-2]) / clock.hop


def final_position(clock: Clock) -> float:
    """Position up to which cycle positions are final."""
    if len(clock.track) == 0:
        return -1.0
    return float(clock.next_track * clock.hop) - 0.5
