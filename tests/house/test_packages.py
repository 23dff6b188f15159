"""Every folder with modules is a package, and packages have few doors."""

from __future__ import annotations

import ast
from importlib import import_module
from pathlib import Path

from tests.house.measures import TOP

EXPORTS_MAX = 8
"""A package that offers more is asked to be imported by full path instead."""

PACKAGES = ("edge", "gateway", "tests")


def folders() -> list[Path]:
    """Every folder that holds Python files, here or further down."""
    found = {
        parent
        for top in PACKAGES
        for path in (TOP / top).rglob("*.py")
        for parent in path.relative_to(TOP).parents
        if parent != Path()
    }
    return sorted(found)


def packages() -> list[Path]:
    return [folder for folder in folders() if (TOP / folder / "__init__.py").exists()]


def public_names(path: Path) -> list[str]:
    """What a package's `__init__` offers: imported or defined names without underscore."""
    names: list[str] = []
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.Import | ast.ImportFrom):
            if not (isinstance(node, ast.ImportFrom) and node.module == "__future__"):
                names.extend(alias.asname or alias.name for alias in node.names)
        elif isinstance(node, ast.FunctionDef | ast.ClassDef):
            names.append(node.name)
    return [name for name in names if not name.startswith("_")]


def test_every_folder_with_modules_has_an_init_file() -> None:
    # Without tests/__init__.py pytest would import tests/edge as `edge` and hide the real one.
    missing = [str(folder) for folder in folders() if not (TOP / folder / "__init__.py").exists()]
    assert not missing, f"no __init__.py in {missing}"


def test_the_folders_are_found_at_all() -> None:
    assert {Path("edge/measure"), Path("gateway"), Path("tests/house")} <= set(folders())


def test_no_package_offers_more_than_a_handful() -> None:
    many = {
        str(folder): len(names)
        for folder in packages()
        if len(names := public_names(TOP / folder / "__init__.py")) > EXPORTS_MAX
    }
    assert not many, f"more than {EXPORTS_MAX} names offered: {many}"


def test_what_a_package_says_it_exports_is_what_it_offers() -> None:
    for folder in packages():
        if folder.parts[0] == "tests":
            continue
        module = import_module(".".join(folder.parts))
        said = getattr(module, "__all__", None)
        offered = public_names(TOP / folder / "__init__.py")
        if said is not None or offered:
            assert sorted(said or []) == sorted(offered), f"{folder}/__init__.py: __all__ differs"


def test_the_packages_edge_and_gateway_themselves_offer_nothing() -> None:
    assert public_names(TOP / "edge/__init__.py") == []
    assert public_names(TOP / "gateway/__init__.py") == []
