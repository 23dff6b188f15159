"""One browser for each file of stories, and a console for each story."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.chrome import WIDE, Eye, browser
from tests.gateway.console.house import House

Open = Callable[..., Page]

expect.set_options(timeout=15_000)  # what is awaited comes in a moment, but not on a busy machine


@pytest.fixture(scope="module")
def chrome() -> Iterator[Browser]:
    with browser() as started:
        yield started


@pytest.fixture
def make_house(tmp_path: Path) -> Iterator[Callable[..., House]]:
    made: list[House] = []

    def make(**how: Any) -> House:
        folder = tmp_path / f"house-{len(made)}"
        made.append(House(folder, **how))
        return made[-1]

    yield make
    for house in made:
        house.close()


@pytest.fixture
def house(make_house: Callable[..., House]) -> House:
    return make_house()


@pytest.fixture
def open_page(chrome: Browser) -> Iterator[Open]:
    """Opens a page of an address as a fresh visitor; afterwards nothing may have gone wrong."""
    contexts, eyes = [], []

    def open_(address: str, path: str = "/", **how: Any) -> Page:
        context = chrome.new_context(viewport=how.pop("viewport", WIDE), **how)
        context.set_default_timeout(15_000)
        context.add_cookies([{"name": "seafret-name", "value": "mk", "url": address}])
        contexts.append(context)
        page = context.new_page()
        eyes.append(Eye(page, address))
        page.goto(address + path)
        return page

    yield open_
    for context in contexts:
        context.close()
    assert not [fault for eye in eyes for fault in eye.faults]
    assert not [url for eye in eyes for url in eye.elsewhere]
