"""What a tick brings with it: the time, and what is known of the site beside its alarms."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class UnitSight:
    """How a unit stands with the gateway.

    heard_us: when its last line came, by the gateway's clock; 0 never. live_since_us: since when
    what it sends is of the present, 0 where it is not.
    """

    heard_us: int = 0
    live_since_us: int = 0


@dataclass(frozen=True, slots=True)
class Sight:
    """The site at `now_us`, by the gateway's clock.

    installed, watched: insulators, and those with fresh rows of a sound sensor. peaks_ua: highest
    arcing current of each insulator's last row. units: those that are registered or were heard.
    elsewhere_us: when other sites of the same operating position called lately, worsening aside.
    """

    now_us: int
    installed: int = 0
    watched: int = 0
    peaks_ua: Mapping[str, int] = field(default_factory=dict)
    units: Mapping[str, UnitSight] = field(default_factory=dict)
    elsewhere_us: tuple[int, ...] = ()
