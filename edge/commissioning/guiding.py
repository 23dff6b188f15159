"""From step to step: shown, asked, carried out, kept."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from edge.commissioning.asking import Person, Place
from edge.commissioning.bench import Bench
from edge.commissioning.journal import Begun, Journal, save, with_begun, with_outcome
from edge.commissioning.outcome import Outcome, Verdict, failed
from edge.commissioning.table import BY_ID, STEPS
from edge.commissioning.visit import GivenUp, Visit
from edge.faults import Exit, exit_code_of, line_of
from edge.settings import Settings
from edge.version import __version__


def places(settings: Settings) -> Iterator[Place]:
    """Every step of the unit and of each insulator, in the order in which they are done."""
    for step in STEPS:
        if step.each:
            yield from (Place(step.id, one.id) for one in settings.insulator)
        else:
            yield Place(step.id)


class Guide:
    """One run through the steps. journal: as it stands on disk."""

    def __init__(self, journal: Journal, folder: Path, bench: Bench, person: Person) -> None:
        self.journal, self._folder = journal, folder
        self._bench, self._person = bench, person

    def run(self, again: Collection[str] = ()) -> None:
        """Every step that has not passed, and those named in `again`."""
        for place in places(self._bench.settings):
            if again and place.step not in again:
                continue
            if not again and self.journal.verdict(place) is Verdict.PASSED:
                continue
            if self._person.wants(place):
                self._do(place)

    def _do(self, place: Place) -> None:
        self._show(place)
        before = self.journal.begun.get(place)
        now_us = self._bench.clock.utc_us()
        kept = {} if before is None else before.kept
        boot = self._bench.boot() if before is None else before.boot
        begun = Begun(at_us=now_us, boot=boot, kept=kept)
        self._keep(with_begun(self.journal, place, begun))
        outcome = replace(
            self._outcome(place, begun),
            at_us=self._bench.clock.utc_us(),
            software=__version__,
            settings_sha=self._bench.settings.sha,
        )
        self._keep(with_outcome(self.journal, place, outcome))
        for reading in outcome.readings:
            self._person.tell(f"  {reading.line()}")
        blank = f": without {', '.join(outcome.missing)}" if outcome.missing else ""
        note = f": {outcome.note}" if outcome.note else ""
        self._person.tell(f"  {place.shown}: {outcome.verdict.value.upper()}{blank}{note}")

    def _show(self, place: Place) -> None:
        step = BY_ID[place.step]
        subject = f" - {place.insulator}" if place.insulator else ""
        self._person.tell(f"\n== {step.title}{subject} [{step.id}]")
        for caution in step.cautions:
            self._person.tell(f"  CAUTION {caution.value}")
        self._person.tell(f"  {step.todo}")

    def _outcome(self, place: Place, begun: Begun) -> Outcome:
        step = BY_ID[place.step]
        entered = {one.key: self._person.ask(place, one) for one in step.questions}
        given = {key: answer for key, answer in entered.items() if answer}
        if missing := tuple(key for key in entered if key not in given):
            return Outcome(entered=given, missing=missing)

        def keep(found: Mapping[str, Any]) -> None:
            self._keep(with_begun(self.journal, place, replace(begun, kept=found)))

        visit = Visit(place, self._bench, self._person, given, begun, keep)
        try:
            outcome = step.carry_out(visit)
        except GivenUp:
            outcome = Outcome(missing=("carried out",))
        except Exception as fault:
            if exit_code_of(fault) is Exit.PROGRAM_FAULT:
                raise
            outcome = failed(line_of(fault))
        return replace(outcome, entered={**given, **outcome.entered})

    def _keep(self, journal: Journal) -> None:
        save(journal, self._folder)
        self.journal = journal
