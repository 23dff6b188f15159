"""Time zones as a person writes them."""

from __future__ import annotations

import re
from datetime import UTC, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from edge.settings import SettingsError

_OFFSET = re.compile(r"([+-])(\d{2}):?(\d{2})")


def zone_of(text: str | None) -> tzinfo | None:
    """UTC, an offset such as +02:00, or a name of the time-zone database. Raises SettingsError."""
    if text is None:
        return None
    if text.upper() in ("UTC", "Z"):
        return UTC
    offset = _OFFSET.fullmatch(text)
    try:
        if offset:
            sign = -1 if offset[1] == "-" else 1
            return timezone(sign * timedelta(hours=int(offset[2]), minutes=int(offset[3])))
        return ZoneInfo(text)
    except (ZoneInfoNotFoundError, ValueError) as fault:
        raise SettingsError(
            f"--time-zone {text!r}: not known; give UTC, an offset such as +02:00, "
            "or a name such as Europe/Lisbon"
        ) from fault


def zone_text(zone: tzinfo | None) -> str | None:
    """What `zone_of` makes the same zone of."""
    return None if zone is None else str(zone).removeprefix("UTC") or "UTC"
