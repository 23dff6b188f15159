"""Figures for a Prometheus server, made when they are asked for."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric

from edge.version import __version__
from gateway.console.alarm_picture import AlarmsTold
from gateway.console.picture import Picture
from gateway.console.sources import Standing
from gateway.watch.heartbeat import Beats

CONTENT_TYPE = "text/plain; version=0.0.4; charset=utf-8"
US_PER_S = 1_000_000


@dataclass(frozen=True, slots=True)
class Figures:
    """What is told. extra: single figures of other parts, by name, help and labels."""

    picture: Picture
    alarms: AlarmsTold
    standing: Standing
    refused: int
    noticed: int
    beats: Beats
    extra: tuple[tuple[str, str, dict[str, str], float], ...] = ()


def metrics_text(figures: Callable[[], Figures]) -> bytes:
    """The text of one scrape."""
    registry = CollectorRegistry(auto_describe=False)
    registry.register(_Collector(figures()))
    return generate_latest(registry)


class _Collector:
    def __init__(self, figures: Figures) -> None:
        self._figures = figures

    def collect(self) -> Iterator[Metric]:
        yield from _gateway(self._figures)
        yield from _sites(self._figures)
        yield from _units(self._figures)
        yield from _extra(self._figures)


def _gauge(name: str, text: str, amount: float) -> Metric:
    return GaugeMetricFamily(f"seafret_{name}", text, amount)


def _gateway(found: Figures) -> Iterator[Metric]:
    info = GaugeMetricFamily("seafret_info", "The gateway's version.", labels=["version"])
    info.add_metric([__version__], 1)
    yield info
    yield _gauge("broker_connected", "Whether units can be heard.", found.standing.broker_connected)
    yield _gauge("store_ok", "Whether rows can be stored.", not found.standing.store_fault)
    yield CounterMetricFamily("seafret_refused", "Messages refused since the start.", found.refused)
    yield CounterMetricFamily("seafret_noticed", "Security events since the start.", found.noticed)
    yield CounterMetricFamily("seafret_heartbeats", "Beats since the start.", found.beats.number)
    yield _gauge("sound", "Whether the last beat found the gateway sound.", not found.beats.why_not)
    pinged_s = found.beats.pinged_us / US_PER_S
    yield _gauge("heartbeat_pinged_seconds", "When a ping was last answered.", pinged_s)


def _sites(found: Figures) -> Iterator[Metric]:
    installed = GaugeMetricFamily("seafret_insulators", "Insulators installed.", labels=["site"])
    watched = GaugeMetricFamily(
        "seafret_insulators_watched", "Insulators with fresh, sound data.", labels=["site"]
    )
    for one in found.picture.sites:
        installed.add_metric([one.site], one.insulators)
        watched.add_metric([one.site], one.watched)
    yield installed
    yield watched
    alarms = GaugeMetricFamily(
        "seafret_alarms", "Alarms by state as they are shown.", labels=["site", "state"]
    )
    tasks = GaugeMetricFamily("seafret_tasks", "Tasks that wait.", labels=["site"])
    for site in found.alarms.sites:
        tasks.add_metric([site.site], site.tasks)
        for state, count in site.shown.items():
            alarms.add_metric([site.site, state], count)
    yield alarms
    yield tasks


def _units(found: Figures) -> Iterator[Metric]:
    age = GaugeMetricFamily(
        "seafret_unit_data_age_seconds", "Age of a unit's newest row.", labels=["unit"]
    )
    heard = GaugeMetricFamily(
        "seafret_unit_heard_age_seconds", "Since a unit was last heard.", labels=["unit"]
    )
    backlog = GaugeMetricFamily(
        "seafret_unit_backlog", "Records that a unit still holds for us.", labels=["unit"]
    )
    for one in found.picture.units:
        if one.data_age_us is not None:
            age.add_metric([one.unit], one.data_age_us / US_PER_S)
        if one.heard_age_us is not None:
            heard.add_metric([one.unit], one.heard_age_us / US_PER_S)
        if one.health is not None:
            backlog.add_metric([one.unit], one.health.backlog)
    yield age
    yield heard
    yield backlog


def _extra(found: Figures) -> Iterator[Metric]:
    families: dict[str, GaugeMetricFamily] = {}
    for name, text, labels, amount in found.extra:
        if name not in families:
            families[name] = GaugeMetricFamily(f"seafret_{name}", text, labels=list(labels))
        families[name].add_metric(list(labels.values()), amount)
    yield from families.values()
