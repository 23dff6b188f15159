"""The rules of one connection: numbers, windows and times."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.outstation.frames import (
    Function,
    Information,
    PeerFault,
    Supervisory,
    Unnumbered,
    frame_bytes,
    read_frame,
)
from gateway.outstation.session import (
    UNCONFIRMED_MAX,
    Asked,
    Came,
    Confirmed,
    Deed,
    End,
    Offer,
    Send,
    Session,
    Started,
    Tick,
    Unit,
    step,
)


def started(at_s: float = 0.0) -> Session:
    session, deeds = step(Session(at_s), Came(Unnumbered(Function.START_ACT)), at_s)
    assert deeds == (Send(Unnumbered(Function.START_CON)), Started())
    return session


def units(count: int, first: int = 1) -> tuple[Unit, ...]:
    return tuple(Unit(b"\x00" * 6, event) for event in range(first, first + count))


def sent(deeds: tuple[Deed, ...]) -> list[int]:
    return [
        deed.frame.sent
        for deed in deeds
        if isinstance(deed, Send) and isinstance(deed.frame, Information)
    ]


def ends(deeds: tuple[Deed, ...]) -> bool:
    return any(isinstance(deed, End) for deed in deeds)


def test_nothing_goes_out_before_the_master_has_started_the_transfer() -> None:
    session, deeds = step(Session(0), Offer(units(3)), 0)
    assert deeds == ()
    session, deeds = step(session, Came(Unnumbered(Function.START_ACT)), 1)
    assert sent(deeds) == [0, 1, 2]


def test_no_more_than_twelve_frames_are_unconfirmed_and_confirming_makes_room() -> None:
    session, deeds = step(started(), Offer(units(30)), 0)
    assert sent(deeds) == list(range(UNCONFIRMED_MAX))
    session, deeds = step(session, Came(Supervisory(5)), 1)
    assert Confirmed(5) in deeds
    assert sent(deeds) == [12, 13, 14, 15, 16]
    assert not session.has_room


def test_numbers_wrap_and_the_window_goes_on_over_it() -> None:
    session = started()
    event = 0
    for _ in range(4_000):
        session, deeds = step(session, Offer(units(9, event + 1)), 0)
        event += 9
        session, deeds = step(session, Came(Supervisory(session.sent)), 0)
        assert Confirmed(event) in deeds
    assert session.sent == (9 * 4_000) % 32_768


@pytest.mark.parametrize("heard", [4, 32_767])
def test_a_confirmation_of_what_was_never_sent_ends_the_connection(heard: int) -> None:
    session, _ = step(started(), Offer(units(3)), 0)
    assert ends(step(session, Came(Supervisory(heard)), 1)[1])


def test_a_frame_that_skips_a_number_ends_the_connection() -> None:
    session, deeds = step(started(), Came(Information(0, 0, b"x")), 1)
    assert Asked(b"x") in deeds
    assert ends(step(session, Came(Information(2, 0, b"x")), 2)[1])


def test_what_comes_in_is_confirmed_after_eight_frames_or_ten_seconds() -> None:
    session = started()
    for number in range(7):
        session, deeds = step(session, Came(Information(number, 0, b"x")), 1)
        assert deeds == (Asked(b"x"),)
    session, deeds = step(session, Came(Information(7, 0, b"x")), 2)
    assert Send(Supervisory(8)) in deeds
    session, _ = step(session, Came(Information(8, 0, b"x")), 3)
    assert step(session, Tick(), 12.9)[1] == ()
    assert Send(Supervisory(9)) in step(session, Tick(), 13)[1]


def test_a_frame_out_confirms_what_came_in() -> None:
    session, _ = step(started(), Came(Information(0, 0, b"x")), 1)
    session, deeds = step(session, Offer(units(1)), 2)
    assert deeds == (Send(Information(0, 1, b"\x00" * 6)),)
    assert step(session, Tick(), 12)[1] == ()


def test_a_master_that_confirms_nothing_for_fifteen_seconds_is_given_up() -> None:
    session, _ = step(started(), Offer(units(1)), 0)
    session, deeds = step(session, Tick(), 14.9)
    assert not ends(deeds)
    assert ends(step(session, Tick(), 15)[1])


def test_a_silent_master_is_tested_after_twenty_seconds_and_given_up_fifteen_later() -> None:
    session, deeds = step(started(), Tick(), 20)
    assert deeds == (Send(Unnumbered(Function.TEST_ACT)),)
    answered, deeds = step(session, Came(Unnumbered(Function.TEST_CON)), 21)
    assert deeds == () and not ends(step(answered, Tick(), 40)[1])
    assert ends(step(session, Tick(), 35)[1])


def test_a_test_of_the_master_is_answered_also_before_the_start() -> None:
    _, deeds = step(Session(0), Came(Unnumbered(Function.TEST_ACT)), 1)
    assert deeds == (Send(Unnumbered(Function.TEST_CON)),)


def test_a_stop_is_confirmed_and_nothing_more_goes_out() -> None:
    session, _ = step(started(), Offer(units(20)), 0)
    session, deeds = step(session, Came(Unnumbered(Function.STOP_ACT)), 1)
    assert Send(Unnumbered(Function.STOP_CON)) in deeds
    assert sent(step(session, Came(Supervisory(12)), 2)[1]) == []


numbers = st.integers(0, 32_767)


@given(
    st.one_of(
        st.builds(Information, numbers, numbers, st.binary(max_size=249)),
        st.builds(Supervisory, numbers),
        st.builds(Unnumbered, st.sampled_from(Function)),
    ),
    st.binary(max_size=20),
)
def test_a_frame_reads_back_as_it_was_written_whatever_follows(
    frame: Information, after: bytes
) -> None:
    octets = frame_bytes(frame)
    assert read_frame(octets + after) == (frame, len(octets))
    assert read_frame(octets[:-1]) is None


@given(st.binary(max_size=300))
def test_any_octets_are_a_frame_or_half_of_one_or_refused(octets: bytes) -> None:
    try:
        found = read_frame(octets)
    except PeerFault:
        return
    assert found is None or 6 <= found[1] <= 255
