"""Steps of the whole unit: people and instruments, computer, clock, uplink, alarm, supply, lead."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime

from edge.checking.broker import broker_findings
from edge.checking.finding import Finding
from edge.checking.inspection import clock_finding, disk_findings
from edge.clock import steady_s
from edge.commissioning import limits
from edge.commissioning.asking import Question
from edge.commissioning.bench import Work, at_work
from edge.commissioning.outcome import Outcome, Reading, failed
from edge.commissioning.visit import Visit
from edge.faults import Exit
from edge.records import Condition, ConditionChange, Record, UnitEvent
from edge.settings import decision_plan

TEST_EVENT = "commissioning-test"


def people(visit: Visit) -> Outcome:
    """Two people, not one twice."""
    fitter, witness = (visit.entered[key].casefold() for key in ("fitter", "witness"))
    if fitter == witness:
        return failed("fitter and witness are the same person; two are needed")
    return Outcome()


def instruments(visit: Visit) -> Outcome:
    """Each with a calibration that has not run out."""
    today = datetime.fromtimestamp(visit.bench.clock.utc_us() / 1e6, UTC).date()
    for what in ("ammeter", "conductivity_meter"):
        begun, due = (
            date.fromisoformat(visit.entered[f"{what}_{key}"]) for key in ("calibrated", "due")
        )
        if not begun <= today <= due:
            return failed(
                f"{what}: calibrated {begun}, due {due}, today {today}: take one whose "
                "calibration holds"
            )
    return Outcome()


def computer(visit: Visit) -> Outcome:
    """Limits that the sensors can show, disk, certificates and broker."""
    settings, base = visit.bench.settings, visit.bench.base
    decision_plan(settings, visit.bench.listener().source.description.rate_hz)
    if settings.broker is None:
        return failed("no broker is set: nobody would hear an alarm; add [broker]")
    found = [*disk_findings(settings, base), *broker_findings(settings, base, visit.bench.clock)]
    outcome = _of_findings(found)
    firmware = visit.bench.listener().source.firmware() or "not told"
    return replace(outcome, note=f"{outcome.note}; sensor unit's firmware: {firmware}")


def clock(visit: Visit) -> Outcome:
    """Set, disciplined, and within its limit."""
    return _of_findings([clock_finding(visit.bench.clock)])


def _of_findings(found: list[Finding]) -> Outcome:
    lines = "; ".join(one.line() for one in found)
    return Outcome(note=lines, faulty=any(one.code is not Exit.FINE for one in found))


def link(visit: Visit) -> Outcome:
    """A record reaches the gateway; what is made while the uplink is away follows in order."""
    bench = visit.bench
    with at_work(bench) as work:
        begun_s = steady_s()
        if not _noted(visit, work, 1) or bench.awaited(work.is_receipted) is None:
            return failed("the gateway receipted nothing: look after network, broker and gateway")
        receipt_s = steady_s() - begun_s
        visit.act("Take the uplink away: network lead or antenna. Leave it off until told.")
        if bench.awaited(work.is_away) is None:
            return failed("the uplink stayed: another way leads to the broker")
        if not _noted(visit, work, limits.BACK_FILL_RECORDS_MIN):
            return failed("records were not kept while the uplink was away")
        held = work.daemon.keeper.backlog
        visit.act("Put the uplink back.")
        if bench.awaited(lambda: not work.is_away()) is None:
            return failed("the uplink did not come back: look after network and broker")
        filled_s = bench.awaited(work.is_receipted)
    if filled_s is None:
        return failed("what was held was not receipted in time: look after broker and gateway")
    return Outcome(
        readings=(
            Reading(
                name="test record to its receipt",
                figure=receipt_s,
                unit="s",
                high=limits.RECEIPT_S_MAX,
            ),
            Reading(
                name="records held while away", figure=float(held), low=limits.BACK_FILL_RECORDS_MIN
            ),
            Reading(
                name="return of the uplink to the last receipt",
                figure=filled_s,
                unit="s",
                high=limits.BACK_FILL_S_MAX,
            ),
        )
    )


def _noted(visit: Visit, work: Work, count: int) -> bool:
    """Whether so many test records have been committed."""
    after = work.count
    for number in range(count):
        work.daemon.note(TEST_EVENT, {"number": number})

    def committed() -> bool:
        work.daemon.look()
        return len(work.heard(_is_test, after)) >= count

    return visit.bench.awaited(committed) is not None


def _is_test(record: Record) -> bool:
    return isinstance(record, UnitEvent) and record.event == TEST_EVENT


def alarm(visit: Visit) -> Outcome:
    """A real alarm of a sensor: made by hand, decided here, receipted by the gateway, and seen."""
    bench = visit.bench
    with at_work(bench) as work:
        if not _noted(visit, work, 1) or bench.awaited(work.is_receipted) is None:
            return failed("the gateway receipts nothing: do the step 'link' first")
        after = work.count
        visit.act(
            "Make an alarm at a sensor of the energised line: inject a fifth above its full "
            "scale for a minute or two, so that it is over range."
        )

        def rang() -> bool:
            work.daemon.look()
            return bool(work.heard(_is_sensor_alarm, after))

        if bench.awaited(rang) is None:
            return failed(
                "no alarm came: was the line energised, and the current high enough? One that "
                "stands since an earlier try does not ring again before it has cleared"
            )
        receipt_s = bench.awaited(work.is_receipted, limits.RECEIPT_S_MAX)
        visit.act("Take the injection away.")
        if receipt_s is None:
            return failed("the alarm was not receipted: look after network, broker and gateway")
        rung = [_named(one) for one in work.heard(_is_sensor_alarm, after)]
    return told_alarm(rung, receipt_s, {one.key: visit.ask(one) for one in SEEN})


def told_alarm(rung: Sequence[str], receipt_s: float, entered: Mapping[str, str]) -> Outcome:
    """rung: `alarm of insulator`. entered: what the control room says that it sees, "" unsaid."""
    reading = Reading(
        name="alarm's commit to its receipt", figure=receipt_s, unit="s", high=limits.RECEIPT_S_MAX
    )
    outcome = Outcome(
        readings=(reading,),
        entered={key: answer for key, answer in entered.items() if answer},
        missing=tuple(key for key, answer in entered.items() if not answer),
        note=", ".join(rung),
    )
    seen = entered["seen_alarm"]
    if not seen or seen in [one.partition(" ")[0] for one in rung]:
        return outcome
    note = f"the unit rang {outcome.note}, the control room saw {seen}: find out of which unit"
    return replace(outcome, faulty=True, note=note)


SEEN = (
    Question(
        "seen_alarm",
        "Ask the control room which alarm of which insulator they see now: its name there",
        example="over-range",
    ),
    Question("seen_by", "Who saw it there: name", example="M. Tern"),
)


def _is_sensor_alarm(record: Record) -> bool:
    return (
        isinstance(record, ConditionChange)
        and record.condition is Condition.IN
        and bool(record.subject)
    )


def _named(record: Record) -> str:
    assert isinstance(record, ConditionChange)
    return f"{record.alarm} of {record.subject}"


def supply_off(visit: Visit) -> Outcome:
    """The unit's supply fails and returns: nobody is needed for it to go on."""
    bench = visit.bench
    if visit.begun.boot != bench.boot():
        bench.look(1.0)
        return Outcome(note="this computer lost its supply too, and went on by itself after it")
    restarts = bench.listener().source.counters().get("restarts", 0)
    outcome = _silence(
        visit,
        "Switch the unit's supply off. Where this computer goes off with it: "
        "switch it on again, then start this command anew; it goes on here.",
        "Switch the supply on again.",
    )
    again = bench.listener().source.counters().get("restarts", 0)
    if outcome.faulty or again > restarts:
        return outcome
    return failed("samples went on as if nothing had been: the sensor unit did not lose its supply")


def data_lead_off(visit: Visit) -> Outcome:
    """The lead between sensor unit and computer: its loss is noticed, its return needs nobody."""
    return _silence(
        visit,
        "Pull the data lead between sensor unit and this computer.",
        "Put the data lead back.",
    )


def _silence(visit: Visit, off: str, on: str) -> Outcome:
    bench = visit.bench
    bench.look(1.0)
    listener = bench.listener()
    visit.act(off)
    if bench.awaited(lambda: listener.quiet_s > limits.SILENT_S_MIN) is None:
        return failed("samples kept coming: something else was switched or pulled")
    bench.awaited(lambda: bool(listener.source.silence()))
    noticed_s, said = listener.quiet_s, listener.source.silence()
    visit.act(on)
    if bench.awaited(lambda: listener.quiet_s < limits.SILENT_S_MIN) is None:
        return failed(f"the samples did not come back: {listener.source.silence()}")
    bench.look(1.0)
    reading = Reading(
        name="last sample to its being noticed",
        figure=noticed_s,
        unit="s",
        high=limits.SILENCE_S_MAX,
    )
    return Outcome(readings=(reading,), note=f"the unit said: {said}", faulty=not said)
