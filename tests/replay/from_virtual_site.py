"""Stretches of a virtual night with their truth in the form of the labelled families."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from edge.samples import SignalDescription
from edge.sense.virtual_site import HalfCycleTruth, SitePlan, VirtualSite
from edge.sense.virtual_site.mains import capacitive_weights, lag_rad
from edge.sense.virtual_site.site import Told
from edge.sense.virtual_site.truth import joined, truth_of
from tests.families.labelled import (
    Bools,
    Floats,
    Kind,
    Label,
    Labelled,
    Marks,
    Recording,
    Surface,
    Truth,
)
from tests.replay.stretches import Stretch, excerpt

ARC_EVIDENT_C = 4e-6
"""A weaker arc (0.4 mA on the mean of a half-cycle at 50 Hz) is doubtful: it can drown beside
droplet discharges and film. A design choice of these recordings."""


def stretches(
    plan: SitePlan,
    seed: int,
    insulator: str,
    rate_hz: int,
    at_s: Sequence[int],
    rows: int,
    dusk_utc_ns: int,
) -> tuple[Stretch, ...]:
    """`rows` samples, at most a second, from each of these seconds of the night on."""
    site = VirtualSite(plan, seed)
    wanted = set(at_s)
    description, columns = _signal(site, plan, insulator, rate_hz)
    row = [unit.name for unit in plan.insulators].index(insulator)
    found = []
    before: Told | None = None
    for told in site.told(rate_hz, max(at_s) + 1):
        if told.state.second - 1 in wanted:
            assert before is not None, "the first second's film has no beginning"
            start_ns = dusk_utc_ns + (told.state.second - 1) * 1_000_000_000
            whole = _labelled(plan, seed, row, description, columns, before, told, start_ns)
            found.append(Stretch(excerpt(whole, 0, rows), start_ns))
        before = told
    return tuple(found)


def _signal(
    site: VirtualSite, plan: SitePlan, insulator: str, rate_hz: int
) -> tuple[SignalDescription, list[int]]:
    """The insulator's current and its own phase's voltage."""
    description = site.description(rate_hz)
    names = [channel.name for channel in description.channels]
    phase = next(unit.phase for unit in plan.insulators if unit.name == insulator)
    columns = [names.index(insulator), names.index(f"U{phase}")]
    channels = tuple(description.channels[column] for column in columns)
    return replace(description, channels=channels), columns


def _labelled(
    plan: SitePlan,
    seed: int,
    row: int,
    description: SignalDescription,
    columns: list[int],
    before: Told,
    told: Told,
    start_utc_ns: int,
) -> Labelled:
    count = int(description.rate_hz)
    happened = joined([truth_of(one.second.happened, row) for one in (before, told)])
    edges = happened.start_counter - told.second.counter
    samples = told.second.codes[:, columns]
    clipped = (samples[:, 0] >= plan.code_most) | (samples[:, 0] < -plan.code_most)
    recording = Recording(description, samples, start_utc_ns, (0,), 1, None)
    kept = np.flatnonzero((edges[1:] > 0) & (edges[:-1] < count))
    # The truth of the last half-cycle of a second ends with the next second's first zero.
    length = float(np.median(np.diff(edges)))
    marks = np.append(edges, edges[-1] + length)[kept[0] : kept[-1] + 3].astype(np.float64)
    part = slice(int(kept[0]), int(kept[-1]) + 2)
    truth = _truth(plan, row, happened, part, marks, clipped, before, told)
    return Labelled(f"{plan.name}/{plan.insulators[row].name}", Kind.ARCING, seed, recording, truth)


def _truth(
    plan: SitePlan,
    row: int,
    happened: HalfCycleTruth,
    part: slice,
    marks: Floats,
    clipped: Bools,
    before: Told,
    told: Told,
) -> Truth:
    middle = (marks[:-1] + marks[1:]) / 2
    place = np.clip(middle / len(clipped), 0.0, 1.0)
    first_s, last_s = (one.state.film.parallel_s[row] for one in (before, told))
    film_ma = 1e3 * plan.crest_v * (first_s + (last_s - first_s) * place)
    live = happened.energised[part]
    surface = np.where(live, np.where(film_ma > 0, Surface.WET, Surface.DRY), Surface.DEAD_LINE)
    running = np.concatenate([[0], np.cumsum(clipped)])
    at = np.clip(np.ceil(marks).astype(np.int64), 0, len(clipped))
    nothing = np.zeros(len(middle))
    return Truth(
        marks,
        _labels(happened, part),
        surface.astype(np.int8),
        np.where(happened.positive[part], 1, -1).astype(np.int8),
        nothing * np.nan,
        happened.charge_c[part],
        middle,
        np.where(live, film_ma, 0.0),
        np.diff(running[at]) > 0,
        np.zeros(len(middle), dtype=bool),
        _dry_phasor_ma(plan, row),
    )


def _labels(happened: HalfCycleTruth, part: slice) -> Marks:
    arcing, charge_c = happened.arcing[part], happened.charge_c[part]
    label = np.where(happened.spikes[part], Label.CORONA_SPIKE, Label.HARMLESS)
    label = np.where(arcing, Label.ARCING, label)
    doubtful = (arcing & (charge_c < ARC_EVIDENT_C)) | happened.flashover[part]
    return np.where(doubtful, Label.DOUBTFUL, label).astype(np.int8)


def _dry_phasor_ma(plan: SitePlan, row: int) -> complex:
    """R.m.s. of the capacitive fundamental against the own phase's voltage."""
    cosine, sine = capacitive_weights(plan)[row, :2]
    lag = lag_rad(plan.insulators[row].phase)
    against_sine = complex(sine, cosine) * np.exp(1j * lag)
    return complex(1e3 / np.sqrt(2) * against_sine)
