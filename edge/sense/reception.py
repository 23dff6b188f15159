"""Frame bodies to what a source delivers: a pure step.

The firmware's counter starts anew at each of its restarts; the counter delivered never falls. A
restart becomes a gap as long as the host's own monotonic clock saw it last (at least one sample),
and the next time anchor dates it anew. Within one boot a gap is exactly the samples that were lost.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from edge.samples import SlowReading, SourceItem, StreamEnd
from edge.sense import frames
from edge.sense.frame_codec import FrameRefused, Head, read_body
from edge.sense.frames import Anchor, Bye, Frame, Hello, HostHello, Samples, Slow, Status
from edge.sense.framing import NOTHING_COUNTED, with_counts
from edge.sense.link_items import block_of, is_known_source, joined, time_anchor

RECEPTION_COUNTS = (
    "buffer_overrun_frames",
    "frames_before_hello",
    "frames_lost",
    "overrange_frames",
    "refused_content",
    "restarts",
    "samples",
    "samples_lost",
    "samples_repeated",
    "sensor_fault_frames",
    "supply_dip_frames",
    "unknown_codes",
    "unknown_types",
)
"""frames_lost: by sequence number. samples_lost: by counter, within one boot; how many a restart
lost cannot be known. samples_repeated: rows dropped because their counter was already delivered."""

ANCHORS_HELD_MAX = 8
"""Anchors that wait for the first samples of a boot; the oldest goes when one more arrives."""

SEQUENCE_JUMP_MAX = 1 << 31
"""A larger jump (modulo 2^32) is a sequence that fell; it says nothing about lost frames."""

_STATUS_COUNTS = {
    Status.OVERRANGE: "overrange_frames",
    Status.SENSOR_FAULT: "sensor_fault_frames",
    Status.SUPPLY_DIP: "supply_dip_frames",
    Status.BUFFER_OVERRUN: "buffer_overrun_frames",
}
_READING_OF = {code: name for name, code in frames.READING_CODES.items()}


@dataclass(frozen=True, slots=True)
class Reception:
    """What is known of the stream between two steps.

    hello: the first one, None until it came. boot: whose counter `shift` belongs to.
    shift: delivered counter less the firmware's; None until the boot's first samples.
    counter_end: delivered counter after the last sample. samples_s: host's monotonic time at which
    samples last came [s]. held: anchors of a boot whose shift is not known yet.
    refusal: why the last hello or frame content was refused. ended: why the stream is over.
    final: no later frame of this firmware can continue the stream.
    """

    hello: Hello | None = None
    boot: int = 0
    sequence: int | None = None
    shift: int | None = 0
    counter_end: int | None = None
    samples_s: float = 0.0
    held: tuple[Anchor, ...] = ()
    refusal: str = ""
    ended: str = ""
    final: bool = False
    counts: Mapping[str, int] = field(default_factory=lambda: NOTHING_COUNTED)


Taken = tuple[Reception, tuple[SourceItem, ...]]


def step(state: Reception, bodies: Sequence[bytes], now_s: float) -> Taken:
    """What the bodies say, in order; neighbouring sample frames are one block.

    now_s: the host's monotonic clock; used for nothing but the length of a restart's gap.
    """
    items: list[SourceItem] = []
    for body in bodies:
        if state.ended:
            break
        try:
            head, frame = read_body(body)
        except FrameRefused as fault:
            state = _refused(state, fault)
            continue
        state, more = _TAKERS[type(frame)](_sequenced(state, head), head, frame, now_s)
        items.extend(more)
    return state, tuple(joined(items))


def _refused(state: Reception, fault: FrameRefused) -> Reception:
    """A frame that is skipped was still heard: its sequence number is not lost."""
    if fault.head is not None:
        state = _sequenced(state, fault.head)
    state = _counted(state, **{fault.count: 1})
    return state if fault.count == "unknown_types" else replace(state, refusal=str(fault))


def _counted(state: Reception, **more: int) -> Reception:
    return replace(state, counts=with_counts(state.counts, **more))


def _sequenced(state: Reception, head: Head) -> Reception:
    if state.hello is None or head.boot != state.boot:
        return state
    if state.sequence is not None:
        jump = (head.sequence - state.sequence - 1) & 0xFFFF_FFFF
        if 0 < jump < SEQUENCE_JUMP_MAX:
            state = _counted(state, frames_lost=jump)
    return replace(state, sequence=head.sequence)


def _ending(state: Reception, reason: str, final: bool) -> Taken:
    state = replace(state, ended=reason, final=final)
    return state, (StreamEnd(state.counter_end or 0, reason),)


def _take_hello(state: Reception, head: Head, frame: Frame, now_s: float) -> Taken:
    assert isinstance(frame, Hello)
    if objection := _objection(frame):
        return _ending(replace(state, refusal=objection), objection, True)
    fresh = replace(state, hello=frame, boot=head.boot, sequence=head.sequence, samples_s=now_s)
    if state.hello is None:
        return fresh, ()
    if frame.description != state.hello.description:
        return _ending(state, _changed(state.hello, frame), True)
    if head.boot == state.boot:
        return replace(state, hello=frame), ()
    # The gap is counted from the last samples that came, whichever boot they were of.
    fresh = replace(fresh, shift=None, held=(), samples_s=state.samples_s)
    return _counted(fresh, restarts=1), ()


def _objection(hello: Hello) -> str:
    """Why this program cannot read the stream; empty where it can."""
    if hello.major != frames.PROTOCOL_MAJOR:
        return (
            f"the firmware speaks link protocol {hello.major}.{hello.minor}; this program reads "
            f"{frames.PROTOCOL_MAJOR}.x: update whichever is older"
        )
    if unknown := hello.capabilities & frames.CAPABILITIES_REQUIRED:
        return (
            f"the firmware {hello.firmware} requires link capabilities {unknown:#010x}, which this "
            "program does not have: update the program, or switch them off in the firmware"
        )
    return ""


def _changed(before: Hello, now: Hello) -> str:
    was = ", ".join(channel.name for channel in before.channels)
    found = ", ".join(channel.name for channel in now.channels)
    return (
        f"the firmware now describes other signals ({found} at {float(now.rate):g} Hz; before "
        f"{was} at {float(before.rate):g} Hz, or other scaling): restart the program to take them"
    )


def _take_samples(state: Reception, head: Head, frame: Frame, now_s: float) -> Taken:
    assert isinstance(frame, Samples)
    if state.hello is None or head.boot != state.boot:
        return _counted(state, frames_before_hello=1), ()
    if frame.channels != len(state.hello.channels):
        text = f"samples of {frame.channels} channels; the hello says {len(state.hello.channels)}"
        return _counted(replace(state, refusal=text), refused_content=1), ()
    anew = state.shift is None
    state, anchors = _placed(state, frame.counter, now_s)
    assert state.shift is not None
    start = frame.counter + state.shift
    if state.counter_end is not None and start < state.counter_end:
        return _counted(state, samples_repeated=frame.rows), anchors
    more = {name: 1 for bit, name in _STATUS_COUNTS.items() if frame.status & bit}
    if not anew and state.counter_end is not None and start > state.counter_end:
        more["samples_lost"] = start - state.counter_end
    state = _counted(state, samples=frame.rows, **more)
    state = replace(state, counter_end=start + frame.rows, samples_s=now_s)
    return state, (*anchors, block_of(frame, start))


def _placed(state: Reception, counter: int, now_s: float) -> Taken:
    """The state with a shift, settled by a boot's first samples; and the anchors that waited."""
    if state.shift is not None:
        return state, ()
    assert state.hello is not None
    gap = max(1, round((now_s - state.samples_s) * float(state.hello.rate)))
    shift = max(0, (state.counter_end or 0) + gap - counter)
    anchors = tuple(time_anchor(each, shift) for each in state.held)
    return replace(state, shift=shift, held=()), anchors


