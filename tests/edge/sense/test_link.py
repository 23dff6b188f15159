"""The link as a source: silence, ends, health; and a port that comes and goes."""

from __future__ import annotations

import time
from itertools import islice
from pathlib import Path

import pytest

from edge.samples import SampleBlock, StreamEnd, TimeAnchor
from edge.sense import framing
from edge.sense.frame_codec import read_body
from edge.sense.frames import Bye, HostHello
from edge.sense.framing import Deframer
from edge.sense.link import (
    SILENT_S,
    STALE_PERIODS,
    STALE_S_MIN,
    FirmwareRefused,
    Link,
    LinkDown,
    LinkSource,
    advance,
    health_of,
)
from edge.sense.reconnecting import REOPEN_PAUSE_S, ReconnectingLink
from edge.sense.serial_port import SerialPort, open_serial
from tests.edge.sense.link_builders import (
    CHANNELS,
    RATE_HZ,
    ROWS,
    Clock,
    Spoken,
    Terminal,
    anchor,
    assert_true_codes,
    blocks,
    hello,
    samples,
    wire,
)


def source_of(*chunks: bytes | None, tick_s: float = 0.0) -> LinkSource:
    return LinkSource(Spoken(chunks), "/dev/unit", Clock(tick_s))


def opened(path: Path) -> SerialPort:
    return open_serial(str(path), pause_s=lambda _: None)


def test_a_stream_is_described_by_its_hello_and_delivered_to_its_end():
    source = source_of(wire([hello(), anchor(0), samples(0)]), None, wire([samples(ROWS)]))
    assert source.describe().channels == CHANNELS and source.describe().rate_hz == RATE_HZ
    items = list(source)
    assert isinstance(items[0], TimeAnchor) and assert_true_codes(blocks(items)) == 2 * ROWS
    assert items[-1] == StreamEnd(2 * ROWS, items[-1].reason)
    assert "/dev/unit has ended" in items[-1].reason and not source.health().alive


def test_a_bye_is_the_last_item_with_the_firmwares_own_words():
    items = list(source_of(wire([hello(), samples(0), Bye(ROWS, "battery low")]), b"more"))
    assert items[-1] == StreamEnd(ROWS, "battery low")


def test_without_a_hello_the_wait_ends_and_says_where_to_look():
    with pytest.raises(LinkDown, match="/dev/unit is silent; check the sensor unit's supply"):
        source_of(*[None] * 100, tick_s=1.0).describe()
    with pytest.raises(LinkDown, match="check the baud rate"):
        source_of(*[b"\0\1\2\3\4\5\6\0"] * 100, tick_s=1.0).describe()


def test_a_hello_that_cannot_be_read_is_the_firmwares_fault():
    with pytest.raises(FirmwareRefused, match=r"/dev/unit: the firmware speaks .* 3\.0"):
        source_of(wire([hello(major=3)])).describe()
    with pytest.raises(FirmwareRefused, match="50000 or 60000"):
        source_of(wire([hello(nominal_millihz=1)])).describe()


def test_a_link_is_stale_within_three_periods_and_alive_again_with_the_next_frame():
    link, _ = advance(Link("/dev/unit", 0.0), wire([hello(frame_rows=960), samples(0)]), 0.0)
    assert health_of(link).alive
    period_s = 960 / RATE_HZ
    link, items = advance(link, b"", STALE_PERIODS * period_s - 0.01)
    assert health_of(link).alive and items == ()
    link, items = advance(link, b"\1\2", STALE_PERIODS * period_s + 0.01)
    health = health_of(link)
    assert not health.alive and "silent" in health.reason and items == ()
    assert health.counters["stale_spells"] == 1
    link, _ = advance(link, b"", 1.0)
    link, _ = advance(link, wire([samples(ROWS)]), 1.1)
    assert health_of(link).alive and health_of(link).counters["stale_spells"] == 1


