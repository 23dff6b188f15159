"""Signals of known shape, and what the measure makes of them.

Every wave is written as a function of the mains angle, so that a frequency may drift under it. The
ideal shapes have steps and kinks; `band_limited` rebuilds them from their Fourier coefficients,
which are found by dense quadrature and owe nothing to the code under test.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, fields
from datetime import datetime

import numpy as np
import numpy.typing as npt

from edge.measure import stepping
from edge.measure.plan import MeasurePlan, plan_from_description
from edge.measure.windows import ABSENT, WindowTable, joined
from edge.quantities import STATES
from edge.records import IntervalRow, Span
from edge.samples import (
    AnchorSource,
    Channel,
    ChannelKind,
    SampleBlock,
    SignalDescription,
    SourceItem,
    StreamEnd,
    TimeAnchor,
)

Floats = npt.NDArray[np.float64]
Wave = Callable[[Floats], Floats]

ANCHOR_UTC = "2026-03-07T21:10:00"
"""A ten-minute tick, so that a short signal stays in one segment."""

BAND_SHARE = 0.4
"""Share of the sampling rate below which a wave with steps is kept."""

QUADRATURE_POINTS = 1 << 16


@dataclass(frozen=True, slots=True, eq=False)
class Played:
    """What the measure gave: one table for each insulator, and all rows in order."""

    windows: dict[str, WindowTable]
    rows: tuple[IntervalRow, ...]

    @property
    def table(self) -> WindowTable:
        """Of the first insulator."""
        return next(iter(self.windows.values()))

    def minutes(self, insulator: str = "I1") -> list[IntervalRow]:
        return [r for r in self.rows if r.span is Span.MINUTE and r.insulator == insulator]


def describe(
    rate_hz: float = 10_000.0,
    nominal_hz: int = 50,
    currents: Sequence[str] = ("A",),
    voltages: Sequence[str] = ("A",),
) -> SignalDescription:
    """Channels I1, I2, ... in mA, then U1, ... in kV; each entry is the channel's phase."""
    named = [Channel(f"I{n}", ChannelKind.CURRENT, p) for n, p in enumerate(currents, 1)]
    named += [Channel(f"U{n}", ChannelKind.VOLTAGE, p) for n, p in enumerate(voltages, 1)]
    return SignalDescription(rate_hz, nominal_hz, tuple(named))


def anchor(
    utc: str = ANCHOR_UTC, counter: int = 0, *, synchronised: bool = True, error_ns: int = 1000
) -> TimeAnchor:
    """Sample `counter` was taken at `utc` (ISO, UTC)."""
    utc_ns = round(datetime.fromisoformat(f"{utc}+00:00").timestamp() * 1e6) * 1000
    return TimeAnchor(counter, utc_ns, error_ns, AnchorSource.GNSS, synchronised)


def angle(rate_hz: float, hz: float, duration_s: float, deg: float = 0.0) -> Floats:
    """Mains angle [rad] of every sample."""
    count = round(rate_hz * duration_s)
    return 2 * np.pi * hz * np.arange(count) / rate_hz + np.radians(deg)


def drifting(rate_hz: float, from_hz: float, to_hz: float, duration_s: float) -> Floats:
    """Mains angle [rad] while the frequency moves steadily from one to the other."""
    t = np.arange(round(rate_hz * duration_s)) / rate_hz
    return 2 * np.pi * (from_hz * t + (to_hz - from_hz) * t * t / (2 * duration_s))


def sine(theta: Floats) -> Floats:
    return np.sin(theta)


def dead_band(deg: float) -> Wave:
    """No current within `deg` of every zero, the sine elsewhere."""
    return lambda theta: np.where(
        np.abs(np.sin(theta)) >= np.sin(np.radians(deg)) - 1e-12, np.sin(theta), 0.0
    )


def delayed(deg: float) -> Wave:
    """Fires `deg` after every zero and follows the sine to the next."""
    return lambda theta: np.where(np.remainder(theta, np.pi) >= np.radians(deg), np.sin(theta), 0.0)


