"""A commissioning from its command's arguments to its exit code and its witness record."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from edge.clock import Clock, read_clock
from edge.commissioning.asking import AnswerRefused, Person, Terminal, read_sheet
from edge.commissioning.bench import Bench
from edge.commissioning.guiding import Guide, places
from edge.commissioning.journal import STATE_FILE, Journal, load, write_durably
from edge.commissioning.outcome import Verdict
from edge.commissioning.standing import WITNESS_FILE, subject_sha
from edge.commissioning.table import BY_ID
from edge.commissioning.witness import witness_of, write_witness
from edge.commissioning.witness_pdf import NoPdf, witness_pdf
from edge.daemon.running import made_folder, read_settings
from edge.faults import Exit
from edge.settings import Settings


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """The command's arguments. steps: done again, whatever came of them; none: what is missing."""

    settings: Path
    clock: Path | None = None
    answers: Path | None = None
    steps: tuple[str, ...] = ()
    wait_s: float = 300.0
    only_list: bool = False
    anew: bool = False


def conduct(asked: Asked, person: Person | None = None) -> int:
    """The exit code. person: who answers; None: the file of answers, or whoever is at the
    terminal. Raises what keeps a commissioning from being begun."""
    settings, clock = read_settings(asked.settings), read_clock(asked.clock)
    folder = made_folder(settings, asked.settings.parent)
    if odd := [one for one in asked.steps if one not in BY_ID]:
        raise AnswerRefused(f"--step {odd[0]} is no step; there are {', '.join(BY_ID)}")
    if asked.anew:
        _begin_anew(folder, clock.utc_us())
    journal = load(folder, settings.unit.id, subject_sha(settings), clock.utc_us())
    if person is None:
        person = Terminal() if asked.answers is None else read_sheet(asked.answers, BY_ID)
    bench = Bench(settings, asked.settings.parent, clock, asked.wait_s)
    guide = Guide(journal, folder, bench, person)
    if not asked.only_list:
        try:
            guide.run(asked.steps)
        except (EOFError, KeyboardInterrupt):
            print("\nstopped; every step that was ended is kept: start again to go on")
        finally:
            bench.release()
            _write(guide.journal, settings, clock, folder)
    return _told(guide.journal, settings)


def _begin_anew(folder: Path, now_us: int) -> None:
    """What was there is put aside under its date, and the unit is out of service."""
    for name in (STATE_FILE, WITNESS_FILE):
        if (folder / name).exists():
            (folder / name).replace(folder / f"{name}.{now_us // 1_000_000}")


def _write(journal: Journal, settings: Settings, clock: Clock, folder: Path) -> None:
    witness = witness_of(journal, settings, clock)
    path = write_witness(witness, folder)
    try:
        write_durably(path.with_suffix(".pdf"), witness_pdf(witness))
    except NoPdf as fault:
        print(fault)
    print(f"\nwitness record: {path} sha256 {witness['sha256']}")


def _told(journal: Journal, settings: Settings) -> int:
    verdicts = {place: journal.verdict(place) for place in places(settings)}
    for place, verdict in verdicts.items():
        print(f"{verdict.value:<7} {place.shown}")
    if all(one is Verdict.PASSED for one in verdicts.values()):
        print(f"{settings.unit.id} may go into service: start the daemon anew")
        return Exit.FINE
    left = sum(one is not Verdict.PASSED for one in verdicts.values())
    print(f"{settings.unit.id} is NOT in service: {left} of {len(verdicts)} steps are missing")
    return Exit.FOUND
