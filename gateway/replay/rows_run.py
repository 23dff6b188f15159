"""Stored rows through `decide` alone, into a folder: what given limits would have said of the past.

Week by week, and the state of deciding is kept beside the results after each, so that a run that
was stopped goes on where it stood and leaves the same bytes. Rows are taken in the order in which
they end (event order), late ones too, as if everything had come in time.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path
from typing import Any, TextIO

import numpy as np

from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.decide.binding import DecisionPlan, WatchedInsulator, bind
from edge.decide.kept_state import state_from_plain, state_to_plain
from edge.decide.state import DecideState, initial
from edge.quantities import STATES, State
from edge.settings import Settings, SettingsError, decision_plan
from edge.version import __version__
from edge.wire import body_line
from gateway.replay.passing_over import decided_over
from gateway.replay.progress import end_progress, keep_progress, kept_progress
from gateway.replay.stored_columns import RowReader, Wanted, Week, stored_weeks
from gateway.replay.tables import utc_texts
from gateway.replay.unit_rows import JUDGED, TENS, InsulatorRows, UnitRows
from gateway.replay.watched import Span, joined

RESULTS = ("events.jsonl", "watched.csv", "run.json")
ORDER = "event"
_UNKNOWN = STATES.index(State.UNKNOWN)


@dataclass(frozen=True, slots=True)
class RowsRequest:
    """What to decide again. settings: None for the limits as shipped. rate_hz: of the unit's
    sampling, where it is known; without it gaps between rows are told by UTC."""

    site: str
    wanted: Wanted
    settings: Settings | None = None
    rate_hz: float | None = None


@dataclass(frozen=True, slots=True)
class RowsSummary:
    """What came of it. stepped: rows that were not passed over. resumed: it went on with a run."""

    rows: int
    stepped: int
    events: int
    resumed: bool


@dataclass(frozen=True, slots=True)
class _Stand:
    """Where a run stands behind a week; everything that the next one needs."""

    after_us: int
    state: DecideState
    rows: int = 0
    stepped: int = 0
    events: int = 0
    event_bytes: int = 0
    digest: str = ""
    calibrations: tuple[str, ...] = ()
    watched: Mapping[str, tuple[Span, ...]] | None = None


def plan_of(request: RowsRequest) -> tuple[DecisionPlan, str]:
    """(plan, settings hash). Raises SettingsError."""
    names = request.wanted.insulators
    if request.settings is None:
        sha = sha256(json.dumps(sorted(names)).encode()).hexdigest()[:16]
        watched = [WatchedInsulator(one) for one in names]
        return bind(DEFAULT_ALARMS, watched, sha, request.rate_hz), sha
    plan = decision_plan(request.settings, request.rate_hz)
    unknown = [name for name in plan.insulators if name not in names]
    if len(unknown) == len(plan.insulators):
        raise SettingsError(
            f"settings: insulators {', '.join(unknown)} have no rows in the history of "
            f"{request.site}; it has {', '.join(names)}"
        )
    return plan, request.settings.sha


def decide_rows(
    reader: RowReader, request: RowsRequest, out: Path, progress: TextIO | None = None
) -> RowsSummary:
    """Decides into the folder `out`. Raises SettingsError, HistoryFault, OSError."""
    plan, sha = plan_of(request)
    out.mkdir(parents=True, exist_ok=True)
    identity = identity_of(request, sha)
    begun = _begun(out, identity)
    stand = begun or _Stand(request.wanted.from_us, initial(plan), watched={})
    with (out / "events.jsonl.part").open("r+b" if begun else "wb") as events:
        events.truncate(stand.event_bytes)
        events.seek(stand.event_bytes)
        for week in stored_weeks(reader, request.wanted, stand.after_us):
            found = decided_over(stand.state, week.rows, plan)
            lines = b"".join(body_line(one) + b"\n" for one in found.changes)
            events.write(lines)
            events.flush()
            os.fsync(events.fileno())
            stand = replace(
                _grown(stand, week),
                state=found.state,
                rows=stand.rows + found.rows,
                stepped=stand.stepped + found.stepped,
                events=stand.events + len(found.changes),
                event_bytes=stand.event_bytes + len(lines),
            )
            _keep(out, identity, stand)
            _say(progress, request.wanted, stand)
    if progress is not None:
        progress.write("\n")
    _finish(out, request, plan, sha, stand)
    return RowsSummary(stand.rows, stand.stepped, stand.events, begun is not None)


def _say(progress: TextIO | None, wanted: Wanted, stand: _Stand) -> None:
    if progress is not None:
        whole_us = max(1, wanted.to_us - wanted.from_us)
        share = 100 * (stand.after_us - wanted.from_us) // whole_us
        progress.write(f"\r{share:3d} %, {stand.rows} rows, {stand.events} events")
        progress.flush()


def _grown(stand: _Stand, week: Week) -> _Stand:
    spans = dict(stand.watched or {})
    for name, rows in week.rows.insulators.items():
        spans[name] = joined((*spans.get(name, ()), *watched_spans(rows)))
    return replace(
        stand,
        after_us=week.until_us,
        digest=digest_of(week.rows, stand.digest),
        calibrations=tuple(sorted({*stand.calibrations, *week.calibrations})),
        watched=spans,
    )


def watched_spans(rows: InsulatorRows) -> tuple[Span, ...]:
    """When there were rows that sum, and their state was known."""
    columns = rows.columns
    known = (columns["state"] != _UNKNOWN) & (columns[TENS] == 0)
    start, end = columns["start_us"][known], rows.ends_us[known]
    if not start.size:
        return ()
    breaks = np.flatnonzero(start[1:] > end[:-1] + 1_000_000) + 1
    first = start[np.concatenate(([0], breaks))].tolist()
    last = end[np.concatenate((breaks - 1, [start.size - 1]))].tolist()
    return tuple(zip(first, last, strict=True))


def digest_of(rows: UnitRows, before: str = "") -> str:
    """SHA-256, hex, over everything that is decided on, and the digest of what came before."""
    found = sha256(before.encode())
    for name, own in rows.insulators.items():
        found.update(f"{name} {len(own)} {json.dumps(own.flag_words)}".encode())
        for column in JUDGED:
            found.update(own.columns[column].astype("<i8").tobytes())
        for further in own.further.values():
            found.update(further.astype("<i8").tobytes())
    for weather in rows.weather:
        found.update(body_line(weather))
    for health in rows.health:
        found.update(body_line(health))
    return found.hexdigest()


def identity_of(request: RowsRequest, sha: str) -> dict[str, Any]:
    """What makes another run the same."""
    wanted = request.wanted
    return {
        "software": f"seafret {__version__}",
        "settings_sha": sha,
        "site": request.site,
        "unit": wanted.unit,
        "insulators": list(wanted.insulators),
        "from_us": wanted.from_us,
        "to_us": wanted.to_us,
        "rate_hz": request.rate_hz,
    }


def _keep(out: Path, identity: Mapping[str, Any], stand: _Stand) -> None:
    plain = {
        "after_us": stand.after_us,
        "state": state_to_plain(stand.state),
        "counts": [stand.rows, stand.stepped, stand.events, stand.event_bytes],
        "digest": stand.digest,
        "calibrations": stand.calibrations,
        "watched": stand.watched,
    }
    keep_progress(out, identity, plain)


def _begun(out: Path, identity: Mapping[str, Any]) -> _Stand | None:
    """Where a stopped run of the same request stands; another request begins anew."""
    plain = kept_progress(out, identity)
    if plain is None:
        return None
    rows, stepped, events, event_bytes = plain["counts"]
    watched = {
        name: tuple((first, last) for first, last in spans)
        for name, spans in plain["watched"].items()
    }
    state = state_from_plain(plain["state"])
    return _Stand(
        plain["after_us"], state, rows, stepped, events, event_bytes, plain["digest"],
        tuple(plain["calibrations"]), watched,
    )  # fmt: skip


def _finish(out: Path, request: RowsRequest, plan: DecisionPlan, sha: str, stand: _Stand) -> None:
    begin, end = utc_texts(np.array([request.wanted.from_us, request.wanted.to_us], np.int64))
    settings = request.settings
    manifest = {
        "kind": "rows",
        "software": f"seafret {__version__}",
        "settings_sha": sha,
        "settings_given": settings is not None,
        "settings": {} if settings is None else settings.model_dump(mode="json"),
        "site": request.site,
        "unit": request.wanted.unit,
        "from": begin,
        "to": end,
        "order": ORDER,
        "rate_hz": request.rate_hz,
        "inputs": [{"name": f"rows of {request.wanted.unit}", "sha256": stand.digest}],
        "insulators": [one for one in request.wanted.insulators if one in plan.insulators],
        "calibrations": list(stand.calibrations),
        "counts": {"rows": stand.rows, "events": stand.events},
    }
    write_result(out, manifest, stand.watched or {})
    end_progress(out)


def write_result(
    out: Path, manifest: Mapping[str, Any], watched: Mapping[str, tuple[Span, ...]]
) -> None:
    """The list of what was watched and the manifest; then all files of a result get their names.
    The events are there already, as a file with the ending `.part`."""
    lines = ["insulator,start,end\n"]
    for name, spans in watched.items():
        texts = utc_texts(np.array(spans, np.int64).reshape(-1))
        lines += [f"{name},{a},{b}\n" for a, b in zip(texts[::2], texts[1::2], strict=True)]
    (out / "watched.csv.part").write_text("".join(lines), encoding="utf-8")
    text = json.dumps(manifest, indent=2, ensure_ascii=False) + "\n"
    (out / "run.json.part").write_text(text, encoding="utf-8")
    for name in RESULTS:
        (out / f"{name}.part").replace(out / name)
