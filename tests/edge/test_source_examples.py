"""What the examples show of sources and weather can be pasted and loads."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from edge.settings import Settings, parse_settings
from tests.edge.daemon.builders import settings_text
from tests.house.measures import TOP

CONVERTER = "[source.iio]"
WEATHER = "[weather]"
KEY = re.compile(r"^(\[\[?[a-z.]+\]?\]|[a-z_]+ = )")


def commented(path: Path, head: str) -> str:
    """The lines of a commented table, and of what follows it, up to the next line of prose."""
    lines = [line.removeprefix("# ") for line in path.read_text("utf-8").splitlines()]
    first = next(n for n, line in enumerate(lines) if line.startswith(head))
    table = []
    for line in lines[first:]:
        if not KEY.match(line):
            break
        table.append(line)
    return "\n".join(table)


def fenced(path: Path, head: str) -> str:
    """The block of a page that holds a table."""
    blocks = [one.partition("```")[0] for one in path.read_text("utf-8").split("```toml\n")[1:]]
    return next(block for block in blocks if head in block)


def loaded(text: str) -> Settings:
    """Beside a link where they are of weather only."""
    source = tomllib.loads(text).get("source")
    own = "" if source else 'kind = "link"\nport = "x"'
    whole = settings_text(own if not source else "kind = 'KIND'")
    if source:
        whole = whole.replace(
            "[source]\nkind = 'KIND'",
            text if "kind" in source else f'[source]\nkind = "iio"\n{text}',
        )
    else:
        whole = whole.replace("[store]", f"{text}\n[store]")
    return parse_settings(whole, "example")


@pytest.mark.parametrize(
    "text",
    [
        commented(TOP / "deploy/edge.example.toml", CONVERTER),
        fenced(TOP / "edge/sense/README.md", CONVERTER),
    ],
    ids=["example", "page"],
)
def test_the_example_of_a_converter_loads(text: str) -> None:
    part = loaded(text).source.iio
    assert part is not None and part.rate_hz == 9600
    assert part.channel[0].element == "in_voltage0" and part.channel[0].ma_per_mv == 0.2


@pytest.mark.parametrize(
    "text",
    [
        commented(TOP / "deploy/edge.example.toml", WEATHER),
        fenced(TOP / "edge/sense/README.md", WEATHER),
    ],
    ids=["example", "page"],
)
def test_the_example_of_a_weather_station_loads(text: str) -> None:
    part = loaded(text).weather
    assert part is not None and part.device_id == 1
    assert [one.column for one in part.reading] == ["rh_pct", "rain_mm"]
    assert part.reading[1].total and not part.reading[0].total
