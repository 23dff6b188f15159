"""The file that says what a sweep tries, on which labelled library, and what it keeps back."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from typing import Any

from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.decide.definitions import Alarm
from edge.quantities import INT64_MAX
from gateway.replay.instants import instant_us

POINTS_MAX = 2_000
"""More settings in one grid are refused: a coarser grid first, then a finer one around its best."""

DELAYS = ("on_delay_s", "off_delay_s")

Point = tuple[tuple[str, int], ...]
"""Setting and amount, as ("arcing.on_delay_s", 120); () for the limits in force."""

_TABLES = ("grid", "hold_out", "load", "judging", "site")


class GridFault(ValueError):
    """The analyst's: the file of a sweep is not acceptable."""


@dataclass(frozen=True, slots=True)
class SitePart:
    """One site of the library. Paths are relative to the file's folder. recordings or data."""

    name: str
    labels: str
    recordings: str = ""
    data: str = ""
    unit: str | None = None
    settings: str = ""
    held_out: bool = False


@dataclass(frozen=True, slots=True)
class Grid:
    """points: each combination, the limits in force first. held_from_us: time that is kept back;
    held: insulators that are. alarms_per_month: the load to compare at; None: that of the limits in
    force. *_us: how alarms and events are matched.
    """

    points: tuple[Point, ...]
    sites: tuple[SitePart, ...]
    held_from_us: int = INT64_MAX
    held: tuple[str, ...] = ()
    alarms_per_month: float | None = None
    before_us: int = 3_600_000_000
    after_us: int = 900_000_000
    join_us: int = 3_600_000_000


def read_grid(text: str, where: str) -> Grid:
    """The grid of a TOML text. Raises GridFault, InstantFault."""
    try:
        plain = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise GridFault(f"{where}: {fault}") from fault
    odd = sorted(set(plain) - set(_TABLES))
    if odd:
        raise GridFault(f"{where}: {', '.join(odd)} is unknown; there are {', '.join(_TABLES)}")
    held, judging = plain.get("hold_out", {}), plain.get("judging", {})
    return Grid(
        points=((), *_points(plain.get("grid", {}), where)),
        sites=_sites(plain.get("site", []), where),
        held_from_us=instant_us(str(held["from"]), f"{where}: hold_out.from")
        if "from" in held
        else INT64_MAX,
        held=tuple(held.get("insulators", ())),
        alarms_per_month=plain.get("load", {}).get("alarms_per_month"),
        **{
            f"{name}_us": round(60_000_000 * judging[f"{name}_min"])
            for name in ("before", "after", "join")
            if f"{name}_min" in judging
        },
    )


def _points(plain: Mapping[str, Any], where: str) -> list[Point]:
    if not plain:
        raise GridFault(
            f"{where}: a sweep over nothing; give [grid] with settings as "
            '"arcing.on_delay_s" = [60, 180]'
        )
    for name, amounts in plain.items():
        _check(name, amounts, where)
    count = 1
    for amounts in plain.values():
        count *= len(amounts)
    if count > POINTS_MAX:
        raise GridFault(f"{where}: {count} combinations; at most {POINTS_MAX} are tried")
    return [tuple(zip(plain, amounts, strict=True)) for amounts in product(*plain.values())]


def _check(name: str, amounts: object, where: str) -> None:
    alarm, _, setting = name.partition(".")
    allowed = {
        one.id.value: (*DELAYS, *(limit.quantity for limit in one.limits)) for one in DEFAULT_ALARMS
    }
    if setting not in allowed.get(alarm, ()):
        known = ", ".join(f"{alarm}.{one}" for one in allowed.get(alarm, ()))
        raise GridFault(
            f"{where}: grid.{name} is no setting of an alarm; there is "
            f"{known or ', '.join(one.value for one in Alarm)}"
        )
    if not isinstance(amounts, list) or not amounts:
        raise GridFault(f"{where}: grid.{name} is {amounts!r}; a list of whole numbers is needed")
    if not all(type(one) is int and one >= 0 for one in amounts):
        raise GridFault(f"{where}: grid.{name} is {amounts!r}; whole numbers from 0 are allowed")


def _sites(plain: object, where: str) -> tuple[SitePart, ...]:
    if not isinstance(plain, list) or not plain:
        raise GridFault(f"{where}: no [[site]]; each needs name, labels, and recordings or data")
    found = []
    for one in plain:
        try:
            site = SitePart(**one)
        except TypeError as fault:
            raise GridFault(
                f"{where}: [[site]] {one}: {fault}; allowed are {', '.join(SitePart.__slots__)}"
            ) from fault
        if bool(site.recordings) == bool(site.data):
            raise GridFault(f"{where}: site {site.name}: give recordings or data")
        found.append(site)
    if len({one.name for one in found}) < len(found):
        raise GridFault(f"{where}: a site is named twice; each name once is allowed")
    return tuple(found)


def path_of(base: Path, text: str) -> Path:
    """A path of the grid's file."""
    return base / text
