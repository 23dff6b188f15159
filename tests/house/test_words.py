"""Words that do not belong in this project, and names that say too little."""

from __future__ import annotations

import ast
import re
from pathlib import Path

from tests.house.measures import TOP, functions
from tests.house.tracked import tracked_files

DRAWERS = ("utils", "util", "helpers", "helper", "common", "misc", "stuff")
"""Names of files and folders that say nothing about what is inside."""

SENTENCE_WORDS_MIN = 4

# Written in pieces, so that this file does not find itself.
PLACES = ("/" + "root/", "/" + "home/", "/" + "work/", "/tmp/" + "brief", "/opt/" + "pypi")
HOSTS = (
    "pypi" + ".org",
    "python" + "hosted",
    "npm" + "js.",
    "deb" + ".debian",
    "crates" + ".io",
    "golang" + ".org",
)

TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "edge",
    "gateway",
    "tests",
    "replay_data",
    "deploy",
}


def python_files() -> list[Path]:
    return [path for path in tracked_files() if path.suffix == ".py"]


def test_no_file_or_folder_is_a_drawer_for_odds_and_ends() -> None:
    drawers = [path for path in tracked_files() if {Path(p).stem for p in path.parts} & {*DRAWERS}]
    assert not drawers


def test_no_class_calls_itself_a_manager() -> None:
    managers = [
        f"{path}: {node.name}"
        for path in python_files()
        for node in ast.walk(ast.parse((TOP / path).read_text(encoding="utf-8")))
        if isinstance(node, ast.ClassDef) and node.name.endswith(("Manager", "Helper", "Util"))
    ]
    assert not managers


def test_no_tracked_file_names_a_path_of_one_machine() -> None:
    pattern = re.compile("|".join(rf"(?<![\w.\-*]){re.escape(place)}" for place in PLACES))
    assert not found_in_files(pattern)


def test_no_tracked_file_names_the_host_of_a_registry() -> None:
    assert not found_in_files(re.compile("|".join(re.escape(host) for host in HOSTS)))


def found_in_files(pattern: re.Pattern[str]) -> list[str]:
    """Every place where the pattern is found; recordings are searched as Latin-1, too."""
    return [
        f"{path}: {found.group()}"
        for path in tracked_files()
        for found in pattern.finditer((TOP / path).read_bytes().decode("latin-1"))
    ]


def test_names_of_tests_are_sentences_of_at_least_four_words() -> None:
    short = [
        f"{path}: {node.name}"
        for path in python_files()
        if path.name.startswith("test_")
        for node in functions(ast.parse((TOP / path).read_text(encoding="utf-8")))
        if node.name.startswith("test_")
        and len([word for word in node.name.split("_")[1:] if word]) < SENTENCE_WORDS_MIN
    ]
    assert not short


def test_nothing_else_lies_at_the_top_level() -> None:
    tops = {path.parts[0] for path in tracked_files()}
    assert {top for top in tops if not top.startswith(".")} <= TOP_LEVEL


def test_the_search_finds_a_word_that_is_there() -> None:
    assert "README.md: bash deploy/demo.sh" in found_in_files(re.compile("bash deploy/demo.sh"))
