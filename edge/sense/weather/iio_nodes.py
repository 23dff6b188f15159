"""Humidity and temperature chips that the kernel shows as IIO devices, read file by file.

Units of the kernel's ABI, as recalled: milli-percent and milli-degrees, either as `_input`, or as
`_raw` with `_offset` and `_scale`.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from edge.sense.iio import tree
from edge.sense.iio.tree import IioFault
from edge.sense.weather.station import Reading, StationFault
from edge.source_settings import WeatherPart, in_units

ELEMENTS = {"rh_pct": "in_humidityrelative", "air_c": "in_temp"}


class IioNodes:
    """One device with at least one of the elements."""

    def __init__(self, part: WeatherPart) -> None:
        assert part.device is not None
        try:
            self._device = tree.find_device(Path(part.root), part.device)
        except IioFault as fault:
            raise StationFault(str(fault)) from fault
        found = {column: _reader(self._device.folder, stem) for column, stem in ELEMENTS.items()}
        self._readers = {column: read for column, read in found.items() if read is not None}
        if not self._readers:
            raise StationFault(
                f"{self._device.folder} has neither {' nor '.join(ELEMENTS.values())}; name a "
                "humidity chip"
            )

    def read(self) -> Reading:
        try:
            told = {column: read() for column, read in self._readers.items()}
        except IioFault as fault:
            raise StationFault(str(fault)) from fault
        return Reading({NAMES[column]: in_units(column, figure) for column, figure in told.items()})

    def close(self) -> None:
        """Nothing is held open."""


NAMES = {"rh_pct": "rh_cpct", "air_c": "air_cdegc"}


def _reader(folder: Path, stem: str) -> Callable[[], float] | None:
    """What reads the element in percent or degrees; None where the device has none."""
    done, raw = folder / f"{stem}_input", folder / f"{stem}_raw"
    if done.exists():
        return lambda: tree.read_number(done) / 1000
    if not raw.exists():
        return None

    def scaled() -> float:
        offset = tree.read_number(folder / f"{stem}_offset", 0.0)
        return (tree.read_number(raw) + offset) * tree.read_number(folder / f"{stem}_scale") / 1000

    return scaled
