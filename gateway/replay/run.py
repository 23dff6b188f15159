"""One replay: a feed in, a folder of results out, the same bytes whenever it is run again."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import asdict, dataclass
from datetime import tzinfo
from hashlib import sha256
from itertools import chain
from pathlib import Path
from typing import Any, TextIO

from edge import pipeline
from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.decide.binding import WatchedInsulator, bind
from edge.measure.plan import MeasurePlan, plan_from_description
from edge.pipeline import Outputs
from edge.settings import (
    Settings,
    SettingsError,
    decision_plan,
    measure_plan,
    parse_settings,
)
from edge.version import __version__
from gateway.replay.capture_files import FOLDER, write_files
from gateway.replay.feeds import BLOCK_SAMPLES, Feed, opened_feed
from gateway.replay.pictures.gathering import Gathering
from gateway.replay.player import Plans, Stretch, decided, stretches
from gateway.replay.progress import end_progress
from gateway.replay.scratch import Scratch, scratch_unit
from gateway.replay.spreading import Workers, opened_workers
from gateway.replay.standing import Counts, Tables
from gateway.replay.walking import WalkTask, leave, tasks_of, walked
from gateway.replay.zones import zone_text

RESULT_NAMES = ("windows.csv", "intervals.csv", "events.jsonl", "run.json")


@dataclass(frozen=True, slots=True)
class Request:
    """What to replay. zone: of stamps in records before 2013; None: UTC, flagged.

    captures: whether the waveforms that were kept are written as files too. plot: whether a
    picture is drawn for each insulator. scheduler: address of a cluster's, in place of processes.
    scratch: folder of a history of its own that takes all records.
    """

    paths: tuple[Path, ...]
    settings: Settings | None = None
    zone: tzinfo | None = None
    processes: int = 1
    block_samples: int = BLOCK_SAMPLES
    captures: bool = False
    plot: bool = False
    scheduler: str | None = None
    scratch: Path | None = None


@dataclass(frozen=True, slots=True)
class Summary:
    """Counts of a run, and what a person should be told of its feed.

    captures: of the events, those that are waveforms. broken: recordings that were passed over.
    """

    windows: int
    intervals: int
    events: int
    captures: int
    seconds_of_signal: float
    insulators: int
    warnings: tuple[str, ...]
    cut: tuple[str, ...]
    broken: tuple[str, ...]


def settings_in(path: Path) -> Settings:
    """The settings of a file. Raises SettingsError, OSError."""
    try:
        text = path.read_text(encoding="utf-8")
    except UnicodeDecodeError as fault:
        raise SettingsError(
            f"{path.name}: byte {fault.start} is no UTF-8; save the file as UTF-8 text"
        ) from fault
    return parse_settings(text, path.name)


def plans_for(feed: Feed, settings: Settings | None) -> tuple[Plans, str]:
    """(plans of a feed, settings hash). Raises SettingsError."""
    description = feed.description
    if settings is None:
        plan = plan_from_description(description, feed.flags)
        if not plan.insulators:
            raise SettingsError(
                f"{feed.records[0].name}: no analogue channel in A, mA or uA; at least one current "
                "is needed; mend the channels' units"
            )
        sha = _default_sha(plan)
        watched = [WatchedInsulator(id=one.id) for one in plan.insulators]
        decision = bind(DEFAULT_ALARMS, watched, sha, description.rate_hz)
        return Plans(plan, decision, description), sha
    plan = measure_plan(settings, description, feed.flags)
    return Plans(plan, decision_plan(settings, description.rate_hz), description), settings.sha


def _default_sha(plan: MeasurePlan) -> str:
    """Identity of a run without settings: the plan made from the record itself."""
    plain = json.dumps(asdict(plan), sort_keys=True, separators=(",", ":"), default=str)
    return sha256(plain.encode()).hexdigest()[:16]


def replay(request: Request, out: Path, progress: TextIO | None = None) -> Summary:
    """Replays into the folder `out`, which is made where it is missing.

    Raises RecordingError, SettingsError, WorkersLost, OSError; files begun are then left with the
    ending `.part`, so that a broken run never looks like a result. A recording among several that
    cannot be read as part of the one signal is passed over and named.
    """
    with ExitStack() as stack:
        workers = stack.enter_context(
            opened_workers(request.processes, request.scheduler, walked.__module__)
        )
        stack.callback(leave)
        feed = stack.enter_context(opened_feed(request.paths, request.zone, pass_over=True))
        rate_hz = feed.description.rate_hz
        feed, cut = feed.sound(lambda items: stretches(rate_hz, items, ticks_each=1))
        plans, sha = plans_for(feed, request.settings)
        out.mkdir(parents=True, exist_ok=True)
        begun = _task(feed, plans, request)
        identity = None if request.plot else _identity(begun, request, sha)
        tables = stack.enter_context(Tables(out, identity))
        scratch = None
        if request.scratch is not None:
            unit = scratch_unit(request.settings)
            scratch = stack.enter_context(Scratch(request.scratch, unit, feed.digest))
        counts = _written(workers, cut, begun, tables, scratch, request, out, progress)
        summary = _summary(feed, plans, counts)
        _write_manifest(out, feed, plans, request, sha, summary)
    for name in RESULT_NAMES:
        (out / f"{name}.part").replace(out / name)
    end_progress(out)
    return summary


def _task(feed: Feed, plans: Plans, request: Request) -> WalkTask:
    """What all tasks have in common. Paths are whole: a worker may stand in another folder."""
    paths = tuple(one.path.resolve() for one in feed.opened)
    return WalkTask(paths, request.zone, request.block_samples, plans, (), request.plot)


def _identity(task: WalkTask, request: Request, sha: str) -> dict[str, Any]:
    marks = [(str(path), path.stat().st_size, path.stat().st_mtime_ns) for path in task.paths]
    return {
        "software": f"seafret {__version__}",
        "settings_sha": sha,
        "feed": marks,
        "time_zone": zone_text(request.zone),
        "captures": request.captures,
        "scratch": None if request.scratch is None else str(request.scratch),
    }


def _written(
    workers: Workers,
    cut: Sequence[Stretch],
    begun: WalkTask,
    tables: Tables,
    scratch: Scratch | None,
    request: Request,
    out: Path,
    progress: TextIO | None,
) -> Counts:
    plans = begun.plans
    gathering = Gathering(tuple(one.id for one in plans.measure.insulators))
    state = tables.begun(pipeline.initial(plans.measure, plans.decision, plans.description))
    if scratch is not None:
        scratch.go_on(tables.numbers)
    tasks = tasks_of(cut[tables.counts.stretches :], begun)
    for one in chain.from_iterable(workers.results(walked, tasks)):
        state, records = decided(state, one.measured)
        tables.take(one, records)
        if scratch is not None:
            scratch.take(records)
        if request.captures:
            write_files(records, out / FOLDER)
        for windows in one.measured.windows:
            gathering.take(Outputs((), windows))
        if request.plot:
            gathering.take(Outputs(records))
        if tables.is_due:
            if scratch is not None:
                scratch.flush()
            tables.keep(state, {} if scratch is None else scratch.numbers)
        _say(progress, tables.counts)
    if progress is not None:
        progress.write("\n")
    if request.plot:
        _draw(plans, gathering, out)
    return tables.counts


def _say(progress: TextIO | None, counts: Counts) -> None:
    if progress is not None:
        seconds = counts.signal_us / 1e6
        progress.write(f"\r{seconds:12.1f} s of signal, {counts.events} events")
        progress.flush()


def _summary(feed: Feed, plans: Plans, counts: Counts) -> Summary:
    return Summary(
        windows=counts.windows,
        intervals=counts.intervals,
        events=counts.events,
        captures=counts.captures,
        seconds_of_signal=counts.signal_us / 1e6,
        insulators=len(plans.measure.insulators),
        warnings=feed.warnings,
        cut=tuple(f"{record.name}: {record.cut}" for record in feed.records if record.cut),
        broken=tuple(one.text for one in feed.broken),
    )


def _draw(plans: Plans, gathering: Gathering, out: Path) -> None:
    """The pictures; the drawing library is loaded for those who ask for them only."""
    from gateway.replay.pictures import page

    for story in gathering.stories():
        bounds = plans.decision.insulators[story.insulator]
        limits_ma = {
            bound.definition.id.value: limit.at / 1e3
            for bound in bounds
            for limit in bound.limits.values()
            if limit.unit == "uA"
        }
        page.write_page(story, limits_ma, out / page.FOLDER)


def _plain_settings(plans: Plans, settings: Settings | None) -> dict[str, object]:
    """The settings as plain JSON; without any, the plan that was made from the record itself."""
    if settings is not None:
        return settings.model_dump(mode="json")
    plan: dict[str, object] = json.loads(json.dumps(asdict(plans.measure), default=str))
    return plan


def _write_manifest(
    out: Path, feed: Feed, plans: Plans, request: Request, sha: str, summary: Summary
) -> None:
    manifest = {
        "software": f"seafret {__version__}",
        "settings_sha": sha,
        "settings_given": request.settings is not None,
        "settings": _plain_settings(plans, request.settings),
        "time_zone": zone_text(request.zone),
        "inputs": [{"name": one.path.name, "sha256": one.sha256} for one in feed.files()],
        "insulators": [one.id for one in plans.measure.insulators],
        "voltage_reference": plans.measure.voltage_channel,
        "nominal_hz": plans.measure.nominal_hz,
        "rate_hz": plans.description.rate_hz,
        "flags": list(plans.measure.flags),
        "counts": {
            "windows": summary.windows,
            "intervals": summary.intervals,
            "events": summary.events,
            "captures": summary.captures,
        },
        "seconds_of_signal": summary.seconds_of_signal,
        "warnings": list(summary.warnings),
        "cut": list(summary.cut),
        "broken": list(summary.broken),
    }
    text = json.dumps(manifest, indent=2, ensure_ascii=False) + "\n"
    (out / "run.json.part").write_text(text, encoding="utf-8")


def say(line: str) -> None:
    """A line for the person, beside the results."""
    print(line, file=sys.stderr)