def _take_anchor(state: Reception, head: Head, frame: Frame, now_s: float) -> Taken:
    assert isinstance(frame, Anchor)
    if state.hello is None or head.boot != state.boot:
        return _counted(state, frames_before_hello=1), ()
    if not is_known_source(frame.source):
        state = _counted(state, unknown_codes=1)
    if state.shift is None:
        return replace(state, held=(*state.held, frame)[-ANCHORS_HELD_MAX:]), ()
    return state, (time_anchor(frame, state.shift),)


def _take_slow(state: Reception, head: Head, frame: Frame, now_s: float) -> Taken:
    assert isinstance(frame, Slow)
    if state.hello is None or head.boot != state.boot:
        return _counted(state, frames_before_hello=1), ()
    named = {_READING_OF[code]: units for code, units in frame.readings if code in _READING_OF}
    ranges = frames.READING_RANGES
    kept = {name: u for name, u in named.items() if ranges[name][0] <= u <= ranges[name][1]}
    unknown = sum(code not in _READING_OF for code, _ in frame.readings)
    state = _counted(state, unknown_codes=unknown, refused_content=len(named) - len(kept))
    counter = (state.counter_end or 0) if state.shift is None else frame.counter + state.shift
    return state, (SlowReading(counter, kept),) if kept else ()


def _take_bye(state: Reception, head: Head, frame: Frame, now_s: float) -> Taken:
    assert isinstance(frame, Bye)
    if state.hello is not None and head.boot != state.boot:
        return _counted(state, frames_before_hello=1), ()
    return _ending(state, frame.reason or "the firmware stopped", False)


def _take_host_hello(state: Reception, head: Head, frame: Frame, now_s: float) -> Taken:
    """Ours, echoed by a line that is looped back or half-duplex: no news."""
    return _counted(state, unknown_types=1), ()


_TAKERS: dict[type, Callable[[Reception, Head, Frame, float], Taken]] = {
    Hello: _take_hello,
    Samples: _take_samples,
    Anchor: _take_anchor,
    Slow: _take_slow,
    Bye: _take_bye,
    HostHello: _take_host_hello,
}