def threshold_gap(level: float) -> Wave:
    """What of the sine is beyond `level`."""
    return lambda theta: np.sign(np.sin(theta)) * np.maximum(np.abs(np.sin(theta)) - level, 0.0)


def clipped(level: float) -> Wave:
    return lambda theta: np.clip(np.sin(theta), -level, level)


def square(theta: Floats) -> Floats:
    return np.sign(np.sin(theta))


def triangle(theta: Floats) -> Floats:
    return np.arcsin(np.sin(theta)) * 2 / np.pi


def coefficients(wave: Wave, order_max: int) -> npt.NDArray[np.complex128]:
    """Complex amplitudes of the orders 0 to `order_max`, of sin(n theta) real; by quadrature."""
    theta = 2 * np.pi * (np.arange(QUADRATURE_POINTS) + 0.5) / QUADRATURE_POINTS
    lines = np.fft.fft(wave(theta))[: order_max + 1] / QUADRATURE_POINTS
    orders = np.arange(order_max + 1)
    found = 2j * lines * np.exp(-1j * np.pi * orders / QUADRATURE_POINTS)
    found[0] = lines[0].real
    return np.asarray(found, np.complex128)


def band_limited(wave: Wave, theta: Floats, order_max: int) -> Floats:
    """The wave from its orders up to `order_max` alone."""
    amplitudes = coefficients(wave, order_max)
    total = np.full(len(theta), amplitudes[0].real)
    turn = np.exp(1j * theta)
    power = np.ones(len(theta), np.complex128)
    for amplitude in amplitudes[1:]:
        power *= turn
        if abs(amplitude) > 1e-12:
            total += (amplitude * power).imag
    return total


def orders_below(rate_hz: float, hz: float) -> int:
    """The highest order within BAND_SHARE of the rate."""
    return int(BAND_SHARE * rate_hz / hz)


def blocks(samples: Floats, size: int, first_counter: int = 0) -> list[SampleBlock]:
    """Consecutive blocks of `size` samples."""
    return [
        SampleBlock(first_counter + at, samples[at : at + size])
        for at in range(0, len(samples), size)
    ]


def columns(*channels: Floats) -> Floats:
    """Channels side by side, as a block holds them."""
    return np.ascontiguousarray(np.stack(channels, axis=1))


def fed(plan: MeasurePlan, description: SignalDescription, items: Iterable[SourceItem]) -> Played:
    """All that `step` gives for the items, in their order."""
    state = stepping.initial(plan, description)
    tables: dict[str, list[WindowTable]] = {one.id: [] for one in plan.insulators}
    rows: list[IntervalRow] = []
    for item in items:
        state, found = stepping.step(state, item)
        for name, table in found.windows:
            tables[name].append(table)
        rows += found.rows
    return Played({name: joined(some) for name, some in tables.items() if some}, tuple(rows))


def measured(
    samples: Floats,
    description: SignalDescription | None = None,
    plan: MeasurePlan | None = None,
    *,
    size: int = 1 << 16,
    start: TimeAnchor | None = None,
) -> Played:
    """One uninterrupted signal, begun at `start` and ended."""
    description = description or describe()
    begin = start or anchor()
    items: list[SourceItem] = [begin, *blocks(samples, size), StreamEnd(len(samples), "end")]
    return fed(plan or plan_from_description(description), description, items)


def whole(table: WindowTable) -> WindowTable:
    """The windows that are whole and lie inside: the first and last belong to the borders."""
    return table.rows(1, len(table) - 2)


def states(table: WindowTable) -> set[str]:
    return {STATES[index].value for index in table.state.tolist()}


def ratio(ppm: npt.NDArray[np.int64]) -> Floats:
    """A ratio column as numbers; NaN where it could not be said."""
    return np.where(ppm == ABSENT, np.nan, ppm / 1e6)


def same_tables(one: WindowTable, other: WindowTable) -> list[str]:
    """Names of the columns in which two tables differ."""
    return [
        f.name
        for f in fields(WindowTable)
        if not np.array_equal(getattr(one, f.name), getattr(other, f.name))
    ]
