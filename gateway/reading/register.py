"""The register of a site for analysts: what each insulator is, and where the sea lies. TOML.

coast_bearing_deg = 250
[insulator.P1]
type = "composite"
stress = "24 kV post"
creepage_mm_kv = 31
creepage_basis = "phase-phase"
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from edge.decide.binding import Basis
from edge.settings import SettingsError
from gateway.trends.columns import RegisterEntry, SurfaceType


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class _Insulator(_Part):
    type: SurfaceType = SurfaceType.UNKNOWN
    stress: Annotated[str, Field(max_length=80)] = ""
    creepage_mm_kv: Annotated[float, Field(ge=5, le=200)] | None = None
    creepage_basis: Basis | None = None

    @model_validator(mode="after")
    def _whole(self) -> _Insulator:
        if (self.creepage_mm_kv is None) != (self.creepage_basis is None):
            raise ValueError("creepage_mm_kv and creepage_basis belong together: both or neither")
        return self


class Register(_Part):
    """coast_bearing_deg: direction from the site to the sea, clockwise from north."""

    coast_bearing_deg: Annotated[float, Field(ge=0, le=360)] | None = None
    insulator: dict[str, _Insulator] = {}

    def entries(self) -> dict[str, RegisterEntry]:
        """As the trends take them."""
        return {
            name: RegisterEntry(one.type, one.stress, one.creepage_mm_kv, one.creepage_basis)
            for name, one in self.insulator.items()
        }


def beside(data: Path, site: str) -> Path | None:
    """The register that lies beside a site's history; None where there is none."""
    path = data / f"{site}.register.toml"
    return path if path.exists() else None


def read_register(path: Path) -> Register:
    """The register of a file. Raises SettingsError naming key, what was found, what is allowed."""
    try:
        return Register.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise SettingsError(f"register {path}: not TOML: {fault}") from fault
    except ValidationError as fault:
        first = fault.errors()[0]
        key = ".".join(str(part) for part in first["loc"]) or "top"
        message = first["msg"].removeprefix("Value error, ")
        raise SettingsError(f"register {path}: {key}: {message}") from fault
