"""One replay: a feed in, a folder of results out, the same bytes whenever it is run again."""

from __future__ import annotations

import json
import multiprocessing
import sys
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import asdict, dataclass
from datetime import tzinfo
from hashlib import sha256
from pathlib import Path
from typing import TextIO

from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.decide.binding import WatchedInsulator, bind
from edge.measure.plan import MeasurePlan, plan_from_description
from edge.pipeline import Outputs
from edge.records import Capture, ConditionChange, IntervalRow, Span
from edge.settings import (
    Settings,
    SettingsError,
    decision_plan,
    measure_plan,
    parse_settings,
)
from edge.version import __version__
from edge.wire import body_line
from gateway.replay import walking
from gateway.replay.capture_files import FOLDER, write_files
from gateway.replay.feeds import BLOCK_SAMPLES, Feed, opened_feed
from gateway.replay.pictures.gathering import Gathering
from gateway.replay.player import MeasuredStretch, Plans, decided, played, stretches
from gateway.replay.tables import (
    INTERVAL_HEADER,
    WINDOW_HEADER,
    header_line,
    interval_line,
    window_lines,
)
from gateway.replay.zones import zone_text

RESULT_NAMES = ("windows.csv", "intervals.csv", "events.jsonl", "run.json")


@dataclass(frozen=True, slots=True)
class Request:
    """What to replay. zone: of stamps in records before 2013; None: UTC, flagged.

    captures: whether the waveforms that were kept are written as files too. plot: whether a
    picture is drawn for each insulator.
    """

    paths: tuple[Path, ...]
    settings: Settings | None = None
    zone: tzinfo | None = None
    processes: int = 1
    block_samples: int = BLOCK_SAMPLES
    captures: bool = False
    plot: bool = False


@dataclass(frozen=True, slots=True)
class Summary:
    """Counts of a run, and what a person should be told of its feed.

    captures: of the events, those that are waveforms.
    """

    windows: int
    intervals: int
    events: int
    captures: int
    seconds_of_signal: float
    insulators: int
    warnings: tuple[str, ...]
    cut: tuple[str, ...]


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

    Raises RecordingError, SettingsError, OSError; files begun are then left with the ending
    `.part`, so that a broken run never looks like a result.
    """
    with ExitStack() as stack:
        feed = stack.enter_context(opened_feed(request.paths, request.zone))
        plans, sha = plans_for(feed, request.settings)
        out.mkdir(parents=True, exist_ok=True)
        summary = _written(feed, plans, request, out, progress)
        _write_manifest(out, feed, plans, request, sha, summary)
    for name in RESULT_NAMES:
        (out / f"{name}.part").replace(out / name)
    return summary


def _written(
    feed: Feed, plans: Plans, request: Request, out: Path, progress: TextIO | None
) -> Summary:
    gathering = Gathering(tuple(one.id for one in plans.measure.insulators))
    windows = intervals = events = captures = 0
    signal_us = 0
    first = plans.measure.insulators[0].id
    with ExitStack() as stack:
        files = [
            stack.enter_context((out / f"{name}.part").open("w", newline="", encoding="utf-8"))
            for name in RESULT_NAMES[:3]
        ]
        files[0].write(header_line(WINDOW_HEADER))
        files[1].write(header_line(INTERVAL_HEADER))
        for outputs in _outputs(feed, plans, request):
            if outputs.windows:
                files[0].write(window_lines(outputs.windows))
                windows += sum(len(table) for _, table in outputs.windows)
                signal_us += sum(
                    int(table.duration_us.sum()) for name, table in outputs.windows if name == first
                )
            for record in outputs.records:
                if isinstance(record, ConditionChange | Capture):
                    files[2].write(body_line(record).decode() + "\n")
                    events += 1
                    captures += isinstance(record, Capture)
                elif isinstance(record, IntervalRow) and record.span is Span.MINUTE:
                    files[1].write(interval_line(record))
                    intervals += 1
            if request.captures:
                write_files(outputs.records, out / FOLDER)
            if request.plot:
                gathering.take(outputs)
            if progress is not None and outputs.windows:
                progress.write(f"\r{signal_us / 1e6:12.1f} s of signal, {events} events")
                progress.flush()
    if progress is not None:
        progress.write("\n")
    if request.plot:
        _draw(plans, gathering, out)
    return Summary(
        windows=windows,
        intervals=intervals,
        events=events,
        captures=captures,
        seconds_of_signal=signal_us / 1e6,
        insulators=len(plans.measure.insulators),
        warnings=feed.warnings,
        cut=tuple(f"{record.name}: {record.cut}" for record in feed.records if record.cut),
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


def _outputs(feed: Feed, plans: Plans, request: Request) -> Iterator[Outputs]:
    if request.processes == 1:
        return played(plans, feed.items(request.block_samples))
    return decided(plans, _measured_apart(feed, plans, request))


def _measured_apart(feed: Feed, plans: Plans, request: Request) -> Iterator[MeasuredStretch]:
    """Stretches measured by several processes, in order."""
    tasks = stretches(plans, feed.items(request.block_samples), ticks_each=1)
    begun = (plans, request.paths, request.zone, request.block_samples)
    context = multiprocessing.get_context("spawn")
    with context.Pool(request.processes, walking.begin, begun) as pool:
        yield from pool.imap(walking.walked, tasks)


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
    }
    text = json.dumps(manifest, indent=2, ensure_ascii=False) + "\n"
    (out / "run.json.part").write_text(text, encoding="utf-8")


def say(line: str) -> None:
    """A line for the person, beside the results."""
    print(line, file=sys.stderr)
