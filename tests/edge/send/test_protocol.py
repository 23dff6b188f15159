"""The protocol's reactions, one by one."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.reasoncodes import ReasonCode

import edge.send
from edge.records import Stream
from edge.send.backoff import full_jitter_ns, next_chance
from edge.send.lanes import ALARM_NS_MAX, SECOND_NS, SILENCE_NS_MAX
from edge.send.messages import (
    Acknowledged,
    Action,
    BackfillAsked,
    Congested,
    Event,
    Fetch,
    Fetched,
    Held,
    LinkDown,
    LinkUp,
    Notice,
    Publish,
    Receipted,
    Release,
    Reopen,
    Reopened,
    Tick,
)
from edge.send.phases import TRANSITIONS, Phase, Signal, diagram
from edge.send.protocol import next_ns, step
from edge.send.reason_codes import REACTIONS, Reaction, reaction
from edge.send.state import ORDER, Sending, active
from edge.wire import MESSAGE_BYTES_MAX, Batch, Line, read_batch

EPOCH = "1-0000000000000001"
LATER = "2-0000000000000002"
ALARM, INTERVAL = Stream.ALARM, Stream.INTERVAL


class Sender:
    """The state and a clock; `tell` returns what was asked for."""

    def __init__(self, *events: Event) -> None:
        self.state, self.now = Sending(1), SECOND_NS
        for event in events:
            self.tell(event)

    def tell(self, event: Event) -> tuple[Action, ...]:
        self.state, actions = step(self.state, event, self.now)
        return actions

    def wait(self, seconds: float) -> tuple[Action, ...]:
        self.now += int(seconds * SECOND_NS)
        return self.tell(Tick())

    def sends(self, ask: Fetch, rows: int = 2) -> tuple[Action, ...]:
        """The durable file answers, and the message goes out; what is asked for then."""
        first, *asked = self.tell(Fetched(ask.epoch, ask.stream, ask.after, batch(ask, rows)))
        assert isinstance(first, Publish)
        return tuple(asked)


def batch(ask: Fetch, rows: int = 2) -> Batch:
    lines = tuple(Line(seq, 1, 2, b"{}") for seq in range(ask.after + 1, ask.after + 1 + rows))
    return Batch("site.pole", ask.epoch, ask.stream, "boot", "none", lines)


def one_fetch(actions: tuple[Action, ...]) -> Fetch:
    (ask,) = actions
    assert isinstance(ask, Fetch)
    return ask


def probing(stream: Stream = INTERVAL, last: int = 100) -> tuple[Sender, Fetch]:
    """A sender whose link has just come up, with a backlog."""
    sender = Sender(Held(EPOCH, stream, 0, last))
    return sender, one_fetch(sender.tell(LinkUp()))


def flowing(stream: Stream = INTERVAL, last: int = 100) -> tuple[Sender, Fetch]:
    """A sender that got a receipt for its first message."""
    sender, ask = probing(stream, last)
    sender.sends(ask)
    release, further = sender.tell(Receipted(EPOCH, stream, 2))
    assert release == Release(EPOCH, stream, 2)
    return sender, one_fetch((further,))


def test_nothing_is_asked_for_without_a_link() -> None:
    sender = Sender()
    assert sender.tell(Held(EPOCH, ALARM, 0, 5)) == ()
    assert next_ns(sender.state) is None


def test_alarms_are_asked_for_first() -> None:
    sender = Sender(*(Held(EPOCH, stream, 0, 9) for stream in reversed(ORDER)))
    asked = sender.tell(LinkUp())
    assert [ask.stream for ask in asked if isinstance(ask, Fetch)] == list(ORDER)
    assert ORDER[0] is ALARM
    assert set(ORDER) == set(Stream)


def test_the_message_carries_the_batch_that_was_fetched() -> None:
    sender, ask = probing()
    (message,) = sender.tell(Fetched(EPOCH, INTERVAL, 0, batch(ask)))
    assert isinstance(message, Publish)
    assert read_batch(message.payload) == batch(ask)


def test_one_message_probes_before_the_gateway_is_heard() -> None:
    sender, ask = probing()
    assert sender.sends(ask) == ()
    assert sender.wait(0.5) == ()


def test_receipts_open_the_window_up_to_four_messages() -> None:
    sender, ask = flowing()
    sender.now += 1000
    messages = 0
    while ask:
        asked = sender.sends(ask)
        messages += 1
        ask = one_fetch(asked) if asked else None  # type: ignore[assignment]
    assert messages == 4


def test_only_the_gateways_receipt_releases() -> None:
    sender, ask = probing()
    sender.sends(ask)
    assert sender.tell(Acknowledged(INTERVAL, 0)) == ()
    release, *_ = sender.tell(Receipted(EPOCH, INTERVAL, 2))
    assert release == Release(EPOCH, INTERVAL, 2)


def test_a_receipt_from_the_future_releases_nothing_and_is_a_security_event() -> None:
    sender, ask = probing()
    sender.sends(ask)
    (notice,) = sender.tell(Receipted(EPOCH, INTERVAL, 101))
    assert isinstance(notice, Notice)
    assert (notice.event, notice.security) == ("receipt-from-the-future", True)


def test_a_receipt_of_an_unknown_epoch_is_a_security_event_told_once_a_minute() -> None:
    sender, _ = probing()
    (notice,) = sender.tell(Receipted(LATER, INTERVAL, 1))
    assert isinstance(notice, Notice)
    assert sender.tell(Receipted(LATER, INTERVAL, 1)) == ()
    sender.now += 61 * SECOND_NS
    (again,) = [a for a in sender.tell(Receipted(LATER, INTERVAL, 1)) if isinstance(a, Notice)]
    assert again.event == "receipt-of-unknown-epoch"


def test_a_receipt_above_what_this_run_has_sent_is_believed_as_far_as_sent() -> None:
    sender, ask = probing()
    sender.sends(ask)
    release, *_ = sender.tell(Receipted(EPOCH, INTERVAL, 50))
    assert release == Release(EPOCH, INTERVAL, 2)


def test_an_old_receipt_changes_nothing() -> None:
    sender, ask = flowing()
    sender.sends(ask)
    before = sender.state.lanes
    assert not any(isinstance(a, Release) for a in sender.tell(Receipted(EPOCH, INTERVAL, 1)))
    assert [lane.receipted for lane in sender.state.lanes] == [lane.receipted for lane in before]


def test_silence_goes_back_to_the_last_receipt_and_waits_longer_each_time() -> None:
    sender, ask = probing()
    gaps = []
    for _ in range(9):
        sent_at = sender.now
        sender.sends(ask)
        due = next_ns(sender.state)
        assert due is not None
        sender.now = due
        ask = one_fetch(sender.tell(Tick()))
        assert ask.after == 0
        gaps.append((due - sent_at) / SECOND_NS)
    assert 3 <= gaps[0] <= 3.75
    assert all(later > earlier for earlier, later in itertools.pairwise(gaps[:4]))
    assert all(60 <= gap <= 75 for gap in gaps[6:])


def test_an_alarm_is_tried_every_few_seconds_however_long_nobody_answers() -> None:
    sender, ask = probing(ALARM)
    for _ in range(12):
        sent_at = sender.now
        sender.sends(ask)
        due = next_ns(sender.state)
        assert due is not None
        sender.now = due
        ask = one_fetch(sender.tell(Tick()))
        assert due - sent_at <= ALARM_NS_MAX * 5 // 4


def test_an_answer_to_a_question_that_was_withdrawn_is_ignored() -> None:
    sender, ask = flowing()
    sender.tell(LinkDown())
    assert sender.tell(Fetched(EPOCH, INTERVAL, ask.after, batch(ask))) == ()
    again = one_fetch(sender.tell(LinkUp()))
    assert again.after == 2
    assert sender.tell(Fetched(EPOCH, INTERVAL, 40, batch(ask))) == ()


def test_a_lane_that_turns_out_empty_is_asked_no_more() -> None:
    sender, ask = probing()
    assert sender.tell(Fetched(EPOCH, INTERVAL, ask.after, None)) == ()
    assert sender.wait(100) == ()
    assert one_fetch(sender.tell(Held(EPOCH, INTERVAL, 0, 101))).after == 0


def test_nobody_listening_slows_routine_to_a_try_a_minute_and_alarms_to_five_seconds() -> None:
    for stream, waits_s in ((INTERVAL, (5, 10, 20, 40, 60, 60)), (ALARM, (5, 5, 5))):
        sender, ask = probing(stream)
        for wait_s in waits_s:
            sender.sends(ask)
            assert sender.tell(Acknowledged(stream, 0x10)) == ()
            assert next_ns(sender.state) == sender.now + wait_s * SECOND_NS
            assert sender.wait(wait_s - 0.1) == ()
            ask = one_fetch(sender.wait(0.2))
            assert ask.after == 0


def test_any_receipt_ends_the_slowness() -> None:
    sender, ask = probing()
    sender.sends(ask)
    sender.tell(Acknowledged(INTERVAL, 0x10))
    assert one_fetch(sender.tell(Receipted(EPOCH, INTERVAL, 0))).after == 0


@pytest.mark.parametrize("code", [0x97, 0x80, 0x83, 0x99])
def test_a_broker_short_of_something_is_left_alone_for_a_while(code: int) -> None:
    sender, ask = probing()
    sender.sends(ask)
    assert sender.tell(Acknowledged(INTERVAL, code)) == ()
    due = next_ns(sender.state)
    assert due is not None
    assert sender.now <= due <= sender.now + 4 * SECOND_NS


@pytest.mark.parametrize("code", [0x87, 0x90])
def test_a_denied_message_is_a_security_event_and_is_tried_again_slowly(code: int) -> None:
    sender, ask = probing()
    sender.sends(ask)
    (notice,) = sender.tell(Acknowledged(INTERVAL, code))
    assert isinstance(notice, Notice)
    assert (notice.event, notice.security) == ("publish-denied", True)
    assert next_ns(sender.state) == sender.now + SILENCE_NS_MAX


def test_congestion_stops_asking_and_does_not_count_as_silence() -> None:
    sender, ask = probing()
    sender.sends(ask)
    sender.tell(Congested(True))
    assert sender.wait(600) == ()
    assert sender.state.lanes[0].tries == 0
    assert one_fetch(sender.tell(Congested(False)) or sender.wait(0)).after == 0


def test_an_old_epoch_is_sent_before_the_new_one_of_its_stream() -> None:
    sender = Sender(
        Held(LATER, INTERVAL, 0, 3), Held(EPOCH, INTERVAL, 5, 7), Held(LATER, ALARM, 0, 1)
    )
    asked = [ask for ask in sender.tell(LinkUp()) if isinstance(ask, Fetch)]
    assert [(ask.epoch, ask.stream, ask.after) for ask in asked] == [
        (LATER, ALARM, 0),
        (EPOCH, INTERVAL, 5),
    ]
    sender.sends(asked[1])
    release, ask = sender.tell(Receipted(EPOCH, INTERVAL, 7))
    assert release == Release(EPOCH, INTERVAL, 7)
    assert one_fetch((ask,)).epoch == LATER


def test_a_backfill_opens_the_lane_again_from_there() -> None:
    sender = drained()
    (reopen,) = sender.tell(BackfillAsked(EPOCH, INTERVAL, 1, 2))
    assert reopen == Reopen(EPOCH, INTERVAL, 1)
    assert sender.tell(BackfillAsked(EPOCH, INTERVAL, 1, 2)) == (), "asked a moment ago"
    assert one_fetch(sender.tell(Reopened(EPOCH, INTERVAL, 0, 2))).after == 0


def drained() -> Sender:
    """A sender whose gateway holds both records there are."""
    sender, ask = probing(last=2)
    sender.sends(ask)
    sender.tell(Receipted(EPOCH, INTERVAL, 2))
    return sender


def test_the_question_whether_all_has_arrived_is_answered_by_silence() -> None:
    assert drained().tell(BackfillAsked(EPOCH, INTERVAL, 3, 3)) == ()


def test_a_question_about_a_file_that_was_here_before_is_no_offence() -> None:
    assert drained().tell(BackfillAsked(LATER, INTERVAL, 7, 7)) == ()


def test_a_question_ends_the_slowness_too() -> None:
    sender, ask = probing()
    sender.sends(ask)
    sender.tell(Acknowledged(INTERVAL, 0x10))
    assert one_fetch(sender.tell(BackfillAsked(EPOCH, INTERVAL, 1, 1))).after == 0


@pytest.mark.parametrize(
    ("epoch", "first", "last"), [(EPOCH, 0, 1), (EPOCH, 4, 4), (EPOCH, 2, 1), (LATER, 1, 2)]
)
def test_a_backfill_of_what_never_was_is_refused_and_told(
    epoch: str, first: int, last: int
) -> None:
    (notice,) = drained().tell(BackfillAsked(epoch, INTERVAL, first, last))
    assert isinstance(notice, Notice)
    assert notice.event == "backfill-refused"


def test_a_broker_with_a_small_limit_gets_small_messages_and_people_are_told() -> None:
    sender = Sender(Held(EPOCH, INTERVAL, 0, 9))
    notice, ask = sender.tell(LinkUp(message_bytes_max=1500))
    assert isinstance(notice, Notice)
    assert notice.event == "broker-limit-small"
    assert one_fetch((ask,)).bytes_max < 1500
    assert Sender().tell(LinkUp(message_bytes_max=2 * MESSAGE_BYTES_MAX)) == ()


def test_news_of_rows_never_moves_the_receipted_mark() -> None:
    sender, _ = flowing()
    sender.tell(Held(EPOCH, INTERVAL, 0, 200))
    (lane,) = active(sender.state)
    assert (lane.receipted, lane.last) == (2, 200)


def test_every_phase_says_what_follows_from_everything() -> None:
    assert set(TRANSITIONS) == set(itertools.product(Phase, Signal))
    for phase in Phase:
        assert TRANSITIONS[phase, Signal.LINK_DOWN] is Phase.DOWN
        if phase is not Phase.DOWN:
            assert TRANSITIONS[phase, Signal.SILENCE] is Phase.PROBING


def test_every_phase_can_be_reached() -> None:
    reached = {Phase.DOWN}
    while more := {TRANSITIONS[p, s] for p in reached for s in Signal} - reached:
        reached |= more
    assert reached == set(Phase)


def test_the_diagram_on_the_page_is_drawn_from_the_table() -> None:
    page = (Path(edge.send.__file__).parent / "PROTOCOL.md").read_text(encoding="utf-8")
    assert f"```mermaid\n{diagram()}\n```" in page


def test_every_reason_code_of_the_standard_has_a_reaction() -> None:
    of = {PacketTypes.PUBACK, PacketTypes.CONNACK, PacketTypes.DISCONNECT}
    names = ReasonCode(PacketTypes.PUBACK).names
    codes = {code for code, by in names.items() for where in by.values() if of & set(where)}
    assert codes == set(REACTIONS)
    assert all(REACTIONS[code] is not Reaction.GO_ON for code in codes if code >= 0x80)
    assert (reaction(0xFE), reaction(0x01)) == (Reaction.BACK_OFF, Reaction.GO_ON)


def test_full_jitter_spreads_evenly_below_a_doubling_bound() -> None:
    assert full_jitter_ns(0, 999_999, 1000, 60_000) == 999
    assert full_jitter_ns(3, 500_000, 1000, 60_000) == 4000
    assert full_jitter_ns(400, 999_999, 1000, 60_000) == 59_999
    assert full_jitter_ns(7, 0, 1000, 60_000) == 0
    seed, drawn = 1, []
    for _ in range(4000):
        seed, chance = next_chance(seed)
        drawn.append(chance)
    assert min(drawn) >= 0
    assert max(drawn) < 1_000_000
    assert abs(sum(drawn) / len(drawn) - 500_000) < 20_000
