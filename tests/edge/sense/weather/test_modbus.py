"""A station on a Modbus RTU line, served by pymodbus's own server over pseudo-terminals."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from pydantic import ValidationError

from edge.sense.weather import Reading, Station, StationFault, open_station
from edge.source_settings import WeatherPart
from tests.edge.sense.weather.line import STATION_ID, ServedStation, two_ends

HUMIDITY = {"column": "rh_pct", "address": 0, "type": "u16", "scale": 0.01}
AIR = {"column": "air_c", "address": 1, "type": "s16", "scale": 0.1}
RAIN = {"column": "rain_mm", "address": 10, "type": "u32", "scale": 0.2, "total": True}
WIND = {"column": "wind_m_s", "address": 20, "type": "f32"}
BEARING = {"column": "wind_from_deg", "address": 0, "table": "holding", "type": "u16", "offset": 15}


def settings(port: str, *reading: dict[str, object], **changed: object) -> WeatherPart:
    plain: dict[str, object] = {"kind": "modbus-rtu", "port": port, "device_id": STATION_ID}
    plain |= {"reading": reading, "timeout_s": 0.5}
    return WeatherPart.model_validate({**plain, **changed})


@pytest.fixture(scope="module")
def line(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The near end of a line with a station at its far end."""
    with two_ends(tmp_path_factory.mktemp("line")) as (near, far), ServedStation(far):
        yield near


def told(station: Station) -> Reading:
    try:
        return station.read()
    finally:
        station.close()


def test_registers_become_readings_of_the_glossary(line: str) -> None:
    found = told(open_station(settings(line, HUMIDITY, AIR, RAIN, WIND, BEARING)))
    assert found.now == {
        "rh_cpct": 8734,
        "air_cdegc": -1250,
        "wind_mm_s": 4250,
        "wind_from_cdeg": 26_000,
    }
    assert found.totals == {"rain_um": 14_000_200}


def test_the_order_of_the_words_is_a_setting(line: str) -> None:
    swapped = {**RAIN, "low_word_first": True}
    found = told(open_station(settings(line, swapped)))
    assert found.totals == {"rain_um": round(((4465 << 16) + 1) * 0.2 * 1000)}


FAULTS = [
    ({**HUMIDITY, "address": 900}, r"input register 900 \(rh_pct\): it has no such address"),
    ({**WIND, "address": 30}, "holds no number; check type and low_word_first"),
]


@pytest.mark.parametrize(("reading", "words"), FAULTS)
def test_a_station_that_does_not_tell_is_a_fault_with_what_to_do(
    line: str, reading: dict[str, object], words: str
) -> None:
    station = open_station(settings(line, reading))
    with pytest.raises(StationFault, match=words):
        told(station)


def test_a_station_answers_again_after_a_fault(line: str) -> None:
    station = open_station(settings(line, HUMIDITY, {**AIR, "address": 900}))
    with pytest.raises(StationFault):
        station.read()
    station.close()
    assert told(open_station(settings(line, HUMIDITY))).now == {"rh_cpct": 8734}


def test_a_line_without_a_station_is_told_as_one_that_does_not_answer(tmp_path: Path) -> None:
    with two_ends(tmp_path) as (near, _):
        station = open_station(settings(near, HUMIDITY, timeout_s=0.2))
        with pytest.raises(StationFault, match="device 7 does not answer; check supply, wiring"):
            told(station)


def test_a_port_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(StationFault, match="nothing-here cannot be opened; check the adapter"):
        told(open_station(settings(str(tmp_path / "nothing-here"), HUMIDITY)))


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"port": None}, "needs port and at least one"),
        ({"reading": []}, "needs port and at least one"),
        ({"reading": [HUMIDITY, HUMIDITY]}, "column 'rh_pct' has two registers"),
        ({"reading": [{**AIR, "total": True}]}, "total belongs to rain_mm"),
        ({"reading": [{**AIR, "scale": 0}]}, "scale is 0"),
        ({"reading": [{**AIR, "column": "leaf_wetness"}]}, "rh_pct"),
        ({"kind": "iio", "port": None, "reading": []}, "needs device"),
        ({"kind": "iio", "device": "hum"}, "belong to kind"),
        ({"device_id": 248}, "less than or equal to 247"),
    ],
)
def test_settings_of_a_station_that_cannot_be_are_refused(
    changed: dict[str, object], words: str
) -> None:
    plain: dict[str, object] = {"kind": "modbus-rtu", "port": "p", "reading": [HUMIDITY]}
    with pytest.raises(ValidationError, match=words):
        WeatherPart.model_validate({**plain, **changed})
