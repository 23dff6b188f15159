"""From currents on the inner grid to a labelled recording.

A family composes a `Take`: what flows over the insulator, through which sensors it is seen, and
what is wrong with the record. `finish` turns it into samples and truth; nothing else writes truth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edge.samples import Channel, ChannelKind, SignalDescription
from tests.families.labelled import (
    MISSING_CODE,
    Bools,
    Codes,
    Floats,
    Kind,
    Label,
    Labelled,
    Marks,
    Recording,
    Surface,
    Truth,
)
from tests.families.mains import Mains, distortion, make_mains
from tests.families.sensor import Sensor, converted, filtered

LEAST_DETECTABLE = 8.0
"""An arc whose whole energy, halved for the sensor's low-pass, stands less than this many noise
deviations out of the noise is doubtful by physics: even its known shape could hardly be found."""

LEAST_BURNING_S = 0.6e-3
"""A shorter arc looks like a spike once a low-pass of 1 kHz has seen it: doubtful by physics."""

START_UTC_NS = 1_767_225_600_000_000_000
"""2026-01-01T00:00:00Z; each recording starts within the twenty minutes after it."""

CREST_KV = (9.0, 18.0, 27.0)
"""Crests of the phase-to-earth voltages of 11, 22 and 33 kV lines [kV], rounded."""


@dataclass(frozen=True, slots=True)
class Stage:
    """What a family is given: where randomness comes from, and the conditions of the recording."""

    rng: np.random.Generator
    rate_hz: float
    nominal_hz: float
    with_voltage: bool
    seconds: float

    def supply(self, distorted: float = 0.03, drift_hz: float | None = None) -> Mains:
        """A supply with up to `distorted` total distortion; it drifts in half of the recordings."""
        rng = self.rng
        drift = float(rng.choice([0.0, rng.uniform(0.05, 0.3)])) if drift_hz is None else drift_hz
        harmonics = distortion(rng, rng.uniform(0.2, 1.0) * distorted) if distorted > 0 else ()
        return make_mains(rng, self.rate_hz, self.nominal_hz, self.seconds, harmonics, drift)


@dataclass(frozen=True, slots=True, eq=False)
class Take:
    """One recording before it is sampled.

    quiet_ma: every current but the arcs' [mA], inner grid; film_peak_ma: crest of the film current
    in it, one a half-cycle; dry_ma: complex crest of the capacitive fundamental (real: in phase).
    arcs_ma: the arc branch, inner grid. sensors: finest range first. surface: one a half-cycle.
    spiky: half-cycles with corona spikes to be seen. reference: voltage as delivered, to the crest,
    inner grid. beyond: half-cycles that nobody is asked about (flashover). calibrated: whether the
    dry phasor is known; missing: samples marked absent; gaps: rows lost.
    """

    mains: Mains
    quiet_ma: Floats
    film_peak_ma: Floats
    dry_ma: complex
    sensors: tuple[Sensor, ...]
    arcs_ma: Floats | None = None
    surface: Marks | None = None
    spiky: Bools | None = None
    reference: Floats | None = None
    beyond: Bools | None = None
    calibrated: bool = True
    missing: Bools | None = None
    gaps: tuple[tuple[int, int], ...] = ()


def finish(family: str, kind: Kind, seed: int, stage: Stage, take: Take) -> Labelled:
    """Samples and truth of a take."""
    mains, rng = take.mains, stage.rng
    total = take.quiet_ma if take.arcs_ma is None else take.quiet_ma + take.arcs_ma
    pairs = [converted(rng, sensor, filtered(mains, sensor, total)) for sensor in take.sensors]
    columns = [codes for codes, _ in pairs]
    channels = _current_channels(take.sensors)
    if stage.with_voltage:
        codes, channel = _voltage_column(rng, take)
        columns.append(codes)
        channels.append(channel)
    samples, missing = np.stack(columns, axis=1), None
    if take.missing is not None:
        missing = np.repeat(take.missing[:, None], samples.shape[1], axis=1)
        samples[missing] = MISSING_CODE
    recording = Recording(
        SignalDescription(stage.rate_hz, stage.nominal_hz, tuple(channels)),
        samples,
        START_UTC_NS + int(rng.integers(0, 1_200_000)) * 1_000_000,
        tuple(range(len(take.sensors))),
        len(take.sensors) if stage.with_voltage else None,
        take.dry_ma / np.sqrt(2) if take.calibrated else None,
        missing,
        take.gaps,
    )
    return Labelled(family, kind, seed, recording, _truth(take, total, pairs[-1][1]))


def _current_channels(sensors: tuple[Sensor, ...]) -> list[Channel]:
    names = ["I1"] if len(sensors) == 1 else ["I1-fine", "I1-coarse"]
    return [
        Channel(
            name,
            ChannelKind.CURRENT,
            "A",
            sensor.step_ma,
            0.0,
            float(-sensor.end_code),
            float(sensor.end_code),
        )
        for name, sensor in zip(names, sensors, strict=True)
    ]


def _voltage_column(rng: np.random.Generator, take: Take) -> tuple[Codes, Channel]:
    """The divider: wide band, 12 to 16 bits over 2.5 times the crest, a little noise."""
    mains, crest_kv = take.mains, float(rng.choice(CREST_KV))
    wave = mains.voltage if take.reference is None else take.reference
    kept = wave[mains.lead : mains.lead + mains.count * mains.step : mains.step]
    end = 2 ** (int(rng.integers(12, 17)) - 1) - 1
    gain = 2.5 * crest_kv / end
    noisy = kept + rng.standard_normal(len(kept), dtype=np.float32) * rng.uniform(2e-4, 2e-3)
    codes = np.clip(np.rint(noisy * (crest_kv / gain)), -end, end).astype(np.int16)
    return codes, Channel("U1", ChannelKind.VOLTAGE, "A", gain, 0.0, -float(end), float(end))


def per_halfcycle(mains: Mains, wave: Floats) -> Floats:
    """Integral of |wave| over each half-cycle [unit of the wave times s]."""
    running = np.empty(len(wave) + 1)
    running[0] = 0.0
    np.cumsum(np.abs(wave), out=running[1:])
    at = mains.boundaries * mains.step + mains.lead + 0.5
    whole = np.clip(np.floor(at).astype(np.int64), 0, len(wave) - 1)
    until = running[whole] + (at - whole) * (running[whole + 1] - running[whole])
    return np.diff(until) / mains.inner_hz


def _arc_times(take: Take) -> tuple[Floats, Floats, Floats]:
    """Burning time [s], centre of the charge [samples] and energy [mA^2 s] of each half-cycle."""
    mains = take.mains
    middle = (mains.boundaries[:-1] + mains.boundaries[1:]) / 2
    if take.arcs_ma is None:
        return np.zeros(len(middle)), middle, np.zeros(len(middle))
    size = np.abs(take.arcs_ma)
    burning = per_halfcycle(mains, (size > 0).astype(np.float64))
    energy = per_halfcycle(mains, size * size)
    charge = per_halfcycle(mains, size)
    at = (np.arange(len(size)) - mains.lead) / mains.step
    moment = per_halfcycle(mains, size * np.maximum(at, 0.0))
    centre = np.where(charge > 0, moment / np.maximum(charge, 1e-30), middle)
    return burning, np.clip(centre, mains.boundaries[:-1], mains.boundaries[1:]), energy


def _truth(take: Take, total: Floats, clipped_rows: Bools) -> Truth:
    mains, edges = take.mains, take.mains.boundaries
    burning, centre, energy = _arc_times(take)
    noise_ma = take.sensors[0].sigma_ma
    detectable = np.sqrt(0.5 * energy * mains.rate_hz) / noise_ma
    arcing = burning > 0.5 / mains.inner_hz
    lost = _touched(edges, take.missing, take.gaps, mains.count)
    doubt = (detectable < LEAST_DETECTABLE) | (burning < LEAST_BURNING_S) | lost
    doubt |= (edges[:-1] < 0) | (edges[1:] > mains.count)
    label = np.full(len(edges) - 1, Label.HARMLESS, dtype=np.int8)
    if take.spiky is not None:
        label[take.spiky] = Label.CORONA_SPIKE
    label[arcing] = Label.ARCING
    label[arcing & doubt] = Label.DOUBTFUL
    if take.beyond is not None:
        label[take.beyond] = Label.DOUBTFUL
    arc_ms = np.zeros(len(label)) if take.arcs_ma is None else per_halfcycle(mains, take.arcs_ma)
    surface = take.surface if take.surface is not None else surfaces(take.film_peak_ma)
    return Truth(
        edges,
        label,
        surface,
        (mains.signs * take.sensors[-1].sign).astype(np.int8),
        per_halfcycle(mains, total) / 1000,
        arc_ms / 1000,
        centre,
        take.film_peak_ma,
        _any_row(edges, clipped_rows),
        lost,
        take.dry_ma / np.sqrt(2),
    )


def surfaces(film_peak_ma: Floats) -> Marks:
    """Dry or wet of a sound sensor on a live line; the film's crest tells the limit cases."""
    wet = film_peak_ma > 0
    return np.where(wet, Surface.WET, Surface.DRY).astype(np.int8)


def _any_row(edges: Floats, marked: Bools) -> Bools:
    """Whether any marked row lies in each half-cycle."""
    running = np.concatenate([[0], np.cumsum(marked)])
    at = np.clip(np.ceil(edges).astype(np.int64), 0, len(marked))
    hit: npt.NDArray[np.bool_] = np.diff(running[at]) > 0
    return hit


def _touched(
    edges: Floats, missing: Bools | None, gaps: tuple[tuple[int, int], ...], count: int
) -> Bools:
    """Half-cycles of which samples are absent."""
    absent = np.zeros(count, dtype=bool) if missing is None else missing.copy()
    for first, end in gaps:
        absent[first:end] = True
    return _any_row(edges, absent)
