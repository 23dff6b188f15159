"""The register: what each insulator is, where its sensor sits, and how it was calibrated."""

from __future__ import annotations

from datetime import date, datetime
from enum import StrEnum
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, model_validator

from edge.decide.binding import Basis

ALLOWED_IN_ID = r"^[^,\"/\x00-\x1f\x7f]{1,48}$"
"""An insulator's id: printable, without comma, quote, slash or control characters."""


class Part(BaseModel):
    """One table of the settings: no unknown key, no silent conversion, never changed."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


Positive = Annotated[float, Field(gt=0, strict=False)]
Number = Annotated[float, Field(strict=False)]
Word = Annotated[str, Field(min_length=1, max_length=200)]


class InsulatorType(StrEnum):
    """What the surface is; it decides which advice is allowed."""

    COMPOSITE = "composite"
    COATED_CERAMIC = "coated-ceramic"
    COATED_GLASS = "coated-glass"
    CERAMIC = "ceramic"
    GLASS = "glass"


class CalibrationPart(Part):
    """A dated calibration; add a newer one, never change an old one."""

    id: Word
    valid_from: datetime
    gain: Number = 1.0
    offset_ma: Number = 0.0
    lag_deg: Annotated[float, Field(ge=-45, le=45, strict=False)] = 0.0
    dry_ma: Annotated[float, Field(ge=0, strict=False)] | None = None
    dry_deg: Annotated[float, Field(ge=-180, le=180, strict=False)] | None = None
    dry_spread_ma: Annotated[float, Field(ge=0, strict=False)] = 0.0

    @model_validator(mode="after")
    def _whole(self) -> CalibrationPart:
        if self.valid_from.tzinfo is None:
            raise ValueError("valid_from needs a time zone, e.g. 2026-05-01T00:00:00Z")
        if (self.dry_ma is None) != (self.dry_deg is None):
            raise ValueError("dry_ma and dry_deg belong together: give both or neither")
        if self.gain == 0:
            raise ValueError("gain is 0; it must be above 0, or below for a reversed sensor")
        return self


class RangePart(Part):
    """One range of a sensor."""

    channel: Word
    full_scale_ma: Positive | None = None


class InsulatorPart(Part):
    """The register's entry of one insulator. Lengths in mm, voltages in kV."""

    id: Annotated[str, Field(pattern=ALLOWED_IN_ID)]
    type: Annotated[InsulatorType, Field(strict=False)]
    profile: Word
    voltage_class_kv: Positive
    creepage_mm: Positive
    arcing_distance_mm: Positive
    creepage_basis: Annotated[Basis, Field(strict=False)]
    phase: Annotated[str, Field(max_length=8)] = ""
    sensor_place: Word
    installed: date | datetime | None = None
    ranges: Annotated[tuple[RangePart, ...], Field(min_length=1, max_length=2, strict=False)]
    calibrations: Annotated[tuple[CalibrationPart, ...], Field(strict=False)] = ()

    @model_validator(mode="after")
    def _ordered(self) -> InsulatorPart:
        if len(self.ranges) == 2:
            fine, coarse = (one.full_scale_ma for one in self.ranges)
            if fine is None or coarse is None or fine >= coarse:
                raise ValueError("two ranges need full_scale_ma each, the fine (smaller) one first")
        dates = [one.valid_from for one in self.calibrations]
        if dates != sorted(set(dates)):
            raise ValueError("calibrations must be in order of valid_from, each date once")
        return self

    @property
    def specific_creepage_mm_kv(self) -> float:
        """Creepage distance for each kV of the highest voltage, on the entry's basis."""
        if self.creepage_basis is Basis.PHASE_EARTH:
            return float(self.creepage_mm / (self.voltage_class_kv / 3**0.5))
        return float(self.creepage_mm / self.voltage_class_kv)
