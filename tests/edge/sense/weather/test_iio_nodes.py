"""Humidity and temperature chips as the kernel shows them: files, read each time anew."""

from __future__ import annotations

from pathlib import Path

import pytest

from edge.sense.weather import StationFault, open_station
from edge.source_settings import WeatherPart


def chip(root: Path, **files: str) -> Path:
    folder = root / "sys/bus/iio/devices/iio:device4"
    folder.mkdir(parents=True)
    for name, text in {"name": "damp-chip", **files}.items():
        (folder / name).write_text(f"{text}\n")
    return folder


def part(root: Path) -> WeatherPart:
    return WeatherPart.model_validate({"kind": "iio", "device": "damp-chip", "root": str(root)})


def test_raw_codes_are_read_with_their_offset_and_scale(tmp_path: Path) -> None:
    folder = chip(
        tmp_path,
        in_humidityrelative_raw="43200",
        in_humidityrelative_scale="1.52588",
        in_temp_raw="20000",
        in_temp_offset="-16000",
        in_temp_scale="2.5",
    )
    station = open_station(part(tmp_path))
    assert station.read().now == {"rh_cpct": 6592, "air_cdegc": 1000}
    (folder / "in_temp_raw").write_text("15000\n")
    assert station.read().now == {"rh_cpct": 6592, "air_cdegc": -250}
    station.close()


def test_what_the_driver_has_worked_out_is_taken_as_it_is(tmp_path: Path) -> None:
    chip(tmp_path, in_humidityrelative_input="88125")
    assert open_station(part(tmp_path)).read().now == {"rh_cpct": 8812}


def test_a_chip_without_humidity_and_temperature_or_one_that_fails_is_told(tmp_path: Path) -> None:
    folder = chip(tmp_path, in_pressure_input="101.3")
    with pytest.raises(StationFault, match="neither in_humidityrelative nor in_temp"):
        open_station(part(tmp_path))
    (folder / "in_temp_raw").write_text("12\n")
    station = open_station(part(tmp_path))
    with pytest.raises(StationFault, match="in_temp_scale is missing"):
        station.read()
    (folder / "in_temp_scale").write_text("some\n")
    with pytest.raises(StationFault, match="in_temp_scale holds 'some'; a number was expected"):
        station.read()


def test_a_chip_that_is_not_there_is_told_with_those_that_are(tmp_path: Path) -> None:
    with pytest.raises(StationFault, match="no IIO device 'damp-chip'; there are: none"):
        open_station(part(tmp_path))
