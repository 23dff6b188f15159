"""The examples in deploy/ load as they stand."""

from pathlib import Path

from edge.settings import parse_settings
from gateway.settings import read_settings

DEPLOY = Path(__file__).resolve().parents[2] / "deploy"


def test_the_gateway_example_watches_the_insulators_of_the_unit_example() -> None:
    unit = parse_settings((DEPLOY / "edge.example.toml").read_text("utf-8"), "edge.example.toml")
    gateway = read_settings(DEPLOY / "gateway.example.toml")
    site, monitor = unit.unit.id.split(".")
    watched = gateway.sites[site].units[monitor].insulators
    assert watched == tuple(one.id for one in unit.insulator)
