"""The file beside each recording: facts that a person expects, and digests kept as golden values.

Facts come from the truth of the generator and are written by `tests.replay.making`. Everything from
`[golden]` on is written by `tests.replay.refresh` alone, with a reason.
"""

from __future__ import annotations

import json
import textwrap
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from edge.quantities import State
from tests.replay.truth_facts import Facts, Share

GOLDEN = "[golden]"


@dataclass(frozen=True, slots=True)
class Refreshed:
    """One refresh of the golden values: why, and with which software."""

    reason: str
    software: str


@dataclass(frozen=True, slots=True)
class Golden:
    """digests: SHA-256 of each output. history: every refresh so far, the latest last."""

    digests: dict[str, str]
    history: tuple[Refreshed, ...]


@dataclass(frozen=True, slots=True)
class Expectation:
    """What is expected of a recording. golden: None until its first refresh."""

    name: str
    insulator: str
    expected: str
    flags: tuple[str, ...]
    no_flags: tuple[str, ...]
    facts: Facts
    golden: Golden | None


def read_expectation(path: Path) -> Expectation:
    """The expectation of a file. KeyError, TypeError or ValueError where it is not complete."""
    said = tomllib.loads(path.read_text(encoding="utf-8"))
    states = {State(name): Share(**share) for name, share in said.pop("states").items()}
    golden = said.pop("golden", None)
    facts = said["facts"]
    alarms = tuple(facts.pop("alarms"))
    return Expectation(
        name=said["name"],
        insulator=said["insulator"],
        expected=" ".join(said["expected"].split()),
        flags=tuple(said["flags"]),
        no_flags=tuple(said["no_flags"]),
        facts=Facts(**facts, states=states, alarms=alarms),
        golden=_golden(golden),
    )


def read_golden(path: Path) -> Golden | None:
    """Only the golden part of a file; None where there is no file or no such part yet."""
    if not path.is_file():
        return None
    return _golden(tomllib.loads(path.read_text(encoding="utf-8")).get("golden"))


def _golden(said: dict[str, Any] | None) -> Golden | None:
    if said is None:
        return None
    return Golden(said["digests"], tuple(Refreshed(**one) for one in said["history"]))


def expectation_text(one: Expectation) -> str:
    """The file's text; `golden` is left out where there is none yet."""
    facts = one.facts
    lines = [
        "# Facts from the generator's truth; golden values from the program (see README.md here).",
        f"name = {_quoted(one.name)}",
        f"insulator = {_quoted(one.insulator)}",
        f'expected = """\n{textwrap.fill(one.expected, 98)}\n"""',
        f"flags = {_listed(one.flags)}",
        f"no_flags = {_listed(one.no_flags)}",
        "",
        "[facts]",
        f"seconds = {facts.seconds:.6f}",
        *(f"{name} = {getattr(facts, name)}" for name in _COUNTS),
        f"arcing_charge_c = {facts.arcing_charge_c:.9f}",
        f"alarms = {_listed(facts.alarms)}",
        "",
        "[states]  # least and most share of the time, whichever zero the windows begin at",
        *(
            f"{state.value} = {{ least = {share.least:.4f}, most = {share.most:.4f} }}"
            for state, share in facts.states.items()
        ),
    ]
    text = "\n".join(lines) + "\n"
    return text if one.golden is None else text + "\n" + golden_text(one.golden)


_COUNTS = (
    "pieces",
    "halfcycles",
    "arcing",
    "arcing_positive",
    "arcing_negative",
    "doubtful",
    "spikes",
    "clipped",
)


def golden_text(golden: Golden) -> str:
    """The part that a refresh writes."""
    lines = [
        f"{GOLDEN}  # written by `python -m tests.replay.refresh NAME --reason ...` alone",
        "[golden.digests]",
        *(f"{_quoted(name)} = {_quoted(digest)}" for name, digest in golden.digests.items()),
        "",
    ]
    for one in golden.history:
        lines += [
            "[[golden.history]]",
            f"reason = {_quoted(one.reason)}",
            f"software = {_quoted(one.software)}",
            "",
        ]
    return "\n".join(lines[:-1]) + "\n"


def with_golden(path: Path, golden: Golden) -> None:
    """Writes the golden part anew and leaves every byte before it as it is."""
    before = path.read_text(encoding="utf-8").partition(f"\n{GOLDEN}")[0]
    path.write_text(before.rstrip("\n") + "\n\n" + golden_text(golden), encoding="utf-8")


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _listed(texts: tuple[str, ...]) -> str:
    return json.dumps(list(texts), ensure_ascii=False)
