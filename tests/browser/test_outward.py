"""Notices and the control centre, live on their pages."""

from __future__ import annotations

import socket
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from gateway.outstation.frames import Function, Unnumbered, frame_bytes
from gateway.outward_settings import Outstation
from tests.browser.chrome import PHONE
from tests.browser.well_made import is_well_made
from tests.gateway.notices.receiving import WebHook
from tests.gateway.outworks.house import OutwardHouse, recipients

Open = Callable[..., Page]


@pytest.fixture
def hook() -> Iterator[WebHook]:
    hook = WebHook()
    yield hook
    hook.close()


@pytest.fixture
def house(tmp_path: Path, hook: WebHook) -> Iterator[OutwardHouse]:
    house = OutwardHouse(tmp_path, notices=recipients(hook.port), outstation=Outstation(port=0))
    yield house
    house.close()


def test_a_trial_is_sent_from_the_page_and_what_comes_of_it_is_seen_without_a_reload(
    house: OutwardHouse, hook: WebHook, open_page: Open
) -> None:
    page = open_page(house.address, "/notices", viewport=PHONE)
    is_well_made(page, "/notices")
    sent = page.get_by_role("region", name="Notices sent")
    expect(sent.locator("tbody tr")).to_have_count(2)  # the daily test to both
    hook.status = 500
    page.locator("select[name=to]").select_option("duty phone")
    page.get_by_role("button", name="Send", exact=True).click()
    row = sent.locator("tbody tr").first
    expect(row).to_contain_text("asked for by mk")
    expect(row).to_contain_text("FAILED, tried again")
    expect(page.locator("#live")).to_contain_text("Nothing reaches duty phone")
    hook.status = 200
    house.tick(minutes=1)
    expect(row).to_contain_text("taken")
    expect(page.locator("#live")).not_to_contain_text("Nothing reaches")
    assert "hidden-word" not in page.content()
    assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth")


def test_a_control_centre_that_comes_and_goes_is_seen_without_a_reload(
    house: OutwardHouse, open_page: Open
) -> None:
    outstation = house.outworks.outstation
    assert outstation is not None
    page = open_page(house.address, "/outstation", viewport=PHONE)
    is_well_made(page, "/outstation")
    expect(page.locator("#live")).to_contain_text("No control centre takes data now")
    with socket.create_connection(("127.0.0.1", outstation.server.port), timeout=20) as line:
        line.sendall(frame_bytes(Unnumbered(Function.START_ACT)))
        expect(page.locator("#live")).to_contain_text("takes it")
        expect(page.locator("#live")).not_to_contain_text("No control centre")
    expect(page.locator("#live")).to_contain_text(
        "Earlier connections since the gateway's start: 1"
    )
    assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
