"""A buffered converter as a source: scans from its character device to blocks and gaps."""

from __future__ import annotations

import errno
import os
import select
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from edge.samples import Channel, ChannelKind, SampleBlock, SignalDescription, SourceItem, StreamEnd
from edge.sense.iio import losses, scan, tree
from edge.sense.iio.losses import Dating
from edge.sense.iio.scan import Layout
from edge.sense.iio.tree import Device, IioFault
from edge.source_settings import IioChannelPart, IioPart

WAIT_S = 0.1
"""A read returns after this long at the latest, so that a stop is heard and silence noticed."""

SILENT_S = 2.0
"""A running converter without a scan for so long has stopped."""

GIVEN_UP_S = 10.0
"""After so long without a scan the signal is ended; the service starts and sets it up anew."""

READ_SCANS_MAX = 8_192

_OPEN_FAULTS = {
    errno.ENOENT: "is not there; check the wiring and whether its driver is loaded (dmesg)",
    errno.EACCES: "may not be opened; see the udev rule of the docs",
    errno.EBUSY: "is in use; stop the other program that reads it",
}


@dataclass(frozen=True, slots=True)
class Standing:
    """What the converter counted, replaced as a whole so that any thread may read it."""

    scans: int = 0
    samples_lost: int = 0
    silence: str = "no scan yet"


