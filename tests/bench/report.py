"""The figures as a table of 80 columns, or as JSON."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict

from tests.bench.timing import Figure

_ROW = "{name:<46}{low:>8}{middle:>8}{high:>8} {unit}"


def table(figures: Iterable[Figure]) -> str:
    """Lines of at most 80 columns, a heading for each part; a target stands under its figure."""
    lines: list[str] = []
    part = ""
    for one in figures:
        if one.part != part:
            part = one.part
            head = _ROW.format(name=part, low="min", middle="median", high="max", unit="")
            lines += ["", head.rstrip()]
        lines.append(_line(one))
        if one.target:
            lines.append(f"      target: {one.target}")
    return "\n".join(lines[1:]) + "\n"


def _line(one: Figure) -> str:
    each = one.spread
    text = _ROW.format(
        name=f"  {one.name}",
        low=_number(each.low),
        middle=_number(each.middle),
        high=_number(each.high),
        unit=one.unit,
    )
    return text.rstrip()


def _number(found: float) -> str:
    return f"{found:.0f}" if abs(found) >= 1000 else f"{found:.3g}"


def as_json(figures: Iterable[Figure]) -> str:
    """A list of objects: part, name, unit, target, and low, middle, high."""
    plain = []
    for one in figures:
        found = asdict(one)
        plain.append(found | found.pop("spread"))
    return json.dumps(plain, indent=1) + "\n"
