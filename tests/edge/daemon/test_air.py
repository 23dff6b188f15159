"""The weather station beside the samples: once a minute, in place of what the source tells."""

from __future__ import annotations

import threading

import numpy as np

from edge.daemon.air import STALE_MINUTES, AirWatch, Sky, heard, missed, told
from edge.daemon.heartbeat import MINUTE_US
from edge.samples import SampleBlock, SlowReading, SourceItem
from edge.sense.weather import Reading, StationFault

NOON_US = 1_795_600_810_000_000


def test_rain_is_what_the_counter_grew_by_since_it_was_told() -> None:
    sky = Sky()
    for total in (5_000, 5_200, 5_600):
        sky = heard(sky, Reading({"rh_cpct": 9000}, {"rain_um": total}), NOON_US)
    sky, said = told(sky, NOON_US)
    assert said == {"rh_cpct": 9000, "rain_um": 600}
    assert told(sky, NOON_US)[1] == {"rh_cpct": 9000, "rain_um": 0}


def test_a_counter_that_fell_or_was_not_seen_for_a_while_tells_no_rain_for_that_time() -> None:
    sky = heard(Sky(), Reading({}, {"rain_um": 5_000}), NOON_US)
    sky = heard(sky, Reading({}, {"rain_um": 200}), NOON_US)
    sky = heard(missed(sky), Reading({}, {"rain_um": 9_000}), NOON_US)
    sky = heard(sky, Reading({}, {"rain_um": 9_100}), NOON_US)
    assert told(sky, NOON_US)[1] == {"rain_um": 100}
    assert (sky.asked, sky.failed) == (5, 1)


def test_an_old_reading_is_no_news() -> None:
    sky = heard(Sky(), Reading({"rh_cpct": 9000}), NOON_US)
    late_us = NOON_US + STALE_MINUTES * MINUTE_US
    assert told(sky, late_us)[1] and not told(sky, late_us + 1)[1]
    assert not told(Sky(), NOON_US)[1]


class Chip:
    """Says 91 %, fails at the second reading, and lets the test wait for each."""

    def __init__(self) -> None:
        self.readings = 0
        self.read_thrice = threading.Event()

    def read(self) -> Reading:
        self.readings += 1
        if self.readings >= 3:
            self.read_thrice.set()
        if self.readings == 2:
            raise StationFault("the chip does not answer")
        return Reading({"rh_cpct": 9100})

    def close(self) -> None:
        self.readings = -1


def block(counter: int) -> SampleBlock:
    return SampleBlock(counter, np.zeros((10, 1), np.int16))


def test_readings_go_between_the_blocks_once_a_minute_in_place_of_the_sources() -> None:
    chip, now = Chip(), [NOON_US]
    watch = AirWatch(chip, 0.001, lambda: now[0])

    def signal() -> list[SourceItem]:
        assert chip.read_thrice.wait(20)
        yield SlowReading(0, {"rh_cpct": 1000, "supply_mv": 12_000})
        yield SlowReading(0, {"air_cdegc": 1000})
        yield block(0)
        yield block(10)
        now[0] += MINUTE_US
        yield block(20)
        now[0] += MINUTE_US // 2
        yield block(30)

    items = list(watch.beside(signal()))
    watch.close()
    assert chip.readings == -1
    told_at = [(i.counter, dict(i.readings)) for i in items if isinstance(i, SlowReading)]
    assert told_at == [
        (0, {"supply_mv": 12_000}),
        (10, {"rh_cpct": 9100}),
        (30, {"rh_cpct": 9100}),
    ]
    assert sum(isinstance(one, SampleBlock) for one in items) == 4
    counted = watch.counters()
    assert counted["weather_failed"] == 1 and counted["weather_asked"] >= 3
