"""Two results compared in everything that they say."""

from __future__ import annotations

from gateway.alarms.performance import Figures
from gateway.replay.comparison import compared
from gateway.replay.comparison_document import Told
from gateway.replay.load import operator_load
from gateway.replay.occurrences import occurrences
from gateway.replay.results import Run
from gateway.replay.settings_difference import differing


def compared_runs(a: Run, b: Run, tolerance_us: int) -> Told:
    """Alarms that begin no further apart than the tolerance are the same."""
    known = a.settings is not None and b.settings is not None
    return Told(
        a=a,
        b=b,
        comparison=compared(occurrences(a.changes), occurrences(b.changes), tolerance_us),
        load_a=_load(a),
        load_b=_load(b),
        settings=differing(a.settings or {}, b.settings or {}) if known else (),
        inputs_differ=tuple(
            name
            for name in sorted(a.inputs.keys() | b.inputs.keys())
            if a.inputs.get(name) != b.inputs.get(name)
        ),
    )


def _load(run: Run) -> Figures:
    return operator_load(run.changes, run.insulators, *run.period)
