"""What the frames say, and what is refused of a frame with a right CRC."""

from __future__ import annotations

import struct
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edge.samples import Channel, ChannelKind
from edge.sense import frames
from edge.sense.frame_codec import FrameRefused, Head, frame_body, read_body
from edge.sense.frames import Anchor, Bye, Frame, Hello, HostHello, Samples, Slow, exact_rate
from tests.edge.sense.link_builders import CHANNELS, anchor, hello, samples

U32 = st.integers(0, (1 << 32) - 1)
COUNTERS = st.integers(0, frames.COUNTER_MAX)
TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=50)
NAMES = st.text(st.characters(categories=["L", "N"]), min_size=1, max_size=48)
NUMBERS = st.floats(allow_nan=False, allow_infinity=False)
ENDS = st.none() | st.integers(-(1 << 31), (1 << 31) - 1).map(float)
CHANNEL = st.builds(
    Channel,
    NAMES,
    st.sampled_from(ChannelKind),
    TEXTS,
    NUMBERS.filter(bool),
    NUMBERS,
    ENDS,
    ENDS,
)
HELLOS = st.builds(
    Hello,
    st.fractions(4_800, 25_600, max_denominator=100_000),
    st.sampled_from([50_000, 60_000]),
    st.integers(1, 0xFFFF),
    st.lists(CHANNEL, min_size=1, max_size=16, unique_by=lambda c: c.name).map(tuple),
    TEXTS,
    st.just(1),
    st.integers(0, 255),
    U32,
)


@st.composite
def sample_frames(draw: st.DrawFn) -> Samples:
    rows, channels = draw(st.integers(1, 40)), draw(st.integers(1, 16))
    each = draw(st.sampled_from([2, 4]))
    packed = draw(st.binary(min_size=rows * channels * each, max_size=rows * channels * each))
    masked, size = draw(st.booleans()), (rows * channels + 7) // 8
    bits = draw(st.binary(min_size=size, max_size=size)) if masked else None
    status = draw(st.integers(0, 255)) & ~16 | (16 if masked else 0)
    faults = draw(st.integers(0, 0xFFFF))
    return Samples(draw(COUNTERS), rows, channels, each, packed, status, faults, bits)


I63 = st.integers(0, (1 << 63) - 1)
I32 = st.integers(-(1 << 31), (1 << 31) - 1)
READINGS = st.lists(st.tuples(st.integers(0, 255), I32), max_size=20).map(tuple)
ANY_FRAME: st.SearchStrategy[Frame] = st.one_of(
    HELLOS,
    sample_frames(),
    st.builds(Anchor, COUNTERS, I63, I63, st.integers(0, 255), st.booleans()),
    st.builds(Slow, COUNTERS, READINGS),
    st.builds(Bye, COUNTERS, TEXTS),
    st.builds(HostHello, st.integers(0, 255), st.integers(0, 255), U32),
)


@given(ANY_FRAME, U32, U32)
def test_every_frame_is_read_as_it_was_written(frame, sequence, boot):
    assert read_body(frame_body(frame, sequence, boot)) == (Head(sequence, boot), frame)


@given(ANY_FRAME, st.data())
def test_a_frame_cut_short_is_refused_and_nothing_else_happens(frame, data):
    body = frame_body(frame, 0, 0)
    cut = body[: data.draw(st.integers(0, len(body) - 1))]
    with pytest.raises(FrameRefused) as refused:
        read_body(cut)
    assert refused.value.count == "refused_content"


@given(st.integers(0, 255), st.binary(max_size=300), st.booleans())
def test_any_content_with_a_right_crc_is_read_or_refused_but_never_breaks_the_reader(
    code, rest, known
):
    kind = list(frames.FrameType)[code % 6] if known else code
    try:
        read_body(bytes([kind]) + rest)
    except FrameRefused as fault:
        assert fault.count in ("refused_content", "unknown_types")


