"""The shape of each half-cycle in figures: what an arc's current looks like and a film's does not.

All but the last are free of scale or relative to the noise, so that the same figures hold from 3 mA
to 1 A. The table names them in the order of the columns; the choice is ours (design choice), the
physics behind each is common practice: an arc is dark around the voltage's zero, ignites with a
step or a smooth rise, burns in the voltage's own direction, and dies before the next zero.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from edge.measure import planes
from edge.measure.explaining import Explained
from edge.measure.planes import Singles

Floats = npt.NDArray[np.float64]

SMOOTH_S = 0.8e-3
"""Running mean that passes arcs and flattens spikes."""

RISE_S = 0.35e-3
"""Within this an arc behind a sensor's low-pass of 0.8 kHz or more has largely ignited."""

EDGE_RAD = np.radians(18.0)
"""Next to the voltage's zeros: dark in an arcing half-cycle."""

FLOOR_MA = 1e-3
"""Least size that another is compared with."""

USUAL_MA = 5.0
"""Size of a small arc."""

PLATEAU = 0.985
"""Share of a half-cycle's highest current above which a sample is on its plateau."""

SINES = 6
"""Orders of the sine series."""

FIGURES: tuple[tuple[str, str], ...] = (
    ("log_residual_to_noise", "highest smoothed residual over the noise"),
    ("log_raw_to_smooth", "highest raw residual over highest smoothed: spikes are narrow"),
    ("log_edge", "residual next to the voltage's zeros over its highest: dark in an arc"),
    ("quiet", "share of the half-cycle with hardly any residual"),
    ("above_half", "share with more than half of the highest residual"),
    ("above_fifth", "share with more than a fifth of it"),
    ("peak_at", "where the residual is highest"),
    ("from_at", "where it first exceeds 30 % of its highest"),
    ("to_at", "where it last does"),
    ("centre_at", "centre of its charge"),
    ("rise", "steepest rise over the highest: ignition"),
    ("fall", "steepest fall over the highest"),
    ("rise_at", "where it rises most steeply"),
    ("unsmooth", "what orders up to the fifth leave of it"),
    ("log_rough_to_noise", "roughness of the residual over the noise"),
    *((f"sine_{k}", f"its sine series, order {k}") for k in range(1, SINES + 1)),
    ("against", "lowest smoothed residual over highest: an arc never flows backwards"),
    ("share_against", "share of the half-cycle with residual against the voltage"),
    ("log_film", "film crest over the highest residual"),
    ("film_sign", "whether the film's crest is in phase"),
    ("log_capacitive", "capacitive crest over the highest residual"),
    ("log_usual", "median of the window's highest residuals of this polarity over this one's"),
    ("log_scatter", "scatter of them over this one"),
    ("share_strong", "share of the window's half-cycles of this polarity that are strong"),
    ("log_strongest", "strongest of them over this one"),
    ("log_before", "highest residual of the half-cycle before over this one's"),
    ("log_after", "the same of the one after"),
    ("log_deviation_to_noise", "highest smoothed deviation from the median cycle over the noise"),
    ("log_deviation", "the same over the highest residual"),
    ("deviation_above_half", "share with more than half of the highest deviation"),
    ("deviation_quiet", "share with hardly any deviation"),
    ("deviation_against", "lowest deviation over highest"),
    ("deviation_centre_at", "centre of the deviation"),
    ("deviation_rise", "its steepest rise over its highest"),
    ("log_total", "highest current over the highest residual"),
    ("plateau", "share of the half-cycle at its highest current: clipped or flat"),
    ("log_size", "highest residual over 5 mA, within a decade: what leaks steadily is small"),
)


def figures(seen: Explained, chosen: npt.NDArray[np.bool_], points_per_s: float) -> Floats:
    """The table's figures of some half-cycles, shape (len(FIGURES), m).

    chosen: which, (halves, n), m of them; the others of their windows are what they are compared
    with. points_per_s: points of the mains clock in a second, at nominal frequency.
    """
    points, halves, count = seen.residual.shape
    width, rise = points_per_s * SMOOTH_S, max(1, round(points_per_s * RISE_S))
    smooth = planes.running_mean(seen.residual.reshape(points, -1), width)
    highest = smooth.max(axis=0).astype(np.float64)
    size = np.maximum(highest, FLOOR_MA)
    at = np.flatnonzero(chosen)
    own, noise = size[at], seen.noise_ma[at % count]
    residual, deviation, upright = (
        np.take(one.reshape(points, -1), at, axis=1)
        for one in (seen.residual, seen.deviation, seen.upright)
    )
    context = _context(seen, highest.reshape(halves, count), size.reshape(halves, count))
    columns = [
        _log(highest[at] / noise),
        *_residual(residual, np.take(smooth, at, axis=1), own, noise, rise),
        *(one.reshape(-1)[at] for one in context),
        *_deviation(deviation, own, noise, width, rise),
        *_whole(upright, own),
    ]
    return np.stack(columns)


def _log(ratio: Floats) -> Floats:
    return np.asarray(np.log(np.maximum(ratio, 1e-3)), np.float64)


def _above(rows: Singles, part: float, size: Floats) -> npt.NDArray[np.bool_]:
    """Points above a part of a half-cycle's size."""
    return rows > (part * size).astype(np.float32)


def _lowest(rows: Singles, size: Floats) -> Floats:
    """How far the lowest point lies below zero, in sizes."""
    return np.asarray(-rows.min(axis=0) / size, np.float64)


