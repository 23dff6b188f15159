"""Who may import whom, as a literal, and what the sources really import.

A part is a module or a package; a module belongs to the longest part that its name begins with, and
every module must belong to one. A part may always import itself and the standard library, less what
`never` names.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from tests.house.measures import TOP

SQL = ("sqlite3", "sqlite_utils", "psycopg", "psycopg_pool")
NETWORK = ("socket", "ssl", "http", "urllib.request", "httpx", "paho", "asyncio", "selectors")
CHECKS = ("pydantic", "annotated_types")
ANYTHING = ("*",)

PURE_EDGE = (
    "edge.version",
    "edge.faults",
    "edge.quantities",
    "edge.records",
    "edge.samples",
    "edge.wire",
    "edge.recording",
    "edge.register",
    "edge.settings",
    "edge.source_settings",
    "edge.limits",
    "edge.measure",
    "edge.decide",
    "edge.captures",
    "edge.pipeline",
)
"""The shared part: what the gateway may take from the edge."""

BORDER = (
    "edge.samples",
    "edge.records",
    "edge.wire",
    "edge.recording",
    "edge.settings",
    "edge.source_settings",
)
SHELL = (*BORDER, "edge.quantities", "edge.version", "edge.faults")


@dataclass(frozen=True, slots=True)
class Row:
    """ours: parts of ours besides itself. outside: libraries. never: also not from the standard."""

    ours: tuple[str, ...] = ()
    outside: tuple[str, ...] = ()
    never: tuple[str, ...] = ()


PURE_GATEWAY = Row(PURE_EDGE, ("numpy", "scipy"), (*SQL, *NETWORK))

TABLE: dict[str, Row] = {
    "edge": Row(),
    "edge.version": Row(),
    "edge.faults": Row(),
    "edge.quantities": Row((), ("pydantic",)),
    "edge.records": Row(("edge.quantities",), CHECKS),
    "edge.samples": Row(("edge.quantities",), ("numpy",)),
    "edge.wire": Row(("edge.records", "edge.quantities"), CHECKS),
    "edge.recording": Row(
        ("edge.samples", "edge.records", "edge.quantities"), ("numpy", "typing_extensions")
    ),
    "edge.register": Row(("edge.decide",), CHECKS),
    "edge.source_settings": Row(("edge.register", "edge.quantities", "edge.samples"), CHECKS),
    "edge.settings": Row(
        (
            "edge.register",
            "edge.source_settings",
            "edge.quantities",
            "edge.records",
            "edge.samples",
            "edge.wire",
            "edge.measure",
            "edge.decide",
        ),
        CHECKS,
    ),
    "edge.limits": Row(
        ("edge.register", "edge.settings", "edge.decide", "edge.quantities", *BORDER), CHECKS
    ),
    "edge.measure": Row(("edge.samples", "edge.records", "edge.quantities"), ("numpy",)),
    "edge.decide": Row(("edge.records", "edge.quantities")),
    "edge.captures": Row(
        (
            "edge.measure",
            "edge.recording",
            "edge.samples",
            "edge.records",
            "edge.quantities",
        ),
        ("numpy",),
    ),
    "edge.pipeline": Row(
        (
            "edge.measure",
            "edge.decide",
            "edge.captures",
            "edge.samples",
            "edge.records",
            "edge.quantities",
            "edge.settings",
        ),
        ("numpy",),
    ),
    "edge.sense": Row(SHELL, ("numpy", "serial", "cobs", "pymodbus", *CHECKS), SQL),
    "edge.keep": Row(SHELL, ("numpy", *CHECKS)),
    "edge.send": Row(SHELL, ("numpy", "paho", *CHECKS), SQL),
    "edge.clock": Row(),
    "edge.allocator": Row(),
    "edge.daemon": Row(("edge",), ANYTHING),
    "edge.checking": Row(("edge",), ANYTHING),
    "edge.commissioning": Row(("edge",), ANYTHING),
    "edge.commissioning.standing": Row(("edge.settings",)),
    "edge.recorder": Row(("edge",), ANYTHING),
    "edge.calibrating": Row(("edge",), ANYTHING),
    "edge.__main__": Row(("edge",), ANYTHING),
    "gateway": Row(),
    "gateway.__main__": Row(("edge.faults", "edge.version", "gateway"), ("click",)),
    "gateway.commands": Row((*PURE_EDGE, "edge.allocator", "gateway"), ANYTHING),
    "gateway.clock": Row(),
    "gateway.books": Row(),
    "gateway.outworks": Row((*PURE_EDGE, "gateway"), ANYTHING),
    "gateway.outward_settings": Row((), CHECKS),
    "gateway.settings": Row((*PURE_EDGE, "gateway.outward_settings"), CHECKS),
    "gateway.repeating": Row(),
    "gateway.keeping": Row((*PURE_EDGE, "gateway.history", "gateway.repeating")),
    "gateway.service": Row((*PURE_EDGE, "gateway"), ANYTHING),
    "gateway.demo": Row((*PURE_EDGE, "edge.sense.virtual_site", "gateway"), ANYTHING),
    "gateway.ingest": Row(
        (
            *PURE_EDGE,
            "gateway.history",
            "gateway.clock",
            "gateway.repeating",
            "gateway.settings",
        ),
        ("paho", "iotcore"),
    ),
    "gateway.ingest.admission": replace(
        PURE_GATEWAY, ours=(*PURE_EDGE, "gateway.ingest.future", "gateway.ingest.topics")
    ),
    "gateway.ingest.future": PURE_GATEWAY,
    "gateway.ingest.topics": PURE_GATEWAY,
    "gateway.guard": Row(
        (
            *PURE_EDGE,
            "edge.checking.certificates",
            "gateway.history",
            "gateway.ingest",
            "gateway.settings",
        )
    ),
    "gateway.history": Row((*PURE_EDGE, "gateway.clock"), ("numpy", *SQL)),
    "gateway.loading": Row((*PURE_EDGE, "gateway.history"), ("numpy",), (*SQL, *NETWORK)),
    "gateway.reading": Row(
        (*PURE_EDGE, "gateway.history", "gateway.trends"), ("numpy", *CHECKS), (*SQL, *NETWORK)
    ),
    "gateway.exporting": Row(
        (*PURE_EDGE, "gateway.history", "gateway.loading"), ("numpy",), (*SQL, *NETWORK)
    ),
    "gateway.trends": PURE_GATEWAY,
    "gateway.report": Row(
        (
            *PURE_EDGE,
            "gateway.history",
            "gateway.reading",
            "gateway.trends",
            "gateway.alarms",
            "gateway.replay.pictures",
        ),
        ("numpy", "jinja2", "markupsafe", "matplotlib", "reportlab"),
        (*SQL, *NETWORK),
    ),
    "gateway.alarms": PURE_GATEWAY,
    "gateway.limits": Row(
        (
            *PURE_EDGE,
            "gateway.alarms",
            "gateway.books",
            "gateway.accounts.roles",
            "gateway.console",
            "gateway.history",
            "gateway.ingest.topics",
            "gateway.replay",
            "gateway.settings",
        ),
        ("fastapi", "starlette", *CHECKS),
        SQL,
    ),
    "gateway.outstation": Row(
        (
            *PURE_EDGE,
            "gateway.accounts.roles",
            "gateway.alarms",
            "gateway.books",
            "gateway.console",
            "gateway.history",
            "gateway.outward_settings",
            "gateway.settings",
        ),
        ("fastapi", "starlette", *CHECKS),
        SQL,
    ),
    "gateway.notices": Row(
        (
            *PURE_EDGE,
            "gateway.accounts.roles",
            "gateway.alarms",
            "gateway.books",
            "gateway.console",
            "gateway.outward_settings",
            "gateway.settings",
        ),
        ("fastapi", "starlette", "apprise", *CHECKS),
        SQL,
    ),
    "gateway.watch": Row(
        (
            *PURE_EDGE,
            "gateway.accounts.roles",
            "gateway.alarms",
            "gateway.console",
            "gateway.outward_settings",
            "gateway.settings",
        ),
        ("fastapi", "httpx", "prometheus_client", "paho", *CHECKS),
        SQL,
    ),
    "gateway.replay": Row((*PURE_EDGE, "gateway.history", "gateway.alarms"), ("numpy", "scipy")),
    "gateway.replay.player": PURE_GATEWAY,
    "gateway.field_set": Row((*PURE_EDGE, "gateway.replay")),
    "gateway.replay.spreading": Row(("edge.allocator", "gateway.replay.cluster")),
    "gateway.replay.cluster": Row(
        ("edge.allocator", "edge.version", "gateway.replay.spreading"), ("distributed",)
    ),
    "gateway.replay.pictures": Row((*PURE_EDGE, "gateway.replay"), ("numpy", "matplotlib")),
    "gateway.accounts": Row(("edge.faults",), ("argon2", "sqlite3")),
    "gateway.accounts.single_sign_on": Row(("gateway.accounts",), ("httpx", "joserfc"), SQL),
    "gateway.console": Row(
        (
            *PURE_EDGE,
            "gateway.history",
            "gateway.alarms",
            "gateway.trends",
            "gateway.reading",
            "gateway.replay",
            "gateway.accounts",
            "gateway.clock",
            "gateway.settings",
        ),
        ("fastapi", "starlette", "jinja2", "markupsafe", "uvicorn", "anyio", "numpy", *CHECKS),
        SQL,
    ),
    "gateway.console.client": Row((*PURE_EDGE, "gateway.console"), ("httpx", *CHECKS), SQL),
}

PURE: tuple[str, ...] = (
    *PURE_EDGE,
    "edge.sense.virtual_site",
    "edge.sense.frames",
    "edge.sense.frame_codec",
    "edge.sense.framing",
    "edge.sense.link_items",
    "edge.sense.reception",
    "edge.keep.combining",
    "edge.keep.merging",
    "edge.send.backoff",
    "edge.send.hearing",
    "edge.send.lanes",
    "edge.send.messages",
    "edge.send.pacing",
    "edge.send.phases",
    "edge.send.protocol",
    "edge.send.reason_codes",
    "edge.send.state",
    "gateway.outward_settings",
    "gateway.limits.book",
    "gateway.limits.changing",
    "gateway.limits.contents",
    "gateway.limits.drafting",
    "gateway.limits.faults",
    "gateway.limits.hearing",
    "gateway.limits.judging",
    "gateway.limits.limit_words",
    "gateway.limits.versions",
    "gateway.notices.alphabet",
    "gateway.notices.addresses",
    "gateway.notices.judging",
    "gateway.notices.lines",
    "gateway.notices.memory",
    "gateway.notices.planning",
    "gateway.notices.texts",
    "gateway.outstation.answering",
    "gateway.outstation.asdu",
    "gateway.outstation.frames",
    "gateway.outstation.session",
    "gateway.outstation.station",
    "gateway.outstation.table",
    "gateway.watch.soundness",
    "gateway.settings",
    "gateway.guard.broker_log",
    "gateway.history.chunks",
    "gateway.history.store",
    "gateway.ingest.admission",
    "gateway.ingest.future",
    "gateway.ingest.topics",
    "gateway.trends",
    "gateway.alarms",
    "gateway.replay.answers",
    "gateway.replay.comparison",
    "gateway.replay.exact",
    "gateway.replay.figures",
    "gateway.replay.held_out",
    "gateway.replay.instants",
    "gateway.replay.labels",
    "gateway.replay.load",
    "gateway.replay.matching",
    "gateway.replay.occurrences",
    "gateway.replay.passing_over",
    "gateway.replay.player",
    "gateway.replay.scoring",
    "gateway.replay.settings_difference",
    "gateway.replay.sky",
    "gateway.replay.tables",
    "gateway.replay.unit_rows",
    "gateway.replay.waiting",
    "gateway.replay.watched",
    "gateway.replay.zones",
    "gateway.accounts.lockout",
    "gateway.accounts.roles",
    "gateway.console.answers",
    "gateway.console.binning",
    "gateway.console.drawing",
    "gateway.console.picture",
    "gateway.console.summary",
)
"""No clock, file, socket, thread, log or environment; randomness only as an argument."""

AWAITED: frozenset[str] = frozenset()
"""Of these, what does not exist yet is excused; a part leaves this list when it has come."""

IMPURE_MODULES = (
    "time",
    "socket",
    "os",
    "random",
    "secrets",
    "logging",
    "threading",
    "asyncio",
    "sqlite3",
    "subprocess",
    "multiprocessing",
    "concurrent",
    "signal",
    "tempfile",
)
IMPURE_CALLS = ("open", "print", "input", "breakpoint", "exec", "eval")
IMPURE_ATTRIBUTES = ("now", "utcnow", "today", "fromfile", "tofile", "urandom")
RANDOM_AS_ARGUMENT = ("Generator", "SeedSequence", "BitGenerator", "PCG64", "Philox", "default_rng")


@dataclass(frozen=True, slots=True)
class Import:
    """`module` imports `target` in this line of this file."""

    module: str
    target: str
    where: str


def modules() -> dict[str, Path]:
    """Every Python module of edge and gateway by its dotted name."""
    found = {}
    for top in ("edge", "gateway"):
        for path in sorted((TOP / top).rglob("*.py")):
            parts = path.relative_to(TOP).with_suffix("").parts
            found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


def imports() -> Iterator[Import]:
    """All imports, those inside functions and under TYPE_CHECKING as well."""
    known = modules()
    for module, path in known.items():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            for target in targets(node, known):
                yield Import(module, target, f"{path.relative_to(TOP)}:{node.lineno}")  # type: ignore[attr-defined]


def targets(node: ast.AST, known: dict[str, Path]) -> list[str]:
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names]
    if isinstance(node, ast.ImportFrom):
        base = node.module or ""
        below = [f"{base}.{alias.name}" for alias in node.names]
        return [name if name in known else base for name in below]
    return []


def within(name: str, part: str) -> bool:
    return name == part or name.startswith(f"{part}.")


def part_of(module: str) -> str | None:
    """The row that governs a module. A package itself governs only itself where it is no leaf."""
    fitting = [part for part in TABLE if within(module, part)]
    chosen = max(fitting, key=len, default=None)
    return None if chosen in ("edge", "gateway") and module != chosen else chosen


def is_allowed(row: Row, part: str, target: str) -> bool:
    top = target.partition(".")[0]
    if any(within(target, name) for name in row.never):
        return False
    if top in ("edge", "gateway"):
        return any(within(target, name) for name in (part, *row.ours))
    return top in sys.stdlib_module_names or top in row.outside or row.outside == ANYTHING


def is_pure(module: str) -> bool:
    return any(within(module, part) for part in PURE)