def test_an_unknown_frame_type_is_refused_as_unknown_not_as_wrong():
    with pytest.raises(FrameRefused, match="type 77 is not known") as refused:
        read_body(bytes([77]) + bytes(20))
    assert refused.value.count == "unknown_types"


@pytest.mark.parametrize("frame", [hello(minor=9), anchor(5), Slow(1, ((1, 2),)), Bye(1, "x")])
def test_what_a_later_minor_version_appends_is_ignored(frame):
    assert read_body(frame_body(frame, 1, 2) + b"more to come")[1] == frame


def test_samples_whose_length_disagrees_with_their_head_are_refused():
    with pytest.raises(FrameRefused, match="by its head"):
        read_body(frame_body(samples(0), 1, 2) + b"x")


def test_of_another_major_nothing_but_the_version_is_read():
    body = frame_body(hello(major=2), 1, 2)[:13] + b"\xff" * 60
    _, frame = read_body(body)
    assert isinstance(frame, Hello) and frame.major == 2 and frame.channels == ()


def odd(**changed: object) -> Channel:
    fields: dict[str, object] = {"name": "n", "kind": ChannelKind.CURRENT}
    return Channel(**{**fields, **changed})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("frame", "text"),
    [
        (hello(rate=Fraction(4_799)), "4800 to 25600"),
        (hello(rate=Fraction(30_000)), "4800 to 25600"),
        (hello(nominal_millihz=55_000), "50000 or 60000"),
        (hello(frame_rows=0), "above 0"),
        (hello(channels=()), "1 to 16"),
        (hello(channels=CHANNELS * 6), "1 to 16"),
        (hello(channels=(odd(), odd())), "each must differ"),
        (hello(channels=(odd(gain=float("nan")),)), "finite"),
        (hello(channels=(odd(gain=0.0),)), "gain not 0"),
        (hello(channels=(odd(offset=float("inf")),)), "finite"),
        (hello(channels=(odd(name=""),)), "printable"),
        (hello(channels=(odd(name="a\nb"),)), "printable"),
        (samples(0, bytes_each=3), "2 or 4"),
        (samples(0, rows=0, packed=b""), "0 rows"),
        (samples(frames.COUNTER_MAX + 1), "at most"),
        (Anchor(0, 1 << 63, 0, 0, True), "at most"),
    ],
)
def test_content_outside_its_limits_is_refused_with_what_is_allowed(frame, text):
    with pytest.raises(FrameRefused, match=text):
        read_body(frame_body(frame, 0, 0))


def test_a_rate_of_zero_divisor_is_refused():
    body = bytearray(frame_body(hello(), 0, 0))
    struct.pack_into("<I", body, frames.HEAD.size + 10, 0)
    with pytest.raises(FrameRefused, match="above 0"):
        read_body(bytes(body))


def test_text_that_is_no_utf8_is_refused():
    body = frame_body(Bye(0, "ab"), 0, 0)[:-2] + b"\xff\xfe"
    with pytest.raises(FrameRefused, match="UTF-8"):
        read_body(body)


@pytest.mark.parametrize("rate_hz", [4_800.0, 25_600.0, 10_000_000 / 977, 5_120.5, 1e7 / 999])
def test_a_usual_rate_survives_as_a_ratio_exactly(rate_hz):
    assert float(exact_rate(rate_hz)) == rate_hz


def test_what_has_no_room_in_its_frame_is_said_to_the_sender():
    with pytest.raises(ValueError, match="at most 200"):
        frame_body(Bye(0, "x" * 201), 0, 0)
    with pytest.raises(ValueError, match="Samples does not fit"):
        frame_body(replace(samples(0), counter=-1), 0, 0)
    with pytest.raises(ValueError, match="whole number"):
        frame_body(hello(channels=(odd(raw_min=0.5),)), 0, 0)
    with pytest.raises(ValueError, match="no ratio"):
        exact_rate(4_800 * 3.141592653589793 / 3)
