"""The operator's stories, in a real browser over a console that really serves."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from edge.records import Condition, Letter, Stream
from gateway.accounts.roles import Role
from gateway.alarms.journal import What
from tests.browser.storm import NAMES, TERNHOLM, UNIT, minute_rows, storm
from tests.gateway.accounts.build import PASSWORD
from tests.gateway.build import condition, epoch_start, health
from tests.gateway.console.house import House

Open = Callable[..., Page]
Make = Callable[..., House]

EIGHT = (
    r"Ternholm",  # what and where
    r"urgent",  # how bad
    r"\d+ of 12 arcing|\d+ of 12 insulators arcing",  # one or many
    r"RH 98 %",  # the weather
    r"since \d\d:\d\d \(\d+ min\)",  # since when
    r"data (good|UNCERTAIN)",  # whether to believe it
    r"Within 10 min: .*Call the duty engineer, x4411",  # what to do, by when, whom to call
    r"nobody has it yet",  # who already has it
    r"keep people clear.*not protection",  # the safety line
)


def test_one_storm_is_one_call_and_every_single_state_is_kept(
    make_house: Make, open_page: Open
) -> None:
    house = make_house(register=TERNHOLM)
    page = open_page(house.address, "/alarms")
    storm(house)
    expect(page.locator("article.alarm")).to_have_count(1)
    expect(page.locator("article h2")).to_contain_text("12 of 12 insulators arcing, worst B1-R")
    expect(page.locator("[data-sound]")).to_have_attribute("data-sound", "1")
    expect(page.get_by_role("link", name=re.compile("Suppressed by design 1[12]"))).to_be_visible()
    entries = house.desk.journal("ternholm")
    called = [one.at_us for one in entries if one.what is What.ANNOUNCED]
    for at_us in called:
        assert sum(at_us <= other < at_us + 600_000_000 for other in called) <= 3
    heard = {one.point.subject for one in entries if one.what is What.HEARD}
    assert set(NAMES) <= heard


@pytest.mark.parametrize("size", [(1366, 768), (683, 384)], ids=["wide", "zoom-200"])
def test_an_urgent_row_answers_everything_without_a_click(
    make_house: Make, open_page: Open, size: tuple[int, int]
) -> None:
    house = make_house(register=TERNHOLM)
    storm(house)
    page = open_page(house.address, "/alarms", viewport={"width": size[0], "height": size[1]})
    row = page.locator("article.alarm").first
    text = " ".join(row.inner_text().split())
    for wanted in EIGHT:
        assert re.search(wanted, text), wanted
    expect(row.locator("svg.spark")).to_be_visible()
    expect(row.locator("svg.spark .limit")).to_have_count(1)
    assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
    if size[1] == 768:
        box = row.bounding_box()
        assert box is not None and box["y"] + box["height"] <= 768


def test_missing_data_is_never_shown_as_zero_or_as_present(
    make_house: Make, open_page: Open
) -> None:
    house = make_house(register=TERNHOLM)
    storm(house, alarms=0)
    page = open_page(house.address, "/sites/ternholm")
    expect(page.locator(".strip")).to_contain_text("12 of 12 watched")
    house.tick(minutes=5)
    expect(page.locator(".strip .blind")).to_contain_text("0 of 12 watched")
    expect(page.locator("tbody tr").first).to_contain_text("not watched")
    assert not re.search(r"\b0 mA", page.locator("main").inner_text())
    page.goto(f"{house.address}/sites/ternholm/insulators/B1-R?range=2h")
    expect(page.locator("svg.trend rect.gap").first).to_be_visible()
    line = page.locator("svg.trend path.high").get_attribute("d") or ""
    assert line.count("M") == 1  # one piece: nothing is drawn across a gap


def test_lost_data_never_clears_an_alarm(make_house: Make, open_page: Open) -> None:
    house = make_house(register=TERNHOLM)
    house.commit(epoch_start(), condition(1, subject="B1-R"), unit=UNIT)
    page = open_page(house.address, "/alarms")
    row = page.locator('article[data-key="ternholm.1"]')
    expect(row.locator(".state")).to_have_text("NEW")
    house.tick(minutes=120)
    house.commit(condition(122, Condition.UNKNOWN, subject="B1-R", reason="no data"), unit=UNIT)
    expect(row).to_contain_text("DATA LOST")
    house.commit(condition(130, Condition.IN, subject="B1-R", reason="good data again"), unit=UNIT)
    expect(row).not_to_contain_text("DATA LOST")
    expect(row.locator(".state")).to_have_text("NEW")
    house.commit(condition(190, Condition.OUT, subject="B1-R"), unit=UNIT)
    expect(row.locator(".state")).to_contain_text("CLEARED")


def test_an_operator_acknowledges_answers_shelves_and_an_engineer_takes_out(
    make_house: Make, open_page: Open
) -> None:
    house = make_house(accounts=True)
    for role in (Role.OPERATOR, Role.ENGINEER):
        house.account(role.value, role)
    house.commit(epoch_start(), condition(1))
    page = open_page(house.address, "/alarms")
    sign_in(page, "operator")
    page.get_by_role("button", name="Acknowledge").click()
    expect(page.locator("article .state")).to_have_text("acknowledged")
    expect(page.locator("article")).to_contain_text("acknowledged by operator")
    page.get_by_role("link", name="Details").click()
    expect(page.get_by_role("button", name="Take out of service")).to_have_count(0)
    page.get_by_role("button", name="Seen arcing").click()
    expect(page.locator("article")).to_contain_text("answer: seen arcing")
    page.get_by_label("Reason").fill("crew on site")
    page.get_by_role("button", name="Shelve").click()
    expect(page.locator("article .state")).to_have_text("shelved")
    page.get_by_role("button", name="Sign out").click()
    sign_in(page, "engineer")
    page.goto(f"{house.address}/alarms/north-head.1")
    page.get_by_label("Work order").fill("WO 5512")
    page.get_by_role("button", name="Take out of service").click()
    expect(page.locator("article .state")).to_have_text("out of service")
    expect(page.locator("article")).to_contain_text("work order WO 5512")


def sign_in(page: Page, name: str) -> None:
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in", exact=True).click()
    expect(page.get_by_role("link", name=name, exact=True)).to_be_visible()


def test_a_viewer_sees_everything_and_is_offered_nothing_to_do(
    make_house: Make, open_page: Open
) -> None:
    house = make_house(accounts=True)
    house.account("wall", Role.VIEWER)
    house.commit(epoch_start(), condition(1))
    page = open_page(house.address, "/alarms/north-head.1")
    sign_in(page, "wall")
    expect(page.locator("article h2")).to_contain_text("Dry-band arcing")
    expect(page.locator("main button")).to_have_count(0)
    page.goto(f"{house.address}/accounts")
    expect(page.locator("body")).to_contain_text("may not do this")


def test_device_health_has_its_four_letters_in_ink_and_says_who_is_not_watched(
    house: House, open_page: Open
) -> None:
    page = open_page(house.address, "/units")
    house.commit(epoch_start(), stream=Stream.HEALTH)
    for letter, words in (
        (Letter.FAILURE, "failure"),
        (Letter.CHECK, "function check"),
        (Letter.OUT_OF_SPECIFICATION, "out of specification"),
        (Letter.MAINTENANCE, "maintenance needed"),
    ):
        house.commit(health(1, letter=letter, reasons=("supply-low",)), stream=Stream.HEALTH)
        expect(page.locator(".letter")).to_have_text(f"{letter.value} {words}")
    expect(page.locator("tbody")).to_contain_text("0 of 2")
    ink = page.evaluate(
        "getComputedStyle(document.querySelector('.letter b')).color == "
        "getComputedStyle(document.body).color"
    )
    assert ink


def test_the_hand_over_page_and_the_performance_page_say_what_the_api_says(
    make_house: Make, open_page: Open
) -> None:
    house = make_house(register=TERNHOLM)
    storm(house)
    with house.client() as client:
        alarms = client.get("/api/1/alarms").json()["alarms"]
        span = {"from": "2026-11-01T00:00:00Z", "to": "2026-11-25T00:00:00Z"}
        (figures,) = client.get("/api/1/alarms/performance", params=span).json()["figures"]
    page = open_page(house.address, "/hand-over")
    text = page.locator("main").inner_text()
    standing = sum(one["shown"] in ("new", "acknowledged", "cleared") for one in alarms)
    suppressed = sum(one["shown"] == "suppressed" for one in alarms)
    assert f"Stands or waits: {standing}" in text
    assert f"Suppressed by design: {suppressed}" in text
    page.goto(f"{house.address}/performance")
    expect(page.locator("main")).to_contain_text(f"{figures['announced']} (")


def test_a_row_stays_under_the_pointer_while_new_ones_come(house: House, open_page: Open) -> None:
    house.commit(epoch_start(), condition(1))
    page = open_page(house.address, "/alarms")
    row = page.locator("article").first
    row.hover()
    before = row.bounding_box()
    house.commit(condition(2, alarm="dry-air-current", subject="B2", priority=1))
    expect(page.get_by_role("button", name="1 new: show")).to_be_visible()
    assert row.bounding_box() == before
    expect(page.locator("article")).to_have_count(1)
    page.get_by_role("button", name="1 new: show").click()
    expect(page.locator("article")).to_have_count(2)
    expect(page.locator("article h2").first).to_contain_text("B2")


def test_every_page_can_be_walked_and_acted_on_with_the_keyboard_alone(
    house: House, open_page: Open
) -> None:
    house.commit(epoch_start(), condition(1))
    page = open_page(house.address, "/alarms")
    page.keyboard.press("Tab")
    expect(page.locator(".skip")).to_be_focused()
    for _ in range(40):
        if page.evaluate("document.activeElement.textContent.trim()") == "Acknowledge":
            break
        page.keyboard.press("Tab")
        outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
        assert outline != "none"
    page.keyboard.press("Enter")
    expect(page.locator("article .state")).to_have_text("acknowledged")


def test_the_trend_is_read_with_arrow_keys(make_house: Make, open_page: Open) -> None:
    house = make_house(register=TERNHOLM)
    house.commit(epoch_start(), unit=UNIT)
    minute_rows(house, 0, 3)
    house.now_us += 60_000_000
    page = open_page(house.address, "/sites/ternholm/insulators/B1-R?range=2h")
    box = page.locator("[data-cursor]")
    box.focus()
    page.keyboard.press("End")
    for _ in range(20):
        if "184 mA" in page.locator("output").inner_text():
            break
        page.keyboard.press("ArrowLeft")
    expect(page.locator("output")).to_contain_text("highest peak 184 mA")
    expect(page.locator("output")).to_contain_text("arcing-dense")
