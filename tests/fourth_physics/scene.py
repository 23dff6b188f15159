"""From currents on a stage to a labelled recording."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from edge.samples import ChannelKind, SignalDescription
from tests.families.labelled import (
    MISSING_CODE,
    Bools,
    Codes,
    Floats,
    Kind,
    Labelled,
    Marks,
    Recording,
    Surface,
    Truth,
)
from tests.fourth_physics import sensor
from tests.fourth_physics.stage import Stage
from tests.fourth_physics.truth import PRESENT_C, Evidence, labels, unlikeness

START_UTC_NS = 1_790_000_000_000_000_000
FULLS_MA = (5.0, 10.0, 25.0, 50.0, 100.0, 250.0, 1000.0)
"""Ranges a fitter could choose from (design choice)."""

HEADROOM = 1.3
"""He chooses the smallest that holds so many times the 99.9th percentile (design choice)."""

WET_CREST_MA = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class Parts:
    """Currents at the insulator on the fine samples [mA], and what befalls the record.

    standing: what the bare, dry surface carries. film: resistive. arc. other: everything else.
    spiky: half-cycles with corona, or None. lead_off_at, dead_at: share of the recording from which
    the lead is open, the channel stuck (2: never). lost: mean number of absent samples a second.
    gaps: how many.
    """

    standing: Floats
    film: Floats
    arc: Floats
    other: Floats
    spiky: Bools | None = None
    lead_off_at: float = 2.0
    dead_at: float = 2.0
    lost: float = 0.0
    gaps: int = 0

    def total(self) -> Floats:
        """All that flows to earth [mA]."""
        return self.standing + self.film + self.arc + self.other


def labelled(
    name: str, kind: Kind, seed: int, stage: Stage, parts: Parts, rng: np.random.Generator
) -> Labelled:
    """The recording and its truth."""
    setting = stage.setting
    dry = _dry_phasor(stage, parts)
    wanted = sensor.passed(stage, parts.total() * (stage.t_s < parts.lead_off_at * setting.seconds))
    fulls = setting.full_ma or _range_for(wanted, setting.bits)
    codes, channels = _columns(stage, parts, wanted, fulls, rng)
    missing, gaps = _losses(parts, codes, setting.rate_hz, rng)
    recording = Recording(
        SignalDescription(float(setting.rate_hz), float(setting.nominal_hz), channels),
        codes,
        START_UTC_NS,
        tuple(range(len(fulls))),
        len(fulls) if setting.reference else None,
        dry if setting.known else None,
        missing,
        gaps,
    )
    absent = np.zeros(len(codes), dtype=bool)
    if missing is not None:
        absent |= missing.any(axis=1)
    for first, end in gaps:
        absent[first:end] = True
    coarse = codes[:, len(fulls) - 1].astype(np.int64)
    full = np.abs(coarse) >= sensor.full_code(setting.bits)
    full &= ~absent
    return Labelled(name, kind, seed, recording, _truth(stage, parts, fulls, (absent, full), dry))


def _dry_phasor(stage: Stage, parts: Parts) -> complex:
    """R.m.s. fundamental of the standing current as delivered, against the delivered voltage."""
    setting = stage.setting
    until = min(setting.swell_at, setting.trip_at, 1.0) * setting.seconds
    cycles = np.floor((stage.theta - stage.theta[0]) / (2 * np.pi))
    span = cycles < max(cycles[np.searchsorted(stage.t_s, until) - 1], 1)
    mean = np.mean(parts.standing[span] * np.exp(-1j * stage.theta[span]))
    seen = sensor.volts_response(stage) if setting.reference else 1.0
    phasor = complex(np.sqrt(2) * 1j * mean) * sensor.response(stage) / seen
    return -phasor if setting.reversed else phasor


def _range_for(wanted: Floats, bits: int) -> tuple[float, ...]:
    """The range that fits; a coarse converter gets a fine one beside it."""
    need = HEADROOM * float(np.percentile(np.abs(wanted), 99.9))
    full = next((full for full in FULLS_MA if full >= need), FULLS_MA[-1])
    return (5.0, full) if bits < 13 and full > 10 else (full,)


def _columns(
    stage: Stage,
    parts: Parts,
    wanted: Floats,
    fulls: tuple[float, ...],
    rng: np.random.Generator,
) -> tuple[Codes, tuple[sensor.Channel, ...]]:
    """Codes of all channels, current ranges first, and how they are declared."""
    setting = stage.setting
    sense = -1.0 if setting.reversed else 1.0
    dead = stage.t_s[stage.preroll :: stage.factor] >= parts.dead_at * setting.seconds
    columns, channels = [], []
    for number, full in enumerate(fulls):
        wave = sense * wanted + sensor.noise(stage, rng)
        codes, gain = sensor.coded(wave, full, setting.bits)
        codes[dead] = 0
        columns.append(codes)
        name = f"leakage {number + 1}"
        channels.append(sensor.channel(name, ChannelKind.CURRENT, "A", gain, setting.bits))
    if setting.reference:
        bits = max(setting.bits, 12)
        seen = sensor.volts_seen(stage, rng)
        codes, gain = sensor.coded(seen, 2.2 * setting.crest_kv, bits)
        columns.append(codes)
        phase = "B" if setting.reference_shift_rad else "A"
        channels.append(sensor.channel("voltage", ChannelKind.VOLTAGE, phase, gain, bits))
    return np.stack(columns, axis=1), tuple(channels)


def _losses(
    parts: Parts, codes: Codes, rate_hz: int, rng: np.random.Generator
) -> tuple[Bools | None, tuple[tuple[int, int], ...]]:
    """Absent samples (their codes are overwritten) and gaps of 2 to 300 ms."""
    count = len(codes)
    missing = None
    if parts.lost:
        missing = np.zeros(codes.shape, dtype=bool)
        many = rng.poisson(parts.lost * count / rate_hz)
        for at in rng.integers(0, count, many):
            missing[at : at + rng.integers(1, 5)] = True
        codes[missing] = MISSING_CODE
    cuts = []
    for slot in range(parts.gaps):
        width = int(rng.uniform(0.002, min(0.3, 0.5 * count / rate_hz / parts.gaps)) * rate_hz)
        low = slot * count // parts.gaps
        high = (slot + 1) * count // parts.gaps - width - 2
        first = int(rng.integers(low + 1, high))
        cuts.append((first, first + width))
    return missing, tuple(cuts)


def _surface(stage: Stage, parts: Parts, film_peak_ma: Floats) -> Marks:
    """`Surface` of each half-cycle; those in which it changes are not scored."""
    setting, edges = stage.setting, stage.edges_s / stage.setting.seconds
    wet = film_peak_ma > WET_CREST_MA
    surface = np.where(wet, Surface.WET, Surface.DRY).astype(np.int8)
    if setting.swell != 1:
        raised = edges[:-1] >= setting.swell_at
        surface[raised & wet] = Surface.ABNORMAL_WET
        surface[raised & ~wet] = Surface.ABNORMAL_DRY
    changes = (
        (setting.swell_at, None),
        (setting.trip_at, Surface.DEAD_LINE),
        (parts.lead_off_at, Surface.OPEN_LEAD),
        (parts.dead_at, Surface.DEAD_SENSOR),
    )
    cycle = 2 / setting.nominal_hz / setting.seconds
    for at, after in changes:
        if after is not None:
            surface[edges[:-1] >= at] = after
        surface[(edges[1:] > at) & (edges[:-1] < at + cycle)] = Surface.UNSCORED
    return surface


def _evidence(
    stage: Stage,
    parts: Parts,
    fulls: tuple[float, ...],
    torn: Bools,
) -> Evidence:
    """What the rule of truth looks at."""
    setting, count, pick = stage.setting, stage.halves, slice(stage.preroll, None, stage.factor)
    lag = round(-float(np.angle(sensor.response(stage))) / stage.omega * setting.rate_hz)
    home = stage.half[pick]
    home = np.concatenate([np.full(max(lag, 0), home[0]), home])[: len(home)]
    arc, volts = sensor.passed(stage, parts.arc), sensor.passed(stage, stage.volts)
    everything = np.zeros(count)
    np.maximum.at(everything, home, np.abs(sensor.passed(stage, parts.total())))
    crest = np.zeros(count)
    np.maximum.at(crest, home, np.abs(arc))
    top = sensor.full_code(setting.bits)
    step = np.full(count, fulls[-1] / top)
    for full in reversed(fulls[:-1]):
        step[everything < 0.95 * full] = full / top
    noise = np.sqrt(setting.noise_ma**2 + setting.pickup_ma**2 + step**2 / 12)
    samples = np.maximum(stage.by_half(np.ones(len(stage.t_s))), 1)
    power = np.mean((stage.volts - stage.pure) ** 2) / max(float(np.mean(stage.pure**2)), 1e-12)
    return Evidence(
        stage.by_half(np.abs(parts.arc)) / stage.fine_hz / 1e3,
        stage.by_half(np.abs(parts.total())) / stage.fine_hz / 1e3,
        crest,
        unlikeness(arc, volts, home, count),
        noise,
        np.sqrt(stage.by_half(parts.film**2) / samples),
        torn,
        np.zeros(count, dtype=bool) if parts.spiky is None else parts.spiky,
        float(np.sqrt(power)),
        setting.reference,
    )


def _truth(
    stage: Stage,
    parts: Parts,
    fulls: tuple[float, ...],
    marks: tuple[Bools, Bools],
    dry: complex,
) -> Truth:
    """The truth about all half-cycles of which any sample was recorded."""
    setting, count = stage.setting, stage.halves
    home = stage.half[stage.preroll :: stage.factor]
    lost, clipped = (np.bincount(home, mark, count)[:count] > 0 for mark in marks)
    cut = (stage.edges_s[:-1] < 0) | (stage.edges_s[1:] > setting.seconds)
    evidence = _evidence(stage, parts, fulls, lost | cut)
    weight = np.abs(parts.arc)
    middle = (stage.edges_s[:-1] + stage.edges_s[1:]) / 2
    arc = stage.by_half(weight)
    pulled = stage.by_half(weight * stage.t_s) / np.maximum(arc, 1e-12)
    centre = np.where(evidence.arc_c >= PRESENT_C, pulled, middle)
    signs = stage.sign[np.searchsorted(stage.half, np.arange(count))]
    film_peak = stage.crest_by_half(parts.film)
    kept = slice(int(np.flatnonzero(stage.edges_s > 0)[0]) - 1, None)
    rate = setting.rate_hz
    return Truth(
        stage.edges_s[kept] * rate,
        labels(evidence)[kept],
        _surface(stage, parts, film_peak)[kept],
        (signs * (-1 if setting.reversed else 1)).astype(np.int8)[kept],
        evidence.charge_c[kept],
        evidence.arc_c[kept],
        centre[kept] * rate,
        film_peak[kept],
        clipped[kept],
        lost[kept],
        dry,
    )
