"""What holds over every history: random conditions, actions, gaps, restarts and ticks."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from edge.records import Condition
from gateway.alarms.actions import (
    Acknowledge,
    Action,
    ActionRefused,
    PlanOutage,
    PutBack,
    Reset,
    Shelve,
    TakeOut,
    Unshelve,
)
from gateway.alarms.alarm_list import LATE_US, Heard, Input, step
from gateway.alarms.announcing import BUDGET_US, CAUGHT_UP_US
from gateway.alarms.folding import fold
from gateway.alarms.journal import Entry, Point, What, entry_line, read_entry
from gateway.alarms.memory import AlarmList
from gateway.alarms.sight import Sight, UnitSight
from gateway.alarms.states import NEXT, SHOWN_OF, Shown, Stimulus
from tests.gateway.alarms.build import SITE, announced, at, most_announced
from tests.gateway.build import EPOCH, NEXT_EPOCH, UNIT, condition

ALARMS = {
    "arcing": (2, False),
    "near-margin": (1, False),
    "flashover-suspected": (1, True),
    "over-range": (2, False),
    "sensor-failed": (3, False),
    "storage": (3, False),
}
SUBJECTS = ("A1", "A2", "A3", "A4")
POINTS = [Point(UNIT, alarm, subject) for alarm in ALARMS for subject in SUBJECTS]

points = st.sampled_from([*POINTS, Point("", "site-arcing", "")])
minutes = st.integers(0, 90)

hearings = st.tuples(
    st.just("hear"),
    st.sampled_from(sorted(ALARMS)),
    st.sampled_from(SUBJECTS),
    st.sampled_from(Condition),
    st.sampled_from((0, 0, 0, 10, 16, 300)),
    st.booleans(),
)
acts = st.tuples(
    st.sampled_from(
        ("acknowledge", "shelve", "unshelve", "reset", "take-out", "put-back", "outage")
    ),
    points,
    st.integers(1, 120),
)
histories = st.lists(
    st.tuples(minutes, st.one_of(hearings, hearings, acts, st.just(("tick",)), st.just(("anew",)))),
    max_size=40,
)


class Teller:
    """Turns drawn steps into inputs of the list, in order of time."""

    def __init__(self) -> None:
        self.seq = 0
        self.epoch = EPOCH

    def input(self, held: AlarmList, now_us: int, drawn: tuple[object, ...]) -> Input | None:
        self.seq += 1
        match drawn:
            case ("hear", str(alarm), str(subject), Condition() as word, int(age), bool(risen)):
                priority, latched = ALARMS[alarm]
                change = condition(
                    0,
                    word,
                    alarm,
                    subject,
                    priority=1 if risen else priority,
                    latched=latched,
                    at_us=now_us - age * 60_000_000,
                )
                return Heard(now_us, UNIT, self.epoch, self.seq, change)
            case ("anew",):
                self.epoch = NEXT_EPOCH if self.epoch == EPOCH else EPOCH
                return Heard(now_us, UNIT, self.epoch, self.seq, None, began_anew=True)
            case (str(verb), Point() as point, int(minutes)):
                return action(held, verb, point, now_us, minutes * 60_000_000)
        return None


def action(held: AlarmList, verb: str, point: Point, now_us: int, for_us: int) -> Action:
    who = {"at_us": now_us, "by": "mk", "address": "::1"}
    until_us = now_us + for_us
    match verb:
        case "acknowledge":
            return Acknowledge(occurrences=(held.of(point).occurrence,), **who)
        case "shelve":
            return Shelve(point=point, until_us=until_us, reason="known", second="jo", **who)
        case "unshelve":
            return Unshelve(point=point, **who)
        case "reset":
            return Reset(point=point, **who)
        case "take-out":
            return TakeOut(point=point, order="WO 1", **who)
        case "put-back":
            return PutBack(point=point, **who)
    return PlanOutage(unit=UNIT, from_us=now_us, until_us=until_us, reason="works", **who)


def check_step(
    before: AlarmList, given_: Input | None, after: AlarmList, entries: tuple[Entry, ...]
) -> None:
    for kept in after.kept.values():
        assert SHOWN_OF[kept.core, kept.veil] is kept.shown
    if isinstance(given_, Heard) and given_.change is not None:
        point = Point(given_.unit, given_.change.alarm, given_.change.subject)
        if given_.change.condition is Condition.UNKNOWN:
            assert after.of(point).core == before.of(point).core
            assert after.of(point).occurrence == before.of(point).occurrence
    if isinstance(given_, Acknowledge):
        again, repeated = step(after, given_)
        assert (again, repeated) == (after, ())
    assert fold(before, entries) == after


def play(history: list[tuple[int, tuple[object, ...]]]) -> list[tuple[AlarmList, list[Entry]]]:
    """The list and the whole journal after every step."""
    held, journal, teller = AlarmList(SITE), [], Teller()
    now_us, told = at(0), []
    for pause, drawn in history:
        now_us += pause * 60_000_000
        sight = Sight(now_us, 4, 4, {}, {UNIT: UnitSight(now_us, at(-100))})
        for given_ in (teller.input(held, now_us, drawn), sight):
            if given_ is None:
                continue
            before = held
            try:
                held, entries = step(held, given_)
            except ActionRefused:
                assert held is before
                continue
            check_step(before, given_, held, entries)
            journal += entries
        told.append((held, list(journal)))
    return told


@given(histories)
@settings(max_examples=70, deadline=None)
def test_the_journal_as_written_folds_to_the_same_list_and_a_restart_announces_nothing(
    history: list[tuple[int, tuple[object, ...]]],
) -> None:
    told = play(history)
    if not told:
        return
    held, journal = told[-1]
    again = fold(AlarmList(SITE), [read_entry(entry_line(one)) for one in journal])
    assert again == held
    assert [one.number for one in journal] == list(range(1, len(journal) + 1))
    if journal:
        now_us = max(one.at_us for one in journal)
        sight = Sight(now_us, 4, 4, {}, {UNIT: UnitSight(now_us, at(-100))})
        assert not announced(step(again, sight)[1])


@given(histories)
@settings(max_examples=70, deadline=None)
def test_budgets_hold_and_nobody_is_called_for_what_is_late_suppressed_or_acknowledged(
    history: list[tuple[int, tuple[object, ...]]],
) -> None:
    told = play(history)
    journal = told[-1][1] if told else []
    assert most_announced(journal, BUDGET_US) <= 3
    began: dict[Point, Entry] = {}
    for entry in journal:
        if entry.what is What.HEARD and entry.after is Shown.NEW and entry.before is not Shown.NEW:
            began[entry.point] = entry
        if entry.what is What.ANNOUNCED:
            assert entry.after in (Shown.NEW, Shown.LATCHED_NEW)
            first = began.get(entry.point)
            if first is not None and first.late:
                assert first.change is not None
                assert first.at_us - first.change.at_us > LATE_US
                assert entry.at_us - first.at_us >= CAUGHT_UP_US


@given(histories)
@settings(max_examples=40, deadline=None)
def test_a_core_moves_only_along_its_table(
    history: list[tuple[int, tuple[object, ...]]],
) -> None:
    reachable = {core: {NEXT[core, stimulus] for stimulus in Stimulus} | {core} for core, _ in NEXT}
    held = AlarmList(SITE)
    told = play(history)
    for entry in told[-1][1] if told else []:
        before, held = held, fold(held, [entry])
        for point, kept in held.kept.items():
            moved = before.of(point).core
            direct = kept.core in reachable[moved]
            passed_unseen = entry.what in (What.HEARD, What.RESET) and not kept.core.is_in
            assert direct or passed_unseen
            if moved.is_in and not kept.core.is_in:
                assert entry.what in (What.HEARD, What.RESET)


@given(histories)
@settings(max_examples=40, deadline=None)
def test_occurrences_only_rise_and_each_is_begun_by_a_condition_that_went_in(
    history: list[tuple[int, tuple[object, ...]]],
) -> None:
    for (before, _), (after, _) in pairwise(play(history)):
        assert after.occurrences >= before.occurrences
        for point, kept in after.kept.items():
            assert kept.occurrence >= before.of(point).occurrence
