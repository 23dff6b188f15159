"""The virtual site as a source: determinism, block lengths, anchors, weather, and its speed."""

from __future__ import annotations

import ast
import time
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

import edge.sense.virtual_site
from edge.quantities import BY_NAME
from edge.samples import ChannelKind, SampleBlock, SlowReading, StreamEnd, TimeAnchor
from edge.sense.virtual_site import GULLHAVEN, SITES, TARNHOLM_SPIT, HalfCycleTruth, VirtualSite
from edge.sense.virtual_site.site import Told
from edge.sense.virtual_site.truth import truth_of
from edge.sense.virtual_site.weather import SCRIPT
from tests.edge.sense.virtual_site.builders import insulator, site_plan

START_NS = 1_790_000_000_000_000_000


def _short(plan: edge.sense.virtual_site.SitePlan, minutes: int = 15) -> VirtualSite:
    return VirtualSite(replace(plan, climate=replace(plan.climate, night_minutes=minutes)), 11)


@pytest.fixture(scope="module")
def night() -> list[Told]:
    return list(_short(GULLHAVEN).told(4_800, 900))


def _codes(site: VirtualSite, seconds: int, block_samples: int = 4_800) -> np.ndarray:
    items = site.source(START_NS, block_samples=block_samples, seconds=seconds)
    return np.concatenate([item.samples for item in items if isinstance(item, SampleBlock)])


def test_the_same_plan_and_seed_give_the_same_samples() -> None:
    site = VirtualSite(GULLHAVEN, 7)
    assert np.array_equal(_codes(site, 5), _codes(VirtualSite(GULLHAVEN, 7), 5))


def test_another_seed_tells_another_story() -> None:
    one, other = VirtualSite(GULLHAVEN, 1), VirtualSite(GULLHAVEN, 2)
    assert not np.array_equal(_codes(one, 2), _codes(other, 2))
    assert one.night().starts != other.night().starts
    assert not np.allclose(one.night().minutes, other.night().minutes)


@pytest.mark.parametrize("block_samples", [1, 7, 4_801, 1_000_000])
def test_samples_do_not_depend_on_the_block_length(block_samples: int) -> None:
    site = VirtualSite(TARNHOLM_SPIT, 3)
    assert np.array_equal(_codes(site, 3, block_samples), _codes(site, 3))


def test_the_feed_is_whole_and_in_order_whatever_the_block_length() -> None:
    site = VirtualSite(site_plan(), 1)
    for block_samples in (999, 4_800, 20_000):
        items = list(site.source(START_NS, block_samples=block_samples, seconds=61))
        counter = 0
        for item in items:
            if isinstance(item, SampleBlock):
                assert item.counter == counter
                counter = item.counter_end
            elif isinstance(item, TimeAnchor | SlowReading):
                assert item.counter >= counter
        assert isinstance(items[0], TimeAnchor)
        assert items[-1] == StreamEnd(61 * 4_800, "the virtual night is over")
        assert counter == 61 * 4_800


