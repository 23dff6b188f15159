"""Harmless families: films, supplies, neighbours, discharges that are no dry-band arcs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.families.labelled import Kind
from tests.fourth_physics import films, intrusions
from tests.fourth_physics.case import (
    Bend,
    Family,
    Paint,
    Rng,
    Span,
    bent,
    between,
    film_by_chance,
    parts,
    plain,
)
from tests.fourth_physics.scene import Parts
from tests.fourth_physics.stage import Stage

WET: Span = (0.3, 40.0)


def filmed(span: Span = WET) -> Paint:
    """Only a film, crest within the span [mA]."""
    return lambda stage, rng: parts(stage, film_by_chance(stage, between(rng, span), rng))


def _dry(stage: Stage, rng: Rng) -> Parts:
    return parts(stage)


def _walking(stage: Stage, rng: Rng) -> Parts:
    course = films.walk(stage, rng.uniform(0.5, 1.2), rng.uniform(0.2, 1), rng)
    return parts(stage, films.ohmic(stage, between(rng, (1, 25)), course))


def _heated(stage: Stage, rng: Rng) -> Parts:
    crest, gain = between(rng, (1, 40)), rng.uniform(-0.3, 0.4)
    return parts(stage, films.heated(stage, crest, gain, between(rng, (5e-4, 1e-2))))


def _semiconducting(stage: Stage, rng: Rng) -> Parts:
    # cubic c brings a third harmonic of (c / 4) / (1 + 3 c / 4): at most 11 %
    return parts(stage, films.semiconducting(stage, between(rng, WET), rng.uniform(-0.3, 0.6)))


def _third(stage: Stage, rng: Rng) -> Parts:
    crest, share = between(rng, (0.5, 40)), rng.uniform(0.03, 0.15)
    extra = share * crest * np.sin(3 * stage.theta + rng.uniform(0, 2 * np.pi))
    return parts(stage, film_by_chance(stage, crest, rng), other=extra)


def _arrester(stage: Stage, rng: Rng) -> Parts:
    block = films.arrester(stage, between(rng, (0.1, 2)), rng.uniform(5, 25))
    film = film_by_chance(stage, between(rng, (0.1, 10)), rng)
    return parts(stage, film, standing=block)


def _neighbours(stage: Stage, rng: Rng) -> Parts:
    pair = (rng.uniform(0.05, 0.6), rng.uniform(0, 0.4))
    film = film_by_chance(stage, between(rng, (0.05, 10)), rng)
    return parts(stage, film, standing=films.neighbours(stage, pair))


def _direct(stage: Stage, rng: Rng) -> Parts:
    steady = rng.choice([-1, 1]) * rng.uniform(0.2, 2)
    return parts(stage, film_by_chance(stage, between(rng, (0.5, 20)), rng), other=steady)


def corona(film: Span, trains: int, polarity: int | None) -> Paint:
    """Corona over a film; polarity None: drawn."""

    def paint(stage: Stage, rng: Rng) -> Parts:
        side = int(rng.choice([-1, 1])) if polarity is None else polarity
        crest = rng.uniform(6, 24)  # behind the low-pass up to some 8
        flown, spiky = intrusions.corona(stage, rng.uniform(0.1, 1), trains, crest, side, rng)
        wet = film_by_chance(stage, between(rng, film), rng)
        return replace(parts(stage, wet, other=flown), spiky=spiky)

    return paint


def _radio(stage: Stage, rng: Rng) -> Parts:
    noise = intrusions.radio(stage, int(rng.integers(3, 12)), between(rng, (0.2, 2)), rng)
    return parts(stage, film_by_chance(stage, between(rng, (0.1, 10)), rng), other=noise)


def _lightning(stage: Stage, rng: Rng) -> Parts:
    flashes = intrusions.lightning(stage, int(rng.integers(1, 5)), between(rng, (5, 100)), rng)
    return parts(stage, film_by_chance(stage, between(rng, (0.1, 20)), rng), other=flashes)


def _family(name: str, case: str, paint: Paint, bend: Bend = plain) -> Family:
    return Family(name, Kind.HARMLESS, case, paint, bend)


TONE = {"tone": (0.01, 0.04), "tone_hz": (160.0, 1060.0)}
EARTH_FAULT = {"swell": (1.5, 1.75), "swing_rad": (-0.52, 0.52), "swell_at": (0.3, 0.6)}
HEAVY = {"distortion": (0.06, 0.08)}

QUIET: tuple[Family, ...] = (
    _family("dry", "nothing but capacity and noise", _dry),
    _family("dry_noisy", "the same under 50 uA and pick-up", _dry, bent(noise_ma=0.05)),
    _family("wet", "a film of 0.3 to 40 mA", filmed(), bent({"distortion": (0, 0.03)})),
    _family("wet_distorted", "the same under 6 to 8 % distortion", filmed(), bent(HEAVY)),
    _family("wet_walking", "a ladder of sections that dry and wet within seconds", _walking),
    _family("wet_heated", "conductance follows the heat within the half-cycle", _heated),
    _family("semiconducting", "a film that conducts better or worse at the crest", _semiconducting),
    _family("third_injected", "3 to 15 % third harmonic of any phase", _third),
    _family("arrester_beside", "a peaky block in parallel", _arrester),
    _family("neighbours", "other phases induce at 120 degrees", _neighbours),
    _family("capacitive", "0.5 to 2 mA capacitive", _dry, bent({"capacity_ma": (0.5, 2)})),
    _family("direct_current", "up to 2 mA of direct current", _direct, bent(droop_hz=0.0)),
    _family(
        "drifting",
        "a film while the frequency drifts",
        filmed(),
        bent({"offset_hz": (-0.1, 0.1)}, wander_hz=0.9),
    ),
    _family("flat_topped", "a supply with its crest cut", filmed(), bent({"flat": (0.1, 0.3)})),
    _family("notched", "converters' commutation notches", filmed(), bent({"notch": (0.1, 0.4)})),
    _family("ripple_tone", "ripple-control tones, keyed", filmed(), bent(TONE)),
    _family("switching", "ringing transients on the supply", filmed(), bent(strokes=6)),
    _family("inrush", "second and third order, fading", filmed(), bent({"inrush": (0.05, 0.2)})),
    _family("earth_fault", "the healthy phase's voltage rises", filmed(), bent(EARTH_FAULT)),
    _family("corona_dry", "trains near both crests", corona((0.02, 0.1), 2, 0)),
    _family("corona_one_sided", "trains of one polarity over a film", corona((0.5, 5), 3, None)),
    _family("droplet_sparks", "single spikes over a wet film", corona((1, 20), 0, 0)),
    _family("radio_bursts", "carriers in the pass-band", _radio),
    _family("lightning", "strokes nearby", _lightning),
)
