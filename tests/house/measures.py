"""How long our files and functions are: read by the check command and by the test on sizes."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

TOP = Path(__file__).resolve().parent.parent.parent

SOURCE_FOLDERS = ("edge", "gateway", "tests", "deploy")
SOURCE_SUFFIXES = (".py", ".c", ".h", ".sh", ".sql")

FILE_LINES_MAX = 300
"""A longer file fails the house test unless a reason is listed there."""

FUNCTION_LINES_MAX = 50
"""A longer function fails the house test unless a reason is listed there."""


@dataclass(frozen=True, slots=True)
class Length:
    """Where something stands and how many lines it takes."""

    where: str
    lines: int


def source_files() -> list[Path]:
    """All files of ours that hold code, in order of their names."""
    found: list[Path] = []
    for folder in SOURCE_FOLDERS:
        found.extend(path for path in (TOP / folder).rglob("*") if path.suffix in SOURCE_SUFFIXES)
    return sorted(path for path in found if "__pycache__" not in path.parts)


def file_lengths() -> list[Length]:
    """Lines of each file that is not empty."""
    lengths = [Length(str(path.relative_to(TOP)), line_count(path)) for path in source_files()]
    return [length for length in lengths if length.lines]


def line_count(path: Path) -> int:
    return len(path.read_text(encoding="utf-8").splitlines())


def function_lengths() -> list[Length]:
    """Lines of each Python function without its docstring and decorators."""
    lengths: list[Length] = []
    for path in source_files():
        if path.suffix == ".py":
            tree = ast.parse(path.read_text(encoding="utf-8"))
            where = path.relative_to(TOP)
            lengths.extend(
                Length(f"{where}:{node.name}", function_lines(node)) for node in functions(tree)
            )
    return lengths


Function = ast.FunctionDef | ast.AsyncFunctionDef


def functions(tree: ast.AST) -> Iterator[Function]:
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


def function_lines(node: Function) -> int:
    """From `def` to the last line; prose about physics is no reason to split a function."""
    first = node.body[0]
    prose = 0
    if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant):
        prose = (first.end_lineno or first.lineno) - first.lineno + 1
    return (node.end_lineno or node.lineno) - node.lineno + 1 - prose


def quantile(lengths: list[Length], share: float) -> int:
    """The length that `share` of all do not exceed."""
    ordered = sorted(length.lines for length in lengths)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def report() -> str:
    """Two lines for people: median, nine in ten, the longest, of files and of functions."""
    lines = []
    for what, lengths in (("files", file_lengths()), ("functions", function_lengths())):
        longest = max(lengths, key=lambda length: length.lines)
        lines.append(
            f"{len(lengths):5} {what:9} lines: median {quantile(lengths, 0.5):3}, "
            f"nine in ten up to {quantile(lengths, 0.9):3}, "
            f"longest {longest.lines:3} ({longest.where})"
        )
    return "\n".join(lines)
