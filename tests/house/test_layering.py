"""The import table is kept, and pure code stays pure."""

from __future__ import annotations

import ast
from collections.abc import Iterator

import pytest

from tests.house.import_table import (
    AWAITED,
    IMPURE_ATTRIBUTES,
    IMPURE_CALLS,
    IMPURE_MODULES,
    PURE,
    RANDOM_AS_ARGUMENT,
    TABLE,
    Row,
    imports,
    is_allowed,
    is_pure,
    modules,
    part_of,
    within,
)
from tests.house.measures import TOP


def test_every_module_belongs_to_a_row_of_the_table() -> None:
    homeless = [module for module in modules() if part_of(module) is None]
    assert not homeless, f"no row of TABLE in tests/house/import_table.py governs {homeless}"


def test_nobody_imports_what_the_table_does_not_allow() -> None:
    wrong = []
    for found in imports():
        part = part_of(found.module)
        if part is not None and not is_allowed(TABLE[part], part, found.target):
            wrong.append(f"{found.where}: {part} may not import {found.target}")
    assert not wrong, "\n".join(wrong)


def test_the_edge_never_imports_the_gateway() -> None:
    wrong = [
        found.where
        for found in imports()
        if within(found.module, "edge") and within(found.target, "gateway")
    ]
    assert not wrong


def test_pure_code_imports_no_clock_file_socket_or_thread() -> None:
    wrong = [
        f"{found.where}: pure code may not import {found.target}"
        for found in imports()
        if is_pure(found.module) and found.target.partition(".")[0] in IMPURE_MODULES
    ]
    assert not wrong, "\n".join(wrong)


def test_pure_code_rests_on_pure_code_of_ours_only() -> None:
    wrong = [
        f"{found.where}: {found.target} is not pure"
        for found in imports()
        if is_pure(found.module)
        and found.target.partition(".")[0] in ("edge", "gateway")
        and not is_pure(found.target)
    ]
    assert not wrong, "\n".join(wrong)


def test_pure_code_neither_opens_nor_prints_nor_asks_the_time() -> None:
    wrong = [
        f"{path.relative_to(TOP)}:{line}: {what}"
        for module, path in modules().items()
        if is_pure(module)
        for line, what in impurities(ast.parse(path.read_text(encoding="utf-8")))
    ]
    assert not wrong, "\n".join(wrong)


def test_every_pure_part_governs_at_least_one_module_or_is_awaited() -> None:
    empty = {part for part in PURE if not any(within(module, part) for module in modules())}
    assert empty <= AWAITED, f"PURE names what does not exist: {sorted(empty - AWAITED)}"


@pytest.mark.parametrize(
    ("part", "target"),
    [
        ("edge.decide", "numpy"),
        ("edge.decide", "edge.measure.windows"),
        ("edge.measure", "edge.wire"),
        ("edge.sense", "edge.keep"),
        ("edge.keep", "edge.pipeline"),
        ("gateway.history", "edge.keep.durable"),
        ("gateway.console", "sqlite3"),
        ("gateway.console", "gateway.ingest"),
        ("gateway.trends", "gateway.history"),
    ],
)
def test_the_table_refuses_what_the_design_forbids(part: str, target: str) -> None:
    assert not is_allowed(TABLE[part], part, target)


def test_a_part_may_import_itself_and_its_row() -> None:
    row = Row(("edge.records",), ("numpy",))
    assert is_allowed(row, "edge.sense", "edge.sense.frames")
    assert is_allowed(row, "edge.sense", "edge.records")
    assert is_allowed(row, "edge.sense", "numpy.typing")
    assert not is_allowed(row, "edge.sense", "edge.recording")


@pytest.mark.parametrize(
    "source",
    ["open('x')", "datetime.now()", "np.random.normal()", "np.random.default_rng()", "print(1)"],
)
def test_the_search_for_impurities_finds_each_kind(source: str) -> None:
    assert list(impurities(ast.parse(source)))


def impurities(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Line and reason of every call or name that reaches out of pure code."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            if isinstance(node.func, ast.Name) and node.func.id in IMPURE_CALLS:
                yield node.lineno, f"calls {node.func.id}()"
            if isinstance(node.func, ast.Attribute) and node.func.attr in IMPURE_ATTRIBUTES:
                yield node.lineno, f"calls .{node.func.attr}()"
            if ast.unparse(node.func).endswith("default_rng") and not node.args:
                yield node.lineno, "draws a seed from the system"
        if isinstance(node, ast.Attribute) and is_global_random(node):
            yield node.lineno, f"uses numpy's global random state: {node.attr}"


def is_global_random(node: ast.Attribute) -> bool:
    is_numpy_random = ast.unparse(node.value) in ("np.random", "numpy.random")
    return is_numpy_random and node.attr not in RANDOM_AS_ARGUMENT
