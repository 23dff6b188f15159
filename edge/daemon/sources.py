"""The source that the settings name, opened: what describes it, its items, and its health."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from edge.clock import Clock, steady_ns, steady_s
from edge.daemon import dating
from edge.daemon.air import AirWatch
from edge.daemon.pacing import paced
from edge.samples import SignalDescription, SourceItem
from edge.sense.iio import open_converter
from edge.sense.link import HELLO_WAIT_S
from edge.sense.reconnecting import ReconnectingLink
from edge.sense.recordings import Recordings, open_recordings
from edge.sense.serial_port import open_serial
from edge.sense.virtual_site import SITES, VirtualSite
from edge.sense.weather import open_station
from edge.settings import Settings, SettingsError
from edge.source_settings import SourcePart, WeatherPart

BLOCK_SAMPLES = 8_192
"""Samples of a stored recording taken at a time; bounds the memory, changes nothing in the rows."""

BLOCK_REAL_S = 0.19
"""Real time that a simulated site's block stands for, so that a fast clock has long blocks, which
cost less; never less than a second of signal."""

WAIT_S_MAX = 1.0
"""A wait shows life and hears a stop this often."""


class Life:
    """A thread's sign of life, and what tells it to stop."""

    def __init__(self, stop: threading.Event) -> None:
        self.stop = stop
        self.alive_ns = steady_ns()

    def is_over(self) -> bool:
        """Asked at every turn of the thread: shows that it lives."""
        self.alive_ns = steady_ns()
        return self.stop.is_set()

    def pause(self, pause_s: float) -> bool:
        """Wait, or until told to stop; True where it was."""
        until_ns = steady_ns() + round(pause_s * 1e9)
        while (left_s := (until_ns - steady_ns()) / 1e9) > 0 and not self.is_over():
            self.stop.wait(min(left_s, WAIT_S_MAX))
        return self.is_over()

    def wait_until(self, clock: Clock, until_us: int) -> bool:
        """Wait until the clock shows a time; False where told to stop."""
        return not self.pause(clock.wait_s(until_us))


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """An open source.

    identity: tells a stored signal from another one; "" of a live one. is_live: of a real sensor.
    cut: why there is less of it than it says. is_dated_by_clock: a stored signal that takes its
    dates from the clock at which it begins. counts_on: its counter runs on over a restart of this
    program.
    items: begins the signal, its first moment at this clock time [us]. counters: what the source
    counted; firmware: of the sensor unit, as it names itself; silence: why no samples come, ""
    while they do; all three may be read from any thread.
    """

    description: SignalDescription
    items: Callable[[int], Iterator[SourceItem]]
    close: Callable[[], None] = lambda: None
    counters: Callable[[], Mapping[str, int]] = dict
    firmware: Callable[[], str] = str
    silence: Callable[[], str] = str
    flags: tuple[str, ...] = ()
    cut: str = ""
    identity: str = ""
    is_live: bool = False
    is_dated_by_clock: bool = False
    counts_on: bool = False

    @property
    def is_stored(self) -> bool:
        """Whether it can be played again from its beginning."""
        return bool(self.identity)


def open_source(
    settings: Settings, base: Path, clock: Clock, life: Life, hello_wait_s: float = HELLO_WAIT_S
) -> Source:
    """Opens what the settings name; relative paths are meant from the folder `base`.

    hello_wait_s: how long a sensor unit may take to say what it is. Raises LinkDown,
    FirmwareRefused, IioFault, StationFault, RecordingError, SettingsError.
    """
    source = _samples(settings, base, clock, life, hello_wait_s)
    if settings.weather is None:
        return source
    try:
        return _with_weather(source, settings.weather, clock)
    except OSError:
        source.close()
        raise


def _samples(
    settings: Settings, base: Path, clock: Clock, life: Life, hello_wait_s: float
) -> Source:
    part = settings.source
    if part.kind == "link":
        assert part.port is not None
        return _link(part.port, part.baud, clock, life, hello_wait_s)
    if part.kind == "iio":
        return _iio(part, settings.site.nominal_hz, clock, life)
    if part.kind == "recordings":
        assert part.path is not None
        return stored(open_recordings(base / part.path), clock, life)
    return _virtual_site(part, clock, life)


def _with_weather(source: Source, part: WeatherPart, clock: Clock) -> Source:
    watch = AirWatch(open_station(part), part.every_s, clock.utc_us)

    def close() -> None:
        watch.close()
        source.close()

    return replace(
        source,
        items=lambda begin_us: watch.beside(source.items(begin_us)),
        close=close,
        counters=lambda: {**source.counters(), **watch.counters()},
    )


def _link(port: str, baud: int, clock: Clock, life: Life, hello_wait_s: float) -> Source:
    link = ReconnectingLink(
        port, lambda: open_serial(port, baud), steady_s, life.pause, life.is_over
    )
    description = link.describe(hello_wait_s)
    return Source(
        description=description,
        items=lambda begin_us: _dated_by_host(link, description.rate_hz, clock),
        close=link.close,
        counters=lambda: link.health().counters,
        firmware=link.firmware,
        silence=lambda: link.health().reason,
        is_live=True,
        counts_on=True,
    )


def _iio(part: SourcePart, nominal_hz: float, clock: Clock, life: Life) -> Source:
    assert part.iio is not None
    converter = open_converter(part.iio, nominal_hz, steady_s, life.is_over)
    rate_hz = converter.description.rate_hz
    return Source(
        description=converter.description,
        items=lambda begin_us: _dated_by_host(converter, rate_hz, clock),
        close=converter.close,
        counters=converter.counters,
        silence=converter.silence,
        is_live=True,
    )


def _dated_by_host(
    items: Iterable[SourceItem], rate_hz: float, clock: Clock
) -> Iterator[SourceItem]:
    """With the host's anchors, where the source gives no better ones."""
    host = dating.HostDating()
    for item in items:
        now_us, known = clock.utc_us(), clock.discipline()
        host, dated = dating.host_dated(host, item, now_us, known, rate_hz)
        yield from dated


def stored(found: Recordings, clock: Clock, life: Life) -> Source:
    """Recordings as a source: played at once, or as an affine clock runs."""
    rate_hz = found.description.rate_hz

    def items(begin_us: int) -> Iterator[SourceItem]:
        played = found.items(BLOCK_SAMPLES)
        if not clock.is_affine:
            return played
        return paced(played, rate_hz, lambda us: life.wait_until(clock, us), begin_us)

    return Source(
        description=found.description,
        items=items,
        flags=found.flags,
        cut=found.cut,
        identity=found.identity,
    )


def _virtual_site(part: SourcePart, clock: Clock, life: Life) -> Source:
    plans = {plan.name: plan for plan in SITES}
    if part.plan not in plans:
        raise SettingsError(f"source.plan is {part.plan!r}; there are {', '.join(plans)}")
    plan = plans[part.plan]
    if part.night_minutes is not None:
        plan = replace(plan, climate=replace(plan.climate, night_minutes=part.night_minutes))
    site = VirtualSite(plan, part.seed)
    description = site.description()
    block_s = max(1.0, clock.rate * BLOCK_REAL_S)

    def items(begin_us: int) -> Iterator[SourceItem]:
        signal = site.source(begin_us * 1000, block_samples=round(block_s * description.rate_hz))
        return paced(signal, description.rate_hz, lambda us: life.wait_until(clock, us))

    identity = f"virtual site {plan.name} {part.seed} {plan.climate.night_minutes} min"
    return Source(description=description, items=items, identity=identity, is_dated_by_clock=True)
