"""What `compare --json` and `score --json` printed, made again from the results they name."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from edge.quantities import INT64_MAX
from gateway.replay.comparing import compared_runs
from gateway.replay.comparison_document import comparison_document
from gateway.replay.instants import instant_us
from gateway.replay.judging import Asked as Judging
from gateway.replay.judging import judge
from gateway.replay.labels import Kind
from gateway.replay.results import ResultFault, read_run
from gateway.replay.score_document import score_document
from gateway.replay.scoring import Rules
from gateway.replay.settings_difference import differing
from gateway.replay.verification import Asked, Deviation, Verification


def verified_document(asked: Asked, labels: Path | None = None) -> Verification:
    """The first place where the document is not the same. Folders are looked for where the document
    says, and by their names in `asked.inputs`. labels: of a score.

    Raises ResultFault, LabelsFault, ScoringRefused, OSError.
    """
    found = _read(asked.result)
    if "only_a" in found:
        runs = [read_run(_folder(asked, str(found[side]["result"]))) for side in ("a", "b")]
        again = comparison_document(
            compared_runs(runs[0], runs[1], round(found["tolerance_s"] * 1e6))
        )
        _name_alike(again["a"], found["a"])
        _name_alike(again["b"], found["b"])
    else:
        again = _scored_again(asked, found, labels)
        _name_alike(again["run"], found["run"])
    fresh = json.loads(json.dumps(again))
    deviations = tuple(
        Deviation(asked.result.name, one.key, str(one.a), str(one.b))
        for one in differing(found, fresh)[:1]
    )
    return Verification((), deviations, (asked.result.name,))


def _read(path: Path) -> dict[str, Any]:
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except ValueError as fault:
        raise ResultFault(f"{path}: {fault}; what --json printed is needed") from fault
    if not isinstance(found, dict) or not ("only_a" in found or "rules" in found):
        raise ResultFault(
            f"{path}: neither a comparison nor a score; a folder of a replay, or what "
            "seafret compare or score printed with --json, is needed"
        )
    return found


def _folder(asked: Asked, said: str) -> Path:
    beside = [path / Path(said).name for path in asked.inputs]
    for path in (*beside, *asked.inputs, Path(said)):
        if (path / "run.json").is_file() and path.name == Path(said).name:
            return path
    raise ResultFault(f"{asked.result}: the result {said} is not there; name its folder: --inputs")


def _name_alike(again: dict[str, Any], found: Mapping[str, Any]) -> None:
    """Where a folder lies now is no difference."""
    again["result"] = found["result"]


def _scored_again(asked: Asked, found: Mapping[str, Any], labels: Path | None) -> dict[str, Any]:
    if labels is None:
        raise ResultFault(f"{asked.result} is a score; give --labels, the file it was made with")
    if found["answers"] is not None:
        raise ResultFault(
            f"{asked.result}: made with operators' answers, which go on; score again without --data"
        )
    rules, where = found["rules"], str(asked.result)
    run = read_run(_folder(asked, str(found["run"]["result"])))
    told = Rules(
        before_us=round(rules["before_s"] * 1e6),
        after_us=round(rules["after_s"] * 1e6),
        join_us=round(rules["join_s"] * 1e6),
        confidence_ppm=round(rules["confidence"] * 1e6),
        kinds=tuple(Kind(name) for name in rules["kinds"]),
        period=(
            max(0, instant_us(rules["from"], where)),
            min(INT64_MAX, instant_us(rules["to"], where)),
        ),
    )
    who = found["labels"]["asked_who"]
    question = Judging(labels, told, tuple(found["watched_s"]), who, forced=True)
    return score_document(judge(run, question), who)