def test_anchors_come_each_ten_minutes_and_weather_each_minute() -> None:
    items = list(VirtualSite(site_plan(), 1).source(START_NS, seconds=1_201, block_samples=48_000))
    anchors = [item for item in items if isinstance(item, TimeAnchor)]
    assert [anchor.counter // 4_800 for anchor in anchors] == [0, 600, 1_200]
    assert [anchor.utc_ns - START_NS for anchor in anchors] == [0, 600 * 10**9, 1_200 * 10**9]
    weather = [item for item in items if isinstance(item, SlowReading)]
    assert [reading.counter // 4_800 for reading in weather] == list(range(0, 1_201, 60))
    for reading in weather:
        assert set(reading.readings) == {
            "rh_cpct", "air_cdegc", "dew_point_cdegc", "rain_um", "wind_mm_s", "wind_from_cdeg",
        }  # fmt: skip
        for name, units in reading.readings.items():
            assert BY_NAME[name].low <= units <= BY_NAME[name].high
        assert reading.readings["dew_point_cdegc"] <= reading.readings["air_cdegc"]


def test_a_night_has_its_phases_and_the_next_night_another_weather() -> None:
    site = VirtualSite(GULLHAVEN, 5)
    night = site.night()
    assert len(night.starts) == len(SCRIPT)
    assert all(before < after for before, after in pairwise(night.starts))
    humidity, rain, wind = night.minutes[:, 0], night.minutes[:, 5], night.minutes[:, 2]
    assert humidity[:10].max() < 75.0 < 95.0 < humidity[30:45].max()
    assert rain[:40].max() < 0.05 < 2.0 < rain.max()
    assert wind[:10].mean() > 2.0 * wind[30:40].mean()
    assert not np.allclose(night.minutes, site.night(1).minutes)


def _truths(night: list[Told], row: int) -> Iterator[tuple[Told, HalfCycleTruth]]:
    return ((told, truth_of(told.second.happened, row)) for told in night)


def test_arcs_burn_only_on_a_wet_surface(night: list[Told]) -> None:
    for row in range(4):
        for told, truth in _truths(night, row):
            if truth.arcing.any():
                assert told.state.surface.dissolved[row]
                assert told.state.surface.water_um[row] > 0.1


def test_the_old_post_arcs_and_the_new_rubber_does_not(night: list[Told]) -> None:
    arcing = [sum(truth.arcing.sum() for _, truth in _truths(night, row)) for row in range(4)]
    assert arcing[0] > 1_000
    assert arcing[3] == 0


def test_the_truth_has_each_half_cycle_once(night: list[Told]) -> None:
    for row in range(4):
        starts = np.concatenate([truth.start_counter for _, truth in _truths(night, row)])
        assert np.all(np.abs(np.diff(starts) - 48.0) <= 1.5)
        sides = np.concatenate([truth.positive for _, truth in _truths(night, row)])
        assert np.all(sides[1:] != sides[:-1])


def test_truth_asked_for_alone_is_the_truth_of_the_feed() -> None:
    site = VirtualSite(TARNHOLM_SPIT, 3)
    alone = site.truth(3)
    told = [truth_of(each.second.happened, 0) for each in site.told(seconds=3)]
    assert np.array_equal(
        alone["TS1-pin"].start_counter, np.concatenate([each.start_counter for each in told])
    )


def test_the_story_hardly_depends_on_the_sampling_rate() -> None:
    site = _short(GULLHAVEN, 8)
    counts = []
    for rate_hz in (4_800, 6_400):
        truth = site.truth(300, rate_hz)
        counts.append(np.array([each.arcing.sum() for each in truth.values()]))
    assert counts[0].sum() > 500
    assert counts[1] == pytest.approx(counts[0], rel=0.1, abs=50)


def test_channels_say_what_they_carry() -> None:
    description = VirtualSite(TARNHOLM_SPIT, 1).description(10_000)
    names = [channel.name for channel in description.channels]
    assert names[:4] == [unit.name for unit in TARNHOLM_SPIT.insulators]
    assert names[4:] == ["TS4-new-rubber fine", "UA", "UB", "UC"]
    fine = description.channels[4]
    assert fine.gain * fine.raw_max == pytest.approx(5.0)
    assert [c.kind for c in description.channels[5:]] == [ChannelKind.VOLTAGE] * 3
    told = next(VirtualSite(TARNHOLM_SPIT, 1).told(10_000, 1))
    assert told.second.codes.shape == (10_000, len(names))


def test_what_cannot_be_sampled_is_refused() -> None:
    site = VirtualSite(GULLHAVEN, 1)
    with pytest.raises(ValueError, match="rate_hz is 100"):
        site.description(100)
    with pytest.raises(ValueError, match="block_samples is 0"):
        next(site.source(START_NS, block_samples=0))
    with pytest.raises(ValueError, match="phase is 'L1'"):
        insulator(phase="L1")
    with pytest.raises(ValueError, match="distinct names"):
        site_plan(insulator(), insulator())


def test_the_two_sites_have_at_least_eight_insulators_of_differing_surface() -> None:
    units = [unit for plan in SITES for unit in plan.insulators]
    assert len(units) >= 8
    assert len({unit.kind for unit in units}) == 3
    assert len({unit.name for unit in units}) == len(units)


def test_it_shares_no_code_with_the_detector() -> None:
    allowed = ("edge.samples", "edge.records", "edge.quantities", "edge.sense.virtual_site")
    for path in Path(edge.sense.virtual_site.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.ImportFrom) and node.module:
                ours = node.module.startswith(("edge", "gateway"))
                assert not ours or node.module.startswith(allowed), f"{path.name}: {node.module}"


def test_how_fast_the_source_tells_a_night_is_reported(
    record_property: pytest.RecordProperty,
) -> None:
    site = VirtualSite(GULLHAVEN, 1)
    for told in site.told(4_800, 20):
        assert told.second.codes.any()
    begun = time.process_time()
    seconds = sum(1 for _ in site.told(4_800, 120))
    ratio = seconds / (time.process_time() - begun)
    record_property("times_real_time_on_one_core", round(ratio))
    print(f"virtual site: {ratio:.0f} x real time on one core, 4 insulators and 3 voltages")
    assert seconds == 120
