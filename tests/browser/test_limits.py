"""Limits in a real browser: proposed, tried, approved by another, confirmed by the unit."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from gateway.history.lock import hold_data
from gateway.service import Gateway
from gateway.settings import read_settings
from tests.broker import Broker
from tests.browser.chrome import PHONE
from tests.browser.well_made import is_well_made
from tests.edge.daemon.builders import RECORDED, settings_text, write_recording
from tests.edge.daemon.launching import clock_file, launched
from tests.gateway.limits.build import SITE, UNIT
from tests.gateway.limits.house import LimitsHouse

Open = Callable[..., Page]

AWAITED_MS = 60_000
"""For what a second process must do on a busy machine; it is there in a moment otherwise."""


@contextmanager
def a_unit_and_a_gateway(folder: Path, broker: int, console: int) -> Iterator[str]:
    """Where the console is; both speak over the broker, the gateway has a copy of the settings."""
    write_recording(folder, 70.0)
    unit = folder / "edge.toml"
    unit.write_text(settings_text(RECORDED, broker))
    path = folder / "gateway.toml"
    path.write_text(
        f'data = "history"\n[broker]\nport = {broker}\n[console]\nport = {console}\n'
        f'[sites.{SITE}]\ntitle = "Gannet Stack"\n[sites.{SITE}.units.pole-1]\n'
        'insulators = ["old-post", "new-rubber"]\nsettings = "edge.toml"\n'
    )
    settings = read_settings(path)
    with hold_data(settings.data, "seafret serve"):
        gateway = Gateway(settings)
        gateway.start()
        try:
            with launched(unit, "--clock", clock_file(folder, 0.05)):
                yield gateway.address
        finally:
            gateway.stop()


def test_a_change_is_proposed_tried_approved_by_another_and_confirmed_by_a_real_unit(
    tmp_path: Path, broker: Broker, free_port: int, open_page: Open
) -> None:
    with a_unit_and_a_gateway(tmp_path, broker.port, free_port) as address:
        page = open_page(address, "/limits")
        expect(page.locator("tbody tr")).to_contain_text("old-post, new-rubber: near the margin")
        page.get_by_role("link", name=UNIT).click()
        page.get_by_role("link", name="Propose a change").click()
        arcing = page.get_by_role("group", name="Dry-band arcing on this insulator")
        arcing.get_by_label("arcing half-cycles a minute").fill("9")
        arcing.get_by_label("who answers for it").fill("asset desk")
        page.get_by_label("Why, for those who read it later").fill("calls twice a night in fog")
        page.get_by_role("button", name="Try on the last month").click()
        month = page.get_by_role("region", name="What it would have done last month")
        said = month.get_by_text("Announced to the operator").or_(month.get_by_text("no rows"))
        expect(said.first).to_be_visible(timeout=AWAITED_MS)
        page.get_by_role("button", name="Propose", exact=True).click()
        expect(page.locator("h1")).to_have_text(f"Version 1 of {UNIT}")
        page.get_by_role("button", name="Approve version 1").click()
        expect(page.get_by_role("alert")).to_contain_text("a second person must")
        page.goto(f"{address}/limits/{UNIT}/versions/1")
        page.get_by_label("Your name").fill("jo")
        page.get_by_role("button", name="Approve version 1").click()
        expect(page.locator("h1")).to_have_text(f"Limits of {UNIT}")
        expect(page.locator(".page-top")).to_contain_text("confirmed", timeout=AWAITED_MS)
        expect(page.locator("main")).to_contain_text("They are those of version 1")
        page.goto(f"{address}/sites/{SITE}/insulators/old-post?range=2h")
        expect(page.locator("main")).to_contain_text("arcing at 9 half-cycles a minute")


@pytest.fixture
def house(tmp_path: Path) -> Iterator[LimitsHouse]:
    made = LimitsHouse(tmp_path)
    made.live_through()
    yield made
    made.close()


def test_the_month_comes_by_itself_what_is_not_confirmed_stands_out_and_it_goes_back_in_one_step(
    house: LimitsHouse, open_page: Open
) -> None:
    root = f"/limits/{UNIT}"
    draft = "arcing.arcing_halfcycles_per_min=100&arcing.owner=asset+desk&reason=fewer+calls"
    page = open_page(house.address, f"{root}/propose?{draft}", viewport=PHONE)
    month = page.get_by_role("region", name="What it would have done last month")
    expect(month).to_contain_text("2 then, 1 with these limits", timeout=AWAITED_MS)
    expect(month).to_contain_text("would not come")
    fits = "document.documentElement.scrollWidth <= window.innerWidth"
    assert page.evaluate(fits)
    page.get_by_label("Your name").focus()  # from here on by keyboard alone
    for _ in range(4):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.textContent") == "Propose":
            break
    page.keyboard.press("Enter")
    expect(page.locator("h1")).to_have_text(f"Version 1 of {UNIT}")
    page.get_by_label("Your name").fill("jo")
    page.get_by_role("button", name="Approve version 1").click()
    expect(page.locator(".page-top")).to_contain_text("on its way since")
    house.tick(minutes=11)
    house.feed.touch(["limits"])
    expect(page.get_by_role("alert")).to_contain_text("NOT ARRIVED")
    expect(page.locator(".page-top .blind")).to_have_text("NOT ARRIVED")
    expect(page.locator('[data-key="v1"]')).to_contain_text("NOT ARRIVED")
    assert page.evaluate(fits)
    house.answer()
    expect(page.locator(".page-top .blind")).to_have_count(0)
    page.get_by_label("Reason").fill("missed a night")
    page.get_by_role("button", name="Roll back").click()
    house.answer()
    expect(page.locator("main")).to_contain_text("They are those of its settings file")
    for path in ("/limits", root, f"{root}/versions/1", f"{root}/propose"):
        page.goto(house.address + path)
        assert page.evaluate(fits), path
        is_well_made(page, path)
