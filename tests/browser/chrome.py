"""A real browser without a screen: the chromium of the system, driven by playwright."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager

from playwright.sync_api import Browser, Page, sync_playwright

WIDE = {"width": 1366, "height": 768}
PHONE = {"width": 390, "height": 844}

ARGUMENTS = [
    "--no-sandbox",  # the tests may run as root, where chromium's own sandbox does not start
    "--disable-dev-shm-usage",
    "--disable-gpu",
    "--hide-scrollbars",
    "--autoplay-policy=no-user-gesture-required",
]


def executable() -> str:
    """Path of chromium. Fails, never skips, where it is missing."""
    found = shutil.which("chromium")
    assert found, "chromium is not installed; tests/run.sh says or does what is needed"
    return found


@contextmanager
def browser() -> Iterator[Browser]:
    """One browser, ended afterwards."""
    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=executable(), args=ARGUMENTS)
        try:
            yield started
        finally:
            started.close()


class Eye:
    """What a page did wrong while somebody looked: errors of its script, requests to elsewhere,
    refusals by its own policy."""

    def __init__(self, page: Page, address: str) -> None:
        self.faults: list[str] = []
        self.elsewhere: list[str] = []
        page.on("pageerror", lambda fault: self.faults.append(str(fault)))
        page.on("console", self._said)
        page.on("request", lambda request: self._asked(request.url, address))

    def _said(self, message: object) -> None:
        kind, text = getattr(message, "type", ""), getattr(message, "text", "")
        expected = "/stream" in text or "ERR_CONNECTION" in text or "Failed to load" in text
        if kind == "error" and not expected:
            self.faults.append(text)

    def _asked(self, url: str, address: str) -> None:
        if not url.startswith((address, "data:", "about:")):
            self.elsewhere.append(url)