def test_short_frames_do_not_make_a_busy_host_cry_wolf():
    link, _ = advance(Link("/dev/unit", 0.0), wire([hello(), samples(0)]), 0.0)
    assert STALE_PERIODS * ROWS / RATE_HZ < STALE_S_MIN
    link, _ = advance(link, b"", STALE_S_MIN - 0.01)
    assert health_of(link).alive


def test_long_silence_ends_the_connection_with_a_reason():
    link, _ = advance(Link("/dev/unit", 0.0), wire([hello(), samples(0)]), 0.0)
    link, (end,) = advance(link, b"", SILENT_S + 0.1)
    assert isinstance(end, StreamEnd) and end.counter == ROWS and "silent" in end.reason


def test_counters_are_whole_numbers_under_names_that_fit_a_health_record():
    health = source_of(wire([hello()])).health()
    assert {"refused_crc", "refused_length", "unknown_types", "resynchronisations"} < set(
        health.counters
    )
    assert {"samples_lost", "frames_lost", "connections"} < set(health.counters)
    assert all(type(number) is int and len(name) <= 64 for name, number in health.counters.items())


def test_a_stop_is_heard_while_the_line_is_silent():
    looks = iter([False, False, True])
    source = LinkSource(Spoken([None] * 9), "x", Clock(), lambda: next(looks))
    assert list(source) == []


def test_a_port_delivers_what_a_terminal_sends_and_asks_for_a_hello(tmp_path):
    terminal = Terminal(tmp_path / "unit")
    port = opened(terminal.link)
    terminal.send(wire([hello(), *(samples(n * ROWS) for n in range(40)), Bye(0, "done")]))
    items = list(LinkSource(port, str(terminal.link), time.monotonic))
    assert assert_true_codes(blocks(items)) == 40 * ROWS
    assert isinstance(items[-1], StreamEnd) and items[-1].reason == "done"
    _, asked = framing.step(Deframer(), terminal.greeting)
    assert read_body(asked[0])[1] == HostHello()
    port.close()
    terminal.unplug()


