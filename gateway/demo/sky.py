"""The weather in words: by the weather rows that have come, not by the night's plan. Pure."""

from __future__ import annotations

import math

from edge.records import WeatherRow

RAIN_UM, DRIZZLE_UM = 42, 5
"""Rain in a minute that washes (2.5 mm/h), and that only wets [um]. Common practice puts the bound
between light and moderate rain at 2.5 mm/h."""
FOG_CPCT, MIST_CPCT, DAMP_CPCT = 9_500, 9_000, 7_500
SALT_WIND_MM_S = 7_000
"""Onshore wind that brings spray (design choice)."""


def turned(before: tuple[str, str, int] | None, word: str, row: WeatherRow) -> tuple[str, str, int]:
    """The weather told after a row: a turn is believed once a second row says the same."""
    if before is None:
        return word, word, row.start_us
    told, turning, at_us = before
    if word == turning and row.start_us != at_us:
        return word, word, row.start_us
    return told, word, (at_us if word == turning else row.start_us)


def weather_word(row: WeatherRow, faces_deg: float) -> str:
    """What the weather does by one row."""
    rain_um, humid_cpct = row.rain_um or 0, row.rh_cpct or 0
    if rain_um >= RAIN_UM:
        return "rain"
    if rain_um >= DRIZZLE_UM:
        return "drizzle"
    if humid_cpct >= FOG_CPCT:
        return "fog"
    if onshore_mm_s(row, faces_deg) >= SALT_WIND_MM_S:
        return "salt wind"
    if humid_cpct >= MIST_CPCT:
        return "mist"
    return "damp air" if humid_cpct >= DAMP_CPCT else "dry air"


def onshore_mm_s(row: WeatherRow, faces_deg: float) -> float:
    """The wind straight off the sea."""
    turn = math.radians((row.wind_from_cdeg or 0) / 100 - faces_deg)
    return (row.wind_mm_s or 0) * math.cos(turn)


MEANINGS = {
    "rain": "washes salt off",
    "drizzle": "wets the salt",
    "fog": "salt dissolves, films form",
    "salt wind": "salt settles",
    "mist": "films thin, dry bands form",
    "damp air": "salt takes up water",
    "dry air": "surfaces dry",
}


def sky_text(word: str, row: WeatherRow) -> str:
    rain = f" {(row.rain_um or 0) * 60 / 1000:.1f} mm/h" if word in ("rain", "drizzle") else ""
    humid, wind = (row.rh_cpct or 0) / 100, (row.wind_mm_s or 0) / 1000
    return f"{word}{rain}, {humid:.0f} % humid, wind {wind:.0f} m/s: {MEANINGS[word]}"
