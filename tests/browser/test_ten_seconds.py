"""From the sound to the right action in ten seconds: how many touches and waits lie between."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Locator, Page, expect

from gateway.alarms.journal import What
from tests.browser.storm import TERNHOLM, storm
from tests.gateway.console.house import House

Open = Callable[..., Page]
Make = Callable[..., House]

TOUCHES_MAX = 3
"""To the alarm, acknowledged, answered. At two seconds a touch and a page's wait under one there
are ten seconds for it, most of them for reading."""

KEYS_MAX = 12
"""The same without a mouse, from the list on; the way to the list is one link of the strip."""

DECIDING = {
    "one or many, and the worst three": r"12 of 12 insulators arcing, worst B1-R, B1-S, B1-T",
    "whether to believe it": r"data good",
    "who is watched": r"12 of 12 watched",
    "what to do, by when": r"Within 10 min: Keep people out of the yard",
    "whom to call": r"Call the duty engineer, x4411",
    "what is dangerous": r"can flash over without warning",
}


class Hand:
    """Somebody at the console. touches, keys, waits: how often so far."""

    def __init__(self, page: Page) -> None:
        self.page, self.touches, self.keys, self.waits = page, 0, 0, 0
        page.on("load", self._waited)

    def _waited(self, _: object) -> None:
        self.waits += 1

    def touch(self, what: Locator) -> None:
        """One click on what is in sight: nothing is scrolled to."""
        box = what.bounding_box()
        size = self.page.viewport_size
        assert box is not None and size is not None
        assert box["y"] >= 0 and box["y"] + box["height"] <= size["height"], "it is out of sight"
        self.touches += 1
        self.page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)

    def press(self, key: str, until: Locator | None = None) -> None:
        """Once, or until something has the focus."""
        for _ in range(KEYS_MAX + 1):
            self.keys += 1
            self.page.keyboard.press(key)
            if until is None or until.evaluate("node => node === document.activeElement"):
                return
        raise AssertionError(f"{until} was not reached with {key}")


@pytest.fixture
def sounding(make_house: Make) -> House:
    return make_house(register=TERNHOLM)


def answered(house: House) -> list[str]:
    """What the journal has of people: who and what."""
    entries = house.desk.journal("ternholm")
    people = (What.ACKNOWLEDGED, What.ANSWERED)
    return [
        f"{one.who} {one.what.value} {one.label}".strip() for one in entries if one.what in people
    ]


def test_three_touches_lie_between_the_sound_and_the_answer_and_all_is_on_the_first_screen(
    sounding: House, open_page: Open
) -> None:
    page = open_page(sounding.address, "/")  # as it stands all night
    storm(sounding)
    expect(page.locator("[data-sound]")).to_have_attribute("data-sound", "1")
    expect(page.locator("#said")).to_have_text("An urgent alarm calls")
    hand = Hand(page)
    hand.touch(page.locator(".strip a").first)
    row = page.locator("article.alarm").first
    expect(row.locator(".state")).to_have_text("NEW")
    box, text = row.bounding_box(), " ".join(row.inner_text().split())
    assert box is not None and box["y"] + box["height"] <= 768
    for what, words in DECIDING.items():
        assert re.search(words, text), what
    hand.touch(row.get_by_role("button", name="Acknowledge"))
    expect(row.locator(".state")).to_have_text("acknowledged")
    hand.touch(row.get_by_role("button", name="Seen arcing"))
    expect(row).to_contain_text("answer: seen arcing")
    assert (hand.touches, hand.waits) == (TOUCHES_MAX, TOUCHES_MAX)
    assert answered(sounding) == ["mk acknowledged", "mk answered seen-arcing"]


def test_the_same_is_done_from_the_list_with_few_keys(sounding: House, open_page: Open) -> None:
    storm(sounding)
    page = open_page(sounding.address, "/alarms")
    hand, row = Hand(page), page.locator("article.alarm").first
    for button, after in (("Acknowledge", "acknowledged by mk"), ("Seen arcing", "answer: seen")):
        hand.press("Tab", until=page.locator(".skip"))
        hand.press("Enter")
        hand.press("Tab", until=row.get_by_role("button", name=button))
        hand.press("Enter")
        expect(row).to_contain_text(after)
    assert hand.keys <= KEYS_MAX
    assert answered(sounding) == ["mk acknowledged", "mk answered seen-arcing"]