class Bench:
    """A sensor unit on a terminal that is unplugged and plugged in again."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "unit"
        self.terminal = Terminal(self.path)
        self.replug: list[bytes] = []
        self.pauses = 0
        self.link = ReconnectingLink(
            str(self.path), lambda: opened(self.path), time.monotonic, self.pause
        )

    def pause(self, pause_s: float) -> None:
        """The first pause finds the port still gone; at the second it is back."""
        assert pause_s == REOPEN_PAUSE_S
        self.pauses += 1
        if self.pauses % 2 == 0:
            self.terminal = Terminal(self.path)
            self.terminal.send(self.replug.pop(0))


def until_rows(items, rows: int) -> list[SampleBlock]:
    found: list[SampleBlock] = []
    while sum(len(block.samples) for block in found) < rows:
        item = next(items)
        if isinstance(item, SampleBlock):
            found.append(item)
    return found


def test_an_unplugged_port_says_so_and_goes_on_when_it_is_back(tmp_path):
    bench = Bench(tmp_path)
    bench.terminal.send(wire([hello(), anchor(0), samples(0), samples(ROWS)]))
    assert bench.link.describe().channels == CHANNELS
    items = iter(bench.link)
    assert_true_codes(until_rows(items, 2 * ROWS))
    assert bench.link.health().alive
    bench.replug.append(wire([hello(), samples(9 * ROWS)], sequence=20))
    bench.terminal.unplug()
    end = next(items)
    assert isinstance(end, StreamEnd) and end.counter == 2 * ROWS
    assert f"{bench.path} went away; check the USB lead" in end.reason
    assert not bench.link.health().alive
    (block,) = until_rows(items, ROWS)
    assert bench.pauses == 2 and block.counter == 9 * ROWS and assert_true_codes([block]) == ROWS
    health = bench.link.health()
    assert health.alive and health.counters["samples_lost"] == 7 * ROWS
    assert health.counters["connections"] == 2 and health.counters["restarts"] == 0
    bench.link.close()
    bench.terminal.unplug()


def test_a_firmware_that_restarts_in_mid_frame_goes_on_under_a_counter_that_never_falls(tmp_path):
    bench = Bench(tmp_path)
    cut = wire([samples(50_000 + ROWS)], sequence=2)[:-40]
    anew = wire([hello(), anchor(0), samples(0), samples(ROWS)], boot=8)
    bench.terminal.send(wire([hello(), anchor(0), samples(50_000)]) + cut + anew)
    items = iter(bench.link)
    first, second, *more = until_rows(items, 3 * ROWS)
    assert first.counter == 50_000 and second.counter > 50_000 + ROWS
    assert_true_codes([second, *more], shift=second.counter)
    counters = bench.link.health().counters
    assert counters["restarts"] == 1 and counters["resynchronisations"] == 1
    assert counters["refused_crc"] + counters["refused_form"] == 1
    bench.link.close()
    bench.terminal.unplug()


def test_a_restart_while_unplugged_goes_on_too(tmp_path):
    bench = Bench(tmp_path)
    bench.terminal.send(wire([hello(), samples(50_000)]))
    items = iter(bench.link)
    until_rows(items, ROWS)
    bench.replug.append(wire([hello(), anchor(3), samples(3)], boot=8))
    bench.terminal.unplug()
    end, dated, block = islice(items, 3)
    assert isinstance(end, StreamEnd) and isinstance(dated, TimeAnchor)
    assert dated.counter == block.counter > 50_000 + ROWS
    bench.link.close()
    bench.terminal.unplug()


def test_other_signals_after_a_replug_end_the_iterator_for_good(tmp_path):
    bench = Bench(tmp_path)
    bench.terminal.send(wire([hello(), samples(0)]))
    items = iter(bench.link)
    until_rows(items, ROWS)
    bench.replug.append(wire([hello(channels=CHANNELS[:1])], boot=8))
    bench.terminal.unplug()
    ends = list(items)
    assert "went away" in ends[0].reason and "other signals" in ends[-1].reason
    bench.terminal.unplug()


def test_silence_after_silence_is_told_once():
    clock, pauses = Clock(1.0), iter(range(3))
    link = ReconnectingLink(
        "/dev/unit",
        lambda: Silent(),
        clock,
        lambda _: next(pauses),
        lambda: clock.at_s > 140,
    )
    assert [type(item) for item in link] == [StreamEnd]


class Silent:
    def read(self, limit: int, /) -> bytes | None:
        return None

    def close(self) -> None:
        pass


@pytest.mark.parametrize(
    ("make", "text"),
    [
        (lambda path: None, "is not there; check the USB lead"),
        (lambda path: path.write_text("no port"), "failed|is no serial port"),
    ],
)
def test_a_port_that_cannot_be_opened_says_what_to_do(tmp_path, make, text):
    path = tmp_path / "port"
    make(path)
    with pytest.raises(LinkDown, match=text) as fault:
        opened(path)
    assert str(path) in str(fault.value)


def test_a_port_in_use_is_not_shared(tmp_path):
    terminal = Terminal(tmp_path / "unit")
    port = opened(terminal.link)
    with pytest.raises(LinkDown, match="is in use; stop the other program"):
        opened(terminal.link)
    port.close()
    terminal.unplug()


def test_the_first_description_waits_for_a_port_that_is_late(tmp_path):
    bench = Bench(tmp_path)
    bench.terminal.unplug()
    bench.replug.append(wire([hello()]))
    assert bench.link.describe().channels == CHANNELS and bench.pauses == 2
    bench.link.close()
    bench.terminal.unplug()


def test_the_first_description_gives_up_with_the_ports_own_fault(tmp_path):
    clock = Clock(1.0)
    path = tmp_path / "none"
    link = ReconnectingLink(str(path), lambda: opened(path), clock, lambda _: None)
    with pytest.raises(LinkDown, match="is not there"):
        link.describe(wait_s=20.0)
