"""The plain limits that ours are put beside: peak, r.m.s. and third harmonic of the minute.

An alarm begins with the first minute at the limit and ends after an hour below it, the off-delay of
the arcing alarm as shipped. Minutes that are not known or de-energised neither begin nor end one.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from edge.decide.definitions import Alarm
from edge.quantities import STATES, State
from gateway.history.chunks import ABSENT, Ints
from gateway.replay.occurrences import Occurrence
from gateway.replay.unit_rows import TENS, InsulatorRows
from gateway.replay.watched import Span, joined

FURTHER = ("peak_ua", "rms_na", "h1_na", "h3_ppm")
"""What these limits read besides what ours do."""

OFF_US = 3_600_000_000
FACTOR = 1.25
LIMITS_UA: tuple[int, ...] = tuple(round(50 * FACTOR**step) for step in range(42))
"""Tried limits, 50 uA to about 500 mA in steps of a quarter."""

KINDS = ("peak", "rms", "third-harmonic")
_BLIND = (STATES.index(State.UNKNOWN), STATES.index(State.DE_ENERGISED))


def amounts_ua(rows: InsulatorRows) -> dict[str, Ints]:
    """By kind, of the minutes that may be judged; -1 for the others."""
    columns, further = rows.columns, rows.further
    fit = (columns[TENS] == 0) & ~np.isin(columns["state"], _BLIND)
    third = further["h1_na"] * (further["h3_ppm"] / 1e6)
    known = (further["h1_na"] != ABSENT) & (further["h3_ppm"] != ABSENT)
    rms_known = further["rms_na"] != ABSENT
    return {
        "peak": np.where(fit, further["peak_ua"], -1),
        "rms": np.where(fit & rms_known, further["rms_na"] // 1000, -1),
        "third-harmonic": np.where(fit & known, third / 1000, -1.0).astype(np.int64),
    }


def crossings(rows: InsulatorRows) -> Iterator[tuple[str, int, tuple[Span, ...]]]:
    """(kind, limit, stretches at or above it), those nearer than the off-delay as one."""
    ends_us = rows.ends_us
    for kind, amounts in amounts_ua(rows).items():
        for limit_ua in LIMITS_UA:
            at = ends_us[amounts >= limit_ua].tolist()
            if not at:
                break  # a higher limit is not met either
            yield kind, limit_ua, joined(((one, one) for one in at), OFF_US)


def occurrences_of(insulator: str, spans: tuple[Span, ...]) -> Iterator[Occurrence]:
    """As alarms of the kind that tells arcing."""
    for first_us, last_us in spans:
        yield Occurrence(first_us, Alarm.ARCING.value, insulator, 2, last_us + OFF_US)
