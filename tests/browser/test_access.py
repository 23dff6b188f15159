"""Readable by all, day and night: contrast, marks and words, targets, names."""

from __future__ import annotations

from collections.abc import Callable
from itertools import combinations

import pytest
from playwright.sync_api import Page

from edge.records import Condition
from tests.browser.storm import TERNHOLM, storm
from tests.browser.well_made import is_well_made
from tests.gateway.build import condition, epoch_start
from tests.gateway.console.house import House

Open = Callable[..., Page]
Make = Callable[..., House]


def luminance(colour: str) -> float:
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a: str, b: str) -> float:
    low, high = sorted((luminance(a), luminance(b)))
    return (high + 0.05) / (low + 0.05)


TEXTS = ("--text", "--muted", "--link", "--p1", "--p2", "--p3")
GROUNDS = ("--ground", "--panel")
DRAWN = ("--plot", "--rms", "--humid", "--arcs", "--edge", "--focus")


@pytest.mark.parametrize("theme", ["day", "night"])
def test_every_pair_of_colours_meets_the_contrast_of_wcag_2_2_aa(
    house: House, open_page: Open, theme: str
) -> None:
    page = open_page(house.address)
    page.evaluate(f"document.documentElement.dataset.theme = '{theme}'")
    colours = page.evaluate(
        """(names) => Object.fromEntries(names.map((name) =>
            [name, getComputedStyle(document.documentElement).getPropertyValue(name).trim()]))""",
        [*TEXTS, *GROUNDS, *DRAWN, "--field", "--sunk"],
    )
    for text in TEXTS:
        for ground in GROUNDS:
            assert contrast(colours[text], colours[ground]) >= 4.5, (text, ground)
    for ink in ("--text", "--muted"):
        assert contrast(colours[ink], colours["--sunk"]) >= 4.5, ink
    for drawn in DRAWN:
        assert contrast(colours[drawn], colours["--field"]) >= 3.0, drawn
    for a, b in combinations(("--p1", "--p2", "--p3"), 2):
        assert colours[a] != colours[b]


def test_states_differ_by_mark_and_word_without_any_colour(
    make_house: Make, open_page: Open
) -> None:
    house = make_house()
    house.commit(
        epoch_start(),
        condition(1, subject="A1", priority=1, alarm="near-margin"),
        condition(1, subject="B2", priority=2, alarm="over-range"),
        condition(1, subject="", priority=3, alarm="unit-health"),
    )
    house.commit(condition(2, Condition.OUT, subject="B2", priority=2, alarm="over-range"))
    page = open_page(house.address, "/alarms")
    marks = page.locator("article").evaluate_all(
        """(all) => all.map((one) => [one.querySelectorAll(".strokes path").length,
            one.querySelector(".strokes").classList.contains("hollow"),
            one.querySelector(".how .word").textContent])"""
    )
    assert marks == [[3, False, "urgent"], [1, False, "low"], [2, True, "high"]]


def test_targets_are_large_enough_and_nothing_blinks_faster_than_once_a_second(
    make_house: Make, open_page: Open
) -> None:
    house = make_house(register=TERNHOLM)
    storm(house)
    for viewport in ({"width": 1366, "height": 768}, {"width": 390, "height": 844}):
        page = open_page(house.address, "/alarms", viewport=viewport)
        small = page.locator("button:visible, nav a:visible, .acts a:visible").evaluate_all(
            """(all) => all.map((one) => [one.textContent, one.getBoundingClientRect()])
                .filter(([, box]) => box.height < 24 || box.width < 24).map(([text]) => text)"""
        )
        assert not small
        assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
        times = page.locator(".calls").evaluate_all(
            "(all) => all.map((one) => getComputedStyle(one).animationDuration)"
        )
        assert times and all(float(one.removesuffix("s")) >= 1.0 for one in times)


def test_every_page_has_a_title_one_heading_and_names_for_what_can_be_used(
    make_house: Make, open_page: Open
) -> None:
    house = make_house(register=TERNHOLM)
    storm(house)
    page = open_page(house.address)
    for path in (
        "/", "/alarms", "/alarms/ternholm.1", "/tasks", "/units", "/journal", "/hand-over",
        "/performance", "/results", "/about", "/sites/ternholm",
        "/sites/ternholm/insulators/B1-R",
    ):  # fmt: skip
        page.goto(house.address + path)
        is_well_made(page, path)
