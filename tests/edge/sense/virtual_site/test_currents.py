"""What the sensors show of a dry, a wet, a beaded and an arcing surface."""

from __future__ import annotations

import math

import numpy as np
import pytest

from edge.sense.virtual_site.truth import joined, truth_of
from tests.edge.sense.virtual_site.builders import (
    DRY_AIR,
    FOG,
    RAIN,
    RATE_HZ,
    Run,
    insulator,
    lead_deg,
    phasor,
    rubber,
    site_plan,
    wet,
)

LOWPASS_LAG_DEG = math.degrees(math.atan(50.0 / 1_500.0))


def test_a_dry_surface_carries_only_the_leading_capacitive_current() -> None:
    run = Run(site_plan(rubber(full_scale_ma=5.0)))
    told = run.seconds(DRY_AIR, 2)[1:]
    current, volts = run.current_ma(told), run.volts_kv(told)
    assert lead_deg(current, volts) == pytest.approx(90.0 - LOWPASS_LAG_DEG, abs=0.5)
    crest_ma = 2 * math.pi * 50.0 * 25e-12 * 12_700.0 * math.sqrt(2.0) * 1e3
    assert abs(phasor(current)) == pytest.approx(crest_ma, rel=0.01)
    assert not truth_of(told[0].happened, 0).arcing.any()


def test_a_neighbouring_phase_tilts_the_capacitive_angle() -> None:
    run = Run(site_plan(rubber(full_scale_ma=5.0, neighbour_pf=(6.0, 0.0))))
    told = run.seconds(DRY_AIR, 2)[1:]
    expected = 25.0 + 6.0 * np.exp(-2j * math.pi / 3.0)
    tilt_deg = float(np.degrees(np.angle(expected)))
    lead = lead_deg(run.current_ma(told), run.volts_kv(told))
    assert abs(tilt_deg) > 5.0
    assert lead == pytest.approx(90.0 + tilt_deg - LOWPASS_LAG_DEG, abs=0.5)


def test_distortion_of_the_voltage_is_amplified_by_order_in_the_capacitive_current() -> None:
    plan = site_plan(rubber(full_scale_ma=5.0), harmonics=((5, 0.04, 0.0),), sensor_lowpass_hz=4e3)
    run = Run(plan)
    current = run.current_ma(run.seconds(DRY_AIR, 2)[1:])
    ratio = abs(phasor(current, 250.0)) / abs(phasor(current))
    assert ratio == pytest.approx(5 * 0.04, rel=0.02)


def test_a_wet_film_without_a_band_is_a_sinusoid_in_phase() -> None:
    run = Run(site_plan(insulator(own_pf=0.0, full_scale_ma=2_000.0)))
    run.state = wet(run.state, 100.0, 100.0)
    told = run.seconds(RAIN, 3)[2:]
    current = run.current_ma(told)
    assert abs(phasor(current)) > 3.0
    assert lead_deg(current, run.volts_kv(told)) == pytest.approx(-LOWPASS_LAG_DEG, abs=0.5)
    assert abs(phasor(current, 150.0)) < 0.005 * abs(phasor(current))
    assert not truth_of(told[0].happened, 0).arcing.any()


def test_heavier_salt_carries_more_current() -> None:
    crests = []
    for salt in (0.005, 0.02, 0.08):
        run = Run(site_plan(insulator(salt_mg_cm2=salt, full_scale_ma=2_000.0)))
        run.state = wet(run.state, 100.0, 100.0)
        crests.append(abs(phasor(run.current_ma(run.seconds(RAIN, 2)[1:]))))
    assert crests[0] * 2 < crests[1] < crests[2] / 2


def _arcing(seconds: int = 6, seed: int = 3, **changes: object) -> tuple[Run, list]:
    plan = site_plan(insulator(own_pf=0.0, full_scale_ma=400.0, **changes), noise_ua=0.0)
    run = Run(plan, seed)
    run.state = wet(run.state, 6.0, 0.05)
    return run, run.seconds(FOG, seconds)


def test_arc_current_is_nothing_about_the_voltage_zero_and_dies_before_the_next() -> None:
    run, told = _arcing()
    current, volts = run.current_ma(told), run.volts_kv(told)
    truth = joined([truth_of(second.happened, 0) for second in told])
    assert truth.arcing.mean() > 0.3
    near_zero = np.abs(volts) < 0.02 * np.abs(volts).max()
    assert np.abs(current[near_zero]).max() < 0.02 * np.abs(current).max()


def test_true_charge_is_the_integral_of_what_an_ideal_sensor_sees() -> None:
    run, told = _arcing()
    seen_c = np.abs(run.current_ma(told)).sum() / RATE_HZ / 1e3
    film_c = 0.0
    truth = joined([truth_of(second.happened, 0) for second in told])
    assert truth.charge_c.sum() == pytest.approx(seen_c - film_c, rel=0.01)


def test_an_arc_has_the_polarity_of_its_half_cycle() -> None:
    run, told = _arcing()
    current = run.current_ma(told)
    truth = joined([truth_of(second.happened, 0) for second in told])
    for start, positive in zip(
        truth.start_counter[truth.arcing][:-1], truth.positive[truth.arcing][:-1], strict=True
    ):
        inside = current[start : start + 100]
        assert (inside.sum() > 0) == positive


def test_a_silent_half_cycle_of_a_banded_surface_carries_no_current() -> None:
    run, told = _arcing(creepage_cm=60.0)
    current = run.current_ma(told)
    truth = joined([truth_of(second.happened, 0) for second in told])
    silent = truth.start_counter[~truth.arcing]
    assert silent.size
    for start in silent[silent < current.size - 110]:
        assert np.abs(current[start + 8 : start + 98]).max() < 0.1


def test_spikes_come_near_the_crest_and_only_on_a_beaded_surface() -> None:
    run = Run(site_plan(rubber(full_scale_ma=20.0, own_pf=0.0), insulator(name="plain")))
    run.state = wet(run.state, 10.0, 10.0)
    told = run.seconds(FOG, 5)
    beaded = joined([truth_of(second.happened, 0) for second in told])
    plain = joined([truth_of(second.happened, 1) for second in told])
    assert beaded.spikes.sum() > 50
    assert not beaded.arcing.any()
    assert not plain.spikes.any()
    current, volts = run.current_ma(told), run.volts_kv(told)
    spiking = np.abs(current) > 0.3
    assert spiking.any()
    assert np.abs(volts[spiking]).min() > 0.5 * np.abs(volts).max()


def test_a_current_beyond_full_scale_stops_at_the_end_code() -> None:
    run = Run(site_plan(insulator(full_scale_ma=5.0, fine_full_scale_ma=1.0), converter_bits=12))
    run.state = wet(run.state, 100.0, 100.0)
    codes = run.seconds(RAIN, 2)[1].codes
    assert codes[:, 0].max() == codes[:, 1].max() == 2_047
    assert codes[:, 0].min() == codes[:, 1].min() == -2_048