def _residual(
    residual: Singles, smooth: Singles, size: Floats, noise: Floats, rise: int
) -> list[Floats]:
    points = len(residual)
    angle = np.pi * np.arange(points) / points
    edge = np.minimum(angle, np.pi - angle) < EDGE_RAD
    begins, ends = int(edge.argmin()), points - int(edge[::-1].argmin())
    at_edges = np.concatenate([smooth[:begins], smooth[ends:]])
    steps = residual[rise:] - residual[:-rise]
    strong = _above(smooth, 0.3, size)
    return [
        _log(residual.max(axis=0) / size),
        _log(planes.rms(at_edges) / size),
        planes.share(~_above(np.abs(smooth), 0.15, size)),
        planes.share(_above(smooth, 0.5, size)),
        planes.share(_above(smooth, 0.2, size)),
        planes.first_at(smooth == smooth.max(axis=0)),
        planes.first_at(strong),
        planes.last_at(strong),
        planes.centre_at(smooth),
        np.minimum(steps.max(axis=0) / size, 3.0),
        np.minimum(-steps.min(axis=0) / size, 3.0),
        planes.first_at(steps == steps.max(axis=0)) * (len(steps) / points),
        np.minimum(_unsmooth(residual) / size, 2.0),
        _log(planes.rms(residual - smooth) / noise),
        *(one / size for one in _sine_series(smooth)),
        _lowest(smooth, size),
        planes.share(~_above(smooth, -0.3, size)),
    ]


def _sine_series(rows: Singles) -> list[Floats]:
    """Amplitudes of the sines of orders 1 to SINES: odd orders rise alike about the crest."""
    points = len(rows)
    angle = np.pi * (np.arange(points // 2) + 0.5) / points
    sums, differences = planes.folded(rows)
    found = []
    for order in range(1, SINES + 1):
        sine = (np.sin(order * angle) * (2.0 / points)).astype(np.float32)[:, None]
        product = (sums if order % 2 else differences) * sine
        found.append(np.add.reduce(product, axis=0).astype(np.float64))
    return found


def _unsmooth(rows: Singles) -> Floats:
    """R.m.s. of what sines to order 5, cosines to 3 and a constant leave."""
    left = np.zeros(rows.shape[1:])
    for part, basis in zip(planes.folded(rows), _low_orders(len(rows)), strict=True):
        rest = part.copy()
        for shape in basis:
            rest -= np.add.reduce(part * shape, axis=0) * shape
        left += np.add.reduce(np.square(rest), axis=0)
    # a point of the sums and one of the differences stand for two of the half-cycle, twice over
    return np.asarray(np.sqrt(left / (2 * len(rows))), np.float64)


@lru_cache(maxsize=8)
def _low_orders(points: int) -> tuple[Singles, Singles]:
    """Orthonormal shapes on the first half of a half-cycle, (k, points // 2, 1), that span the
    low orders: those that are alike about the crest, and those that are opposite."""
    angle = np.pi * (np.arange(points // 2) + 0.5) / points
    alike = [np.ones(points // 2), np.cos(2 * angle), *(np.sin(k * angle) for k in (1, 3, 5))]
    opposite = [*(np.cos(k * angle) for k in (1, 3)), *(np.sin(k * angle) for k in (2, 4))]
    return _orthonormal(alike), _orthonormal(opposite)


def _orthonormal(shapes: list[Floats]) -> Singles:
    basis: list[Floats] = []
    for shape in shapes:
        rest = shape
        for _ in range(2):  # twice is enough for orthogonality to rounding
            for one in basis:
                rest = rest - one * float(np.dot(one, rest))
        basis.append(rest / float(np.sqrt(np.dot(rest, rest))))
    return np.stack(basis).astype(np.float32)[:, :, None]


def _context(seen: Explained, highest: Floats, size: Floats) -> list[Floats]:
    """How this half-cycle stands among those of its window."""
    usual, scatter, strongest, strong = (np.empty_like(highest) for _ in range(4))
    for side in (slice(0, None, 2), slice(1, None, 2)):
        own = highest[side]
        middle, most = planes.median_of(list(own)), own.max(axis=0)
        usual[side], strongest[side] = middle, most
        scatter[side] = planes.median_of(list(np.abs(own - middle)))
        strong[side] = np.mean(own > 0.5 * most, axis=0)
    before, after = np.roll(highest, 1, axis=0), np.roll(highest, -1, axis=0)
    before[0], after[-1] = highest[1], highest[-2]
    return [
        _log(np.abs(seen.film_ma) / size),
        np.broadcast_to(np.sign(seen.film_ma), size.shape),
        _log(np.abs(seen.capacitive_ma) / size),
        _log(usual / size),
        _log(scatter / size),
        strong,
        _log(strongest / size),
        _log(np.maximum(before, FLOOR_MA) / size),
        _log(np.maximum(after, FLOOR_MA) / size),
    ]


def _deviation(
    deviation: Singles, size: Floats, noise: Floats, width: float, rise: int
) -> list[Floats]:
    smooth = planes.running_mean(deviation, width)
    highest = smooth.max(axis=0).astype(np.float64)
    own = np.maximum(highest, FLOOR_MA)
    steps = deviation[rise:] - deviation[:-rise]
    return [
        _log(highest / noise),
        _log(highest / size),
        planes.share(_above(smooth, 0.5, own)),
        planes.share(~_above(np.abs(smooth), 0.2, own)),
        np.minimum(_lowest(smooth, own), 3.0),
        planes.centre_at(smooth),
        np.minimum(steps.max(axis=0) / own, 3.0),
    ]


def _whole(upright: Singles, size: Floats) -> list[Floats]:
    absolute = np.abs(upright)
    largest = absolute.max(axis=0)
    flat = absolute > np.float32(PLATEAU) * largest
    decade = np.clip(np.log(size / USUAL_MA), -np.log(10.0), np.log(10.0))
    return [
        _log(upright.max(axis=0) / size),
        planes.share(flat),
        np.asarray(decade, np.float64),
    ]
