"""One master's connection: what follows from each frame and from time. Pure.

`step(session, given, now_s)` gives the session and what to do. Numbers, windows and times are those
of the companion standard as recalled: k = 12 unconfirmed frames at most, a confirmation after
w = 8, t1 = 15 s for the peer's answers, t2 = 10 s for ours, t3 = 20 s of silence before a test.
Events go out in order; the answer to an interrogation takes its place behind the events that were
there before it, so no old event follows a newer state.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from gateway.outstation.frames import (
    NUMBERS,
    Frame,
    Function,
    Information,
    Supervisory,
    Unnumbered,
)

UNCONFIRMED_MAX = 12
CONFIRM_AFTER = 8
ANSWER_S, CONFIRM_S, TEST_S = 15.0, 10.0, 20.0


@dataclass(frozen=True, slots=True)
class Unit:
    """A data unit to send. event: number of the newest event in it, 0 where it holds none."""

    asdu: bytes
    event: int = 0


@dataclass(frozen=True, slots=True)
class Flight:
    """A frame that the master has not confirmed."""

    number: int
    event: int
    since_s: float


@dataclass(frozen=True, slots=True)
class Session:
    """started: the master wants data. sent, heard: numbers of the next frame out and in. unsaid:
    frames in that were not confirmed, since unsaid_s. waiting: data units that there was no room
    for. test_s: when a test went out unanswered."""

    last_s: float
    started: bool = False
    sent: int = 0
    heard: int = 0
    unsaid: int = 0
    unsaid_s: float = 0.0
    flights: tuple[Flight, ...] = ()
    waiting: tuple[Unit, ...] = ()
    test_s: float | None = None

    @property
    def has_room(self) -> bool:
        """Whether a further data unit would go out at once."""
        return self.started and not self.waiting and len(self.flights) < UNCONFIRMED_MAX


@dataclass(frozen=True, slots=True)
class Came:
    """A frame of the master."""

    frame: Frame


@dataclass(frozen=True, slots=True)
class Offer:
    """Data units to send, in order, behind those that wait."""

    units: tuple[Unit, ...]


@dataclass(frozen=True, slots=True)
class Tick:
    """Time has passed."""


Given = Came | Offer | Tick


@dataclass(frozen=True, slots=True)
class Send:
    """To the master."""

    frame: Frame


@dataclass(frozen=True, slots=True)
class Asked:
    """The master sent a data unit."""

    asdu: bytes


@dataclass(frozen=True, slots=True)
class Confirmed:
    """The master has all events up to this number."""

    event: int


@dataclass(frozen=True, slots=True)
class Started:
    """The master wants data from now on."""


@dataclass(frozen=True, slots=True)
class End:
    """The connection is to be ended, and why."""

    why: str


Deed = Send | Asked | Confirmed | Started | End
Outcome = tuple[Session, tuple[Deed, ...]]


def step(session: Session, given: Given, now_s: float) -> Outcome:
    """What follows. now_s: a steady clock."""
    match given:
        case Came(frame):
            came, deeds = _came(replace(session, last_s=now_s, test_s=None), frame, now_s)
        case Offer(units):
            came, deeds = replace(session, waiting=(*session.waiting, *units)), ()
        case Tick():
            came, deeds = _tick(session, now_s)
    if any(isinstance(deed, End) for deed in deeds):
        return came, deeds
    flown, more = _fly(came, now_s)
    return flown, (*deeds, *more)


def _came(session: Session, frame: Frame, now_s: float) -> Outcome:
    match frame:
        case Unnumbered(function):
            return _function(session, function)
        case Supervisory(heard):
            return _confirm(session, heard)
        case Information(sent, heard, asdu):
            if sent != session.heard:
                why = f"frame {sent} came where {session.heard} was due: something is lost"
                return session, (End(why),)
            after, deeds = _confirm(session, heard)
            if deeds and isinstance(deeds[-1], End):
                return after, deeds
            if not session.started:
                return after, (End("data came before the start of data transfer"),)
            unsaid_s = session.unsaid_s if session.unsaid else now_s
            after = replace(
                after,
                heard=(session.heard + 1) % NUMBERS,
                unsaid=session.unsaid + 1,
                unsaid_s=unsaid_s,
            )
            return after, (*deeds, Asked(asdu))


def _function(session: Session, function: Function) -> Outcome:
    match function:
        case Function.START_ACT:
            deeds = (Send(Unnumbered(Function.START_CON)), Started())
            return replace(session, started=True), deeds
        case Function.STOP_ACT:
            session, deeds_ = _say(session)
            stopped = replace(session, started=False, waiting=())
            return stopped, (*deeds_, Send(Unnumbered(Function.STOP_CON)))
        case Function.TEST_ACT:
            return session, (Send(Unnumbered(Function.TEST_CON)),)
        case Function.TEST_CON:
            return session, ()
        case _:
            return session, (End(f"a master does not send {function.name}"),)


def _confirm(session: Session, heard: int) -> Outcome:
    """The master expects `heard` next: all frames before it have come."""
    first = session.flights[0].number if session.flights else session.sent
    done = (heard - first) % NUMBERS
    if done > len(session.flights):
        why = f"the master confirms frame {heard}; {session.sent} is the next to be sent"
        return session, (End(why),)
    events = [one.event for one in session.flights[:done] if one.event]
    left = replace(session, flights=session.flights[done:])
    return left, (Confirmed(max(events)),) if events else ()


def _tick(session: Session, now_s: float) -> Outcome:
    if session.flights and now_s - session.flights[0].since_s >= ANSWER_S:
        return session, (End("the master has confirmed nothing for 15 s"),)
    if session.test_s is not None and now_s - session.test_s >= ANSWER_S:
        return session, (End("the master has not answered a test for 15 s"),)
    deeds: tuple[Deed, ...] = ()
    if session.unsaid and now_s - session.unsaid_s >= CONFIRM_S:
        session, deeds = _say(session)
    if session.test_s is None and now_s - session.last_s >= TEST_S:
        session = replace(session, test_s=now_s)
        deeds = (*deeds, Send(Unnumbered(Function.TEST_ACT)))
    return session, deeds


def _say(session: Session) -> Outcome:
    """Confirm what has come."""
    if not session.unsaid:
        return session, ()
    return replace(session, unsaid=0), (Send(Supervisory(session.heard)),)


def _fly(session: Session, now_s: float) -> Outcome:
    """Send what there is room for; a frame out confirms what came in."""
    deeds: list[Deed] = []
    while session.started and session.waiting and len(session.flights) < UNCONFIRMED_MAX:
        unit, *rest = session.waiting
        deeds.append(Send(Information(session.sent, session.heard, unit.asdu)))
        session = replace(
            session,
            sent=(session.sent + 1) % NUMBERS,
            unsaid=0,
            waiting=tuple(rest),
            flights=(*session.flights, Flight(session.sent, unit.event, now_s)),
        )
    if session.unsaid >= CONFIRM_AFTER:
        session, more = _say(session)
        deeds += more
    return session, tuple(deeds)
