"""Counts of the trials, and the figures that they are held against: one table of requirements."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from tests.second_years.evenings import Evening, coverage, sharpness
from tests.second_years.judging import Trial

FLAGGED_MOST = 16 / 200
FOUND_LEAST = 0.80
COVERAGE = (0.85, 0.95)
WASH_LEAST = 0.85
EVERY = (1.0, 1.0)
NONE = (0.0, 0.0)
TRIALS_LEAST = 300
"""Fewer intervals than this, and a coverage is printed but not judged."""


@dataclass(frozen=True, slots=True)
class Figure:
    """One requirement with its count. least, most: bounds of the share. judged: enough trials."""

    name: str
    count: int
    of: int
    least: float
    most: float
    judged: bool = True

    @property
    def share(self) -> float:
        """The count as a share; NaN of nothing."""
        return self.count / self.of if self.of else float("nan")

    @property
    def holds(self) -> bool:
        """Within its bounds, or not judged."""
        return not self.judged or self.of == 0 or self.least <= self.share <= self.most

    def line(self) -> str:
        """For the table."""
        mark = "holds" if self.holds else "FAILS"
        mark = mark if self.judged and self.of else "few"
        bounds = f"{self.least:.2f} to {self.most:.2f}"
        return f"{self.name:58} {self.count:5d} of {self.of:5d} {self.share:6.3f}  {bounds}  {mark}"


def _counted(
    name: str, trials: Sequence[Trial], fits: Callable[[Trial], bool], bounds: tuple[float, float]
) -> Figure:
    return Figure(name, sum(fits(trial) for trial in trials), len(trials), *bounds)


def _in(trials: Sequence[Trial], scenario: str, touched: bool | None = True) -> list[Trial]:
    return [
        trial
        for trial in trials
        if trial.scenario == scenario and touched in (None, trial.expected.touched)
    ]


def _left_alone(trials: Sequence[Trial]) -> list[Figure]:
    flagged = (0.0, FLAGGED_MOST)
    siblings = [
        trial for trial in trials if not trial.expected.touched and "after" not in trial.scenario
    ]
    siblings = [trial for trial in siblings if "steady" not in trial.scenario]
    return [
        _counted("steady: flagged", _in(trials, "steady", None), lambda t: t.flagged, flagged),
        _counted("siblings of what was touched: flagged", siblings, lambda t: t.flagged, flagged),
        *(
            _counted(f"{name}: flagged", _in(trials, name, None), lambda t: t.flagged, NONE)
            for name in ("wet year after a dry one", "wet season after a dry one")
        ),
    ]


def _found(trials: Sequence[Trial]) -> list[Figure]:
    figures = []
    for name in (
        "deposit doubled, site",
        "deposit doubled, one",
        "onset 10 % RH lower, lasting",
        "onset 10 % RH lower, reversible",
    ):
        these = _in(trials, name)
        told = [trial for trial in these if trial.told]
        least = (FOUND_LEAST, 1.0)
        figures += [
            _counted(f"{name}: found", these, lambda t: t.flagged, least),
            _counted(f"{name}: of told causes right", told, lambda t: t.right, least),
        ]
    probe = _in(trials, "humidity probe 5 % off")
    figures.append(
        _counted("humidity probe 5 % off: so said", probe, lambda t: t.right, (FOUND_LEAST, 1.0))
    )
    alone = _in(trials, "one insulator, deposit doubled")
    figures.append(
        _counted("one insulator, doubled: found", alone, lambda t: t.flagged, (FOUND_LEAST, 1.0))
    )
    accused = [trial for trial in alone if trial.told]
    figures.append(
        _counted("one insulator, doubled: site or unit told", accused, lambda t: True, NONE)
        if accused
        else Figure("one insulator, doubled: site or unit told", 0, len(alone), *NONE)
    )
    return figures


def _intervals(trials: Sequence[Trial]) -> list[Figure]:
    unbiased = [t for t in trials if "wet " not in t.scenario and "probe" not in t.scenario]
    held = [held for held in (trial.covers() for trial in unbiased) if held is not None]
    figures = [
        Figure("ratio's interval holds it, all but wet years and the probe", sum(held), len(held),
               *COVERAGE, judged=len(held) >= TRIALS_LEAST)
    ]  # fmt: skip
    for name in sorted({trial.scenario for trial in trials}):
        for touched in (False, True):
            some = [t.covers() for t in _in(trials, name, touched)]
            held = [one for one in some if one is not None]
            what = "touched" if touched else "not touched"
            row = Figure(f"  {name}, {what}", sum(held), len(held), *COVERAGE, judged=False)
            figures += [row] if held else []
    washes = [held for held in (t.wash_covers() for t in trials) if held is not None]
    figures.append(
        Figure("wash: its ratio within its interval", sum(washes), len(washes), WASH_LEAST, 1.0)
    )
    return figures


def _blind(trials: Sequence[Trial]) -> list[Figure]:
    figures = []
    blind = [trial for trial in trials if trial.expected.blind]
    for name in dict.fromkeys(trial.scenario for trial in blind):
        these = _in(trials, name)
        undecided: Callable[[Trial], bool] = lambda t: t.said["decision"] == "cannot-decide"  # noqa: E731
        figures += [
            _counted(f"{name}: 'better' or changed", these, lambda t: t.flagged, NONE),
            _counted(f"{name}: 'cannot decide'", these, undecided, EVERY),
        ]
    return figures


def of_trials(trials: Sequence[Trial]) -> list[Figure]:
    """All figures of the trend."""
    return [*_left_alone(trials), *_found(trials), *_intervals(trials), *_blind(trials)]


def of_evenings(name: str, chosen: Sequence[Evening]) -> list[Figure]:
    """All figures of the forecast. Sharper: on how many coasts its score beats climatology's."""
    held, of = coverage(chosen)
    judged = of >= TRIALS_LEAST
    coasts = sorted({evening.coast for evening in chosen})
    sharper = [sharpness([e for e in chosen if e.coast == coast]) < 1 for coast in coasts]
    arcs = [e for e in chosen if e.arcing_low is not None and e.arcing_high is not None]
    within = sum((e.arcing_low or 0) <= e.arcing_true <= (e.arcing_high or 0) for e in arcs)
    return [
        Figure(f"{name}: range holds the current", held, of, *COVERAGE, judged=judged),
        Figure(f"{name}: range holds the arcing", within, len(arcs), COVERAGE[0], 1.0, judged),
        Figure(f"{name}: coasts where sharper than climatology", sum(sharper), len(coasts), *EVERY),
    ]