class Converter:
    """One converter, its buffer switched on. Items end with a StreamEnd that says why.

    For one thread, but `counters` and `silence` may be read from any.
    """

    def __init__(
        self,
        device: Device,
        layout: Layout,
        description: SignalDescription,
        places: tuple[int, ...],
        handle: int,
        now_s: Callable[[], float],
        stopped: Callable[[], bool],
    ) -> None:
        self.description = description
        self._device, self._layout, self._places = device, layout, places
        self._handle, self._now_s, self._stopped = handle, now_s, stopped
        self._stamp = next(
            (n for n, one in enumerate(layout.elements) if one.name == tree.TIMESTAMP), None
        )
        self._dating = Dating(period_ns=1e9 / description.rate_hz)
        self._standing = Standing()

    def counters(self) -> dict[str, int]:
        """For the health record; `samples_lost` is what the stamps say, 0 where there are none."""
        return {"scans": self._standing.scans, "samples_lost": self._standing.samples_lost}

    def silence(self) -> str:
        """Why no scans come; "" while they do."""
        return self._standing.silence

    def close(self) -> None:
        """Switches the buffer off; closing twice does no harm."""
        if self._handle >= 0:
            tree.disable_scan(self._device)
            os.close(self._handle)
            self._handle = -1

    def __iter__(self) -> Iterator[SourceItem]:
        held, heard_s = b"", self._now_s()
        while not self._stopped():
            try:
                chunk = self._read()
            except OSError as fault:
                yield from self._end(held, f"went away ({fault.strerror}); see dmesg")
                return
            if chunk == b"":
                yield from self._end(held, "has ended; see dmesg")
                return
            if chunk is None:
                quiet_s = self._now_s() - heard_s
                if quiet_s > GIVEN_UP_S:
                    yield from self._end(held, f"gave no scan for {quiet_s:.0f} s; see dmesg")
                    return
                if quiet_s > SILENT_S:
                    self._said("gives no scans; is its trigger running? see dmesg")
                continue
            heard_s = self._now_s()
            held, blocks = self._blocks(held + chunk)
            yield from blocks

    def _read(self) -> bytes | None:
        ready, _, _ = select.select([self._handle], [], [], WAIT_S)
        if not ready:
            return None
        try:
            return os.read(self._handle, READ_SCANS_MAX * self._layout.scan_bytes)
        except BlockingIOError:
            return None

    def _blocks(self, held: bytes, *, last: bool = False) -> tuple[bytes, list[SourceItem]]:
        """Blocks of whole scans, cut at gaps; what is left waits for more."""
        size = self._layout.scan_bytes
        whole = held[: len(held) // size * size]
        if not whole:
            return held, []
        runs = self._runs(whole, last)
        taken = runs[-1][1] if runs else 0
        rows = scan.table(whole[: taken * size], self._layout, self._places)
        self._standing = Standing(self._standing.scans + taken, self._dating.lost, "")
        blocks = [SampleBlock(counter, rows[first:end]) for first, end, counter in _joined(runs)]
        return held[taken * size :], list(blocks)

    def _runs(self, whole: bytes, last: bool) -> tuple[tuple[int, int, int], ...]:
        count = len(whole) // self._layout.scan_bytes
        if self._stamp is None:  # without stamps what the kernel dropped cannot be told
            first = self._dating.counter
            self._dating = Dating(self._dating.period_ns, first + count)
            return ((0, count, first),)
        stamps_ns = scan.column(whole, self._layout, self._stamp)
        self._dating, runs = losses.judged(self._dating, stamps_ns, last=last)
        return runs

    def _said(self, silence: str) -> None:
        words = f"{self._device.node.name} ({self._device.name}) {silence}"
        self._standing = Standing(self._standing.scans, self._standing.samples_lost, words)

    def _end(self, held: bytes, why: str) -> Iterator[SourceItem]:
        _, blocks = self._blocks(held, last=True)
        yield from blocks
        self._said(why)
        yield StreamEnd(self._dating.counter, self._standing.silence)


def _joined(runs: tuple[tuple[int, int, int], ...]) -> list[tuple[int, int, int]]:
    """Runs that follow each other without a gap, put together."""
    whole: list[tuple[int, int, int]] = []
    for first, end, counter in runs:
        if whole and whole[-1][2] + (whole[-1][1] - whole[-1][0]) == counter:
            whole[-1] = (whole[-1][0], end, whole[-1][2])
        else:
            whole.append((first, end, counter))
    return whole


def open_converter(
    part: IioPart,
    nominal_hz: float,
    now_s: Callable[[], float],
    stopped: Callable[[], bool] = lambda: False,
) -> Converter:
    """The converter that the settings name, set up and running. Raises IioFault."""
    root = Path(part.root)
    device = tree.find_device(root, part.device)
    layout = tree.scan_layout(device, [one.element for one in part.channel])
    rate_hz = tree.settle_rate(root, device, part.rate_hz, part.trigger)
    places = tuple(layout.place(one.element) for one in part.channel)
    channels = tuple(_channel(device, layout, one) for one in part.channel)
    description = SignalDescription(rate_hz, nominal_hz, channels)
    handle = _opened(device.node)
    try:
        held, woken = round(part.buffer_s * rate_hz), max(1, round(part.watermark_s * rate_hz))
        tree.enable_scan(device, layout, held, woken)
    except IioFault:
        os.close(handle)
        raise
    return Converter(device, layout, description, places, handle, now_s, stopped)


def _opened(node: Path) -> int:
    try:
        return os.open(node, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
    except OSError as fault:
        why = _OPEN_FAULTS.get(fault.errno or 0, f"cannot be opened: {fault.strerror}")
        raise IioFault(f"{node} {why}") from fault


def _channel(device: Device, layout: Layout, part: IioChannelPart) -> Channel:
    kind = layout.elements[layout.place(part.element)].type
    if kind.bits > scan.SAMPLE_BITS_MAX:
        raise IioFault(
            f"{part.element} of {device.name} has {kind.bits} bits; at most "
            f"{scan.SAMPLE_BITS_MAX} can be read"
        )
    scale, offset = tree.scale_and_offset(device, part.element)
    figures = (part.ma_per_mv, part.kv_per_mv, part.ma_per_ma)
    gain = scale * next(one for one in figures if one is not None)
    return Channel(
        name=part.name,
        kind=ChannelKind.CURRENT if part.kv_per_mv is None else ChannelKind.VOLTAGE,
        phase=part.phase,
        gain=gain,
        offset=gain * offset,
        raw_min=float(kind.low),
        raw_max=float(kind.high),
    )
