"""A length of time on the command line."""

from __future__ import annotations

import re

import click

_SECONDS = {"s": 1, "min": 60, "h": 3600, "d": 86_400}
_PATTERN = re.compile(r"(\d{1,6})(s|min|h|d)")


def duration_s(option: str, text: str) -> int:
    """Seconds of `90s`, `15min`, `8h` or `2d`. Wrong use where it is none of these."""
    found = _PATTERN.fullmatch(text.strip())
    if found is None or not int(found[1]):
        raise click.UsageError(f"{option} is {text!r}; it must be like 90s, 15min, 8h or 2d")
    return int(found[1]) * _SECONDS[found[2]]
