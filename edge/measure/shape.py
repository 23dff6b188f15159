"""The shape of each half-cycle in figures: what an arc's current looks like and a film's does not.

All but the last are free of scale or relative to the noise, so that the same figures hold from 3 mA
to 1 A. The table names them in the order of the columns; the choice is ours (design choice), the
physics behind each is common practice: an arc is dark around the voltage's zero, ignites with a
step or a smooth rise, burns in the voltage's own direction, and dies before the next zero.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from edge.measure.explaining import Explained

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
    *((f"sine_{k}", f"its sine series, order {k}") for k in range(1, 7)),
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


def figures(seen: Explained, points_per_s: float) -> Floats:
    """The table's figures, shape (n, halves, len(FIGURES)).

    points_per_s: points of the mains clock in a second, at nominal frequency.
    """
    smooth = _running_mean(seen.residual, points_per_s * SMOOTH_S)
    rise = max(1, round(points_per_s * RISE_S))
    highest = smooth.max(axis=-1)
    size = np.maximum(highest, FLOOR_MA)
    noise = seen.noise_ma[:, None]
    columns = [
        _log(highest / noise),
        *_residual(seen.residual, smooth, size, noise, rise),
        *_context(seen, highest, size),
        *_deviation(seen.deviation, size, noise, points_per_s * SMOOTH_S, rise),
        *_whole(seen.upright, size),
    ]
    return np.stack(columns, axis=-1)


def _log(ratio: Floats) -> Floats:
    return np.asarray(np.log(np.maximum(ratio, 1e-3)), np.float64)


def _running_mean(rows: Floats, width: float) -> Floats:
    """Centred running mean over about `width` points of the last axis, narrower at its ends."""
    reach = max(1, int(width)) // 2
    points = rows.shape[-1]
    sums = np.zeros((*rows.shape[:-1], points + 1))
    np.cumsum(rows, axis=-1, out=sums[..., 1:])
    at = np.arange(points)
    first, stop = np.maximum(0, at - reach), np.minimum(points, at + reach + 1)
    return np.asarray((sums[..., stop] - sums[..., first]) / (stop - first), np.float64)


def _share(marked: npt.NDArray[np.bool_]) -> Floats:
    return np.asarray(np.mean(marked, axis=-1), np.float64)


def _first(marked: npt.NDArray[np.bool_]) -> Floats:
    """Where the first mark stands, as a share of the half-cycle."""
    return np.asarray(np.argmax(marked, axis=-1) / marked.shape[-1], np.float64)


def _centre(rows: Floats) -> Floats:
    """Centre of the positive part, as a share of the half-cycle."""
    positive = np.maximum(rows, 0.0)
    at = np.arange(rows.shape[-1]) / rows.shape[-1]
    total = np.add.reduce(positive, axis=-1) + 1e-9
    return np.asarray(np.add.reduce(positive * at, axis=-1) / total, np.float64)


def _residual(
    residual: Floats, smooth: Floats, size: Floats, noise: Floats, rise: int
) -> list[Floats]:
    points = residual.shape[-1]
    angle = np.pi * np.arange(points) / points
    edge = np.minimum(angle, np.pi - angle) < EDGE_RAD
    part = smooth / size[..., None]
    steps = residual[..., rise:] - residual[..., :-rise]
    basis = _low_orders(points)
    left = residual - np.matmul(np.matmul(residual, basis), basis.T)
    series = np.matmul(smooth, _sines(points)) / size[..., None]
    rough = np.sqrt(np.mean(np.square(residual - smooth), axis=-1))
    return [
        _log(residual.max(axis=-1) / size),
        _log(np.sqrt(np.mean(np.square(smooth[..., edge]), axis=-1)) / size),
        _share(np.abs(part) < 0.15),
        _share(part > 0.5),
        _share(part > 0.2),
        np.argmax(smooth, axis=-1) / points,
        _first(part > 0.3),
        1.0 - _first(part[..., ::-1] > 0.3),
        _centre(smooth),
        np.minimum(steps.max(axis=-1) / size, 3.0),
        np.minimum(-steps.min(axis=-1) / size, 3.0),
        np.argmax(steps, axis=-1) / points,
        np.minimum(np.sqrt(np.mean(np.square(left), axis=-1)) / size, 2.0),
        _log(rough / noise),
        *(series[..., order] for order in range(6)),
        -smooth.min(axis=-1) / size,
        _share(part < -0.3),
    ]


def _sines(points: int) -> Floats:
    angle = np.pi * (np.arange(points) + 0.5) / points
    return np.asarray(np.sin(np.outer(angle, np.arange(1, 7))) * (2.0 / points), np.float64)


def _low_orders(points: int) -> Floats:
    """Orthonormal columns that span a half-cycle of sines to order 5, cosines to 3, a constant."""
    angle = np.pi * np.arange(points) / points
    columns = [np.sin(k * angle) for k in range(1, 6)]
    columns += [np.ones(points)] + [np.cos(k * angle) for k in range(1, 4)]
    basis: list[Floats] = []
    for column in columns:
        rest = column
        for _ in range(2):  # twice is enough for orthogonality to rounding
            for one in basis:
                rest = rest - one * float(np.dot(one, rest))
        basis.append(rest / float(np.sqrt(np.dot(rest, rest))))
    return np.stack(basis, axis=1)


def _context(seen: Explained, highest: Floats, size: Floats) -> list[Floats]:
    """How this half-cycle stands among those of its window."""
    usual, scatter, strongest = (np.empty_like(highest) for _ in range(3))
    strong = np.empty_like(highest)
    for side in (slice(0, None, 2), slice(1, None, 2)):
        own = highest[:, side]
        if own.shape[1] == 0:
            continue
        middle = np.median(own, axis=1)[:, None]
        most = own.max(axis=1)[:, None]
        usual[:, side], strongest[:, side] = middle, most
        scatter[:, side] = np.median(np.abs(own - middle), axis=1)[:, None]
        strong[:, side] = np.mean(own > 0.5 * most, axis=1)[:, None]
    before, after = np.roll(highest, 1, axis=1), np.roll(highest, -1, axis=1)
    if highest.shape[1] > 1:
        before[:, 0], after[:, -1] = highest[:, 1], highest[:, -2]
    film, capacitive = seen.film_ma[:, None], seen.capacitive_ma[:, None]
    return [
        _log(np.abs(film) / size),
        np.broadcast_to(np.sign(film), size.shape),
        _log(np.abs(capacitive) / size),
        _log(usual / size),
        _log(scatter / size),
        strong,
        _log(strongest / size),
        _log(np.maximum(before, FLOOR_MA) / size),
        _log(np.maximum(after, FLOOR_MA) / size),
    ]


def _deviation(
    deviation: Floats, size: Floats, noise: Floats, width: float, rise: int
) -> list[Floats]:
    smooth = _running_mean(deviation, width)
    highest = smooth.max(axis=-1)
    own = np.maximum(highest, FLOOR_MA)
    part = smooth / own[..., None]
    steps = deviation[..., rise:] - deviation[..., :-rise]
    return [
        _log(highest / noise),
        _log(highest / size),
        _share(part > 0.5),
        _share(np.abs(part) < 0.2),
        np.minimum(-smooth.min(axis=-1) / own, 3.0),
        _centre(smooth),
        np.minimum(steps.max(axis=-1) / own, 3.0),
    ]


def _whole(upright: Floats, size: Floats) -> list[Floats]:
    highest = upright.max(axis=-1)
    largest = np.abs(upright).max(axis=-1)
    flat = np.abs(upright) > PLATEAU * largest[..., None]
    decade = np.clip(np.log(size / USUAL_MA), -np.log(10.0), np.log(10.0))
    return [_log(highest / size), _share(flat), np.asarray(decade, np.float64)]
