"""A result made again from its inputs: identical, or where it differs."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import tempfile
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import zip_longest
from pathlib import Path
from typing import Any, TextIO

from edge.settings import Settings
from gateway.replay.envelopes import replay_envelopes
from gateway.replay.feeds import recordings_in
from gateway.replay.instants import instant_us
from gateway.replay.results import ResultFault, read_manifest
from gateway.replay.rows_run import RESULTS, RowsRequest, decide_rows
from gateway.replay.run import RESULT_NAMES, Request, replay, settings_in
from gateway.replay.settings_difference import differing
from gateway.replay.stored_columns import RowReader
from gateway.replay.stored_units import wanted_rows
from gateway.replay.zones import zone_of


@dataclass(frozen=True, slots=True)
class Deviation:
    """The first place where a file is not the same. found: in the result; again: made anew."""

    file: str
    where: str
    found: str
    again: str


@dataclass(frozen=True, slots=True)
class Verification:
    """inputs: named files whose content is not what it was. deviations: in the results.
    files: that were compared."""

    inputs: tuple[str, ...]
    deviations: tuple[Deviation, ...]
    files: tuple[str, ...] = RESULT_NAMES

    @property
    def identical(self) -> bool:
        """Whether every byte is the same."""
        return not self.inputs and not self.deviations


@dataclass(frozen=True, slots=True)
class Asked:
    """inputs: files and folders that hold what the result names. settings: of a result that was
    made with settings and does not keep them; else what the result keeps is used.
    """

    result: Path
    inputs: tuple[Path, ...] = ()
    settings: Path | None = None
    processes: int = 1


def verified(asked: Asked, progress: TextIO | None = None) -> Verification:
    """Runs it again in a folder that is thrown away; the result itself is never written to.

    Raises ResultFault, RecordingError, SettingsError, OSError.
    """
    manifest = read_manifest(asked.result)
    zone = zone_of(manifest.get("time_zone"))
    paths = _named_inputs(asked, manifest)
    request = Request(paths, _settings(asked, manifest), zone, asked.processes)
    with tempfile.TemporaryDirectory(prefix="seafret-verify-") as folder:
        again = Path(folder) / "again"
        replay(request, again, progress)
        changed = _changed_inputs(manifest, read_manifest(again))
        deviations = tuple(deviations_of(asked.result, again, RESULT_NAMES))
    return Verification(changed, deviations)


def verified_rows(asked: Asked, reader: RowReader, progress: TextIO | None = None) -> Verification:
    """The same of a result of stored rows, from the history that `reader` reads."""
    manifest = read_manifest(asked.result)
    where = str(asked.result / "run.json")
    wanted = wanted_rows(reader, manifest["unit"], None, None)
    wanted = replace(
        wanted,
        from_us=instant_us(manifest["from"], where),
        to_us=instant_us(manifest["to"], where),
    )
    request = RowsRequest(manifest["site"], wanted, _settings(asked, manifest), manifest["rate_hz"])
    with tempfile.TemporaryDirectory(prefix="seafret-verify-") as folder:
        again = Path(folder) / "again"
        decide_rows(reader, request, again, progress)
        changed = _changed_inputs(manifest, read_manifest(again))
        return Verification(changed, tuple(deviations_of(asked.result, again, RESULTS)), RESULTS)


def verified_envelopes(asked: Asked) -> Verification:
    """The same of a result of envelopes; inputs: files or folders that hold the named one."""
    manifest = read_manifest(asked.result)
    (named,) = manifest["inputs"]
    there = [path / named["name"] if path.is_dir() else path for path in asked.inputs]
    found = next((one for one in there if one.is_file() and one.name == named["name"]), None)
    if found is None:
        raise ResultFault(f"{asked.result}: input {named['name']} is not in --inputs")
    with tempfile.TemporaryDirectory(prefix="seafret-verify-") as folder:
        again = Path(folder) / "again"
        settings = _settings(asked, manifest)
        replay_envelopes(found, again, manifest["order"], settings, manifest["rate_hz"])
        changed = _changed_inputs(manifest, read_manifest(again))
        return Verification(changed, tuple(deviations_of(asked.result, again, RESULTS)), RESULTS)


def _named_inputs(asked: Asked, manifest: Mapping[str, Any]) -> tuple[Path, ...]:
    """The recordings that the result names, in its order, among those that are there.

    Where several have one name, the one whose hash the result names.
    """
    wanted = [one for one in manifest["inputs"] if Path(one["name"]).suffix.lower() != ".dat"]
    there: dict[str, list[Path]] = defaultdict(list)
    for path in recordings_in(asked.inputs):
        there[path.name].append(path)
    missing: list[str] = []
    chosen: list[Path] = []
    for one in wanted:
        alike = there[one["name"]]
        if len(alike) > 1:
            alike = [path for path in alike if _sha256(path) == one["sha256"]]
        fresh = [path for path in alike if path not in chosen]
        chosen += fresh[:1]
        missing += [] if fresh else [one["name"]]
    if missing:
        raise ResultFault(
            f"{asked.result}: input {', '.join(sorted(missing))} is not in --inputs; "
            "name its folder too"
        )
    return tuple(chosen)


def _sha256(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _changed_inputs(was: Mapping[str, Any], now: Mapping[str, Any]) -> tuple[str, ...]:
    """Names of inputs whose content is not what it was; both manifests have them in one order."""
    pairs = zip_longest(was["inputs"], now["inputs"], fillvalue={"name": "(none)", "sha256": ""})
    return tuple(one["name"] for one, other in pairs if one["sha256"] != other["sha256"])


def _settings(asked: Asked, manifest: Mapping[str, Any]) -> Settings | None:
    """As the result was made with. Raises ResultFault where that cannot be known."""
    if asked.settings is not None:
        return settings_in(asked.settings)
    if "settings_given" not in manifest:
        raise ResultFault(
            f"{asked.result / 'run.json'}: keeps no settings (made by an earlier version); "
            "give --settings FILE, or replay again"
        )
    if not manifest["settings_given"]:
        return None
    try:
        settings = Settings.model_validate_json(json.dumps(manifest["settings"]))
    except ValueError as fault:
        raise ResultFault(
            f"{asked.result / 'run.json'}: its settings are none of this version: {fault}; "
            "give --settings FILE"
        ) from fault
    if settings.sha != manifest["settings_sha"]:
        raise ResultFault(
            f"{asked.result / 'run.json'}: settings have the hash {settings.sha}, not "
            f"{manifest['settings_sha']} as it says; the file was changed by hand"
        )
    return settings


def deviations_of(result: Path, again: Path, names: Sequence[str]) -> Iterator[Deviation]:
    """The first place in each file at which they differ."""
    for name in names:
        if not (result / name).is_file():
            yield Deviation(name, "the file", "not there", "there")
        elif (result / name).read_bytes() != (again / name).read_bytes():
            yield _first(name, result / name, again / name)


def _first(name: str, result: Path, again: Path) -> Deviation:
    if name.endswith(".json"):
        return _first_key(name, result, again)
    with result.open("rb") as one, again.open("rb") as other:
        header = ""
        for number, (found, anew) in enumerate(zip_longest(one, other, fillvalue=b""), start=1):
            header = _text(anew) if number == 1 else header
            if found != anew:
                return _first_cell(name, number, header, _text(found), _text(anew))
    raise AssertionError(f"{name} differs and no line of it does")


def _text(line: bytes) -> str:
    return line.decode("utf-8", "backslashreplace").rstrip("\r\n")


def _first_cell(name: str, number: int, header: str, found: str, anew: str) -> Deviation:
    """The column by its name, where both lines are there and as long as the header."""
    where = f"line {number}"
    columns, cells, fresh = (
        next(csv.reader(io.StringIO(one)), []) for one in (header, found, anew)
    )
    if name.endswith(".csv") and len(columns) == len(cells) == len(fresh):
        for column, cell, other in zip(columns, cells, fresh, strict=True):
            if cell != other:
                return Deviation(name, f"{where}, {column}", cell, other)
    return Deviation(name, where, found or "no line", anew or "no line")


def _first_key(name: str, result: Path, again: Path) -> Deviation:
    found, anew = (json.loads(path.read_text(encoding="utf-8")) for path in (result, again))
    for one in differing(found, anew):
        return Deviation(name, one.key, str(one.a), str(one.b))
    return Deviation(name, "its layout", "other spaces or order", "as written")


def verification_document(asked: Asked, found: Verification) -> dict[str, Any]:
    """Everything, as plain JSON."""
    return {
        "result": str(asked.result),
        "identical": found.identical,
        "inputs_differ": list(found.inputs),
        "deviations": [
            {"file": one.file, "where": one.where, "found": one.found, "again": one.again}
            for one in found.deviations
        ],
    }


def verification_lines(asked: Asked, found: Verification) -> Iterator[str]:
    """For a terminal."""
    if found.identical:
        yield f"identical: {', '.join(found.files)}"
    for name in found.inputs:
        yield f"input {name}: not what it was"
    for one in found.deviations:
        yield f"{one.file}, {one.where}:"
        yield f"  in the result  {one.found[:60]}"
        yield f"  made again     {one.again[:60]}"
