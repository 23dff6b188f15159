"""Pictures of every page, for people who look: `python -m tests.browser.pictures --out DIR`.

By day, by night, at 200 % (a window of half the size, as a browser's own zoom gives it), on a
phone, in grey, under three simulated kinds of colour blindness, and as printed. Without --night the
demo is lived through first, which takes a minute and a half.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from playwright.sync_api import Browser, Page

from tests.browser.chrome import PHONE, WIDE, browser
from tests.browser.night import live_through, served

INSULATOR = "/sites/gullhaven/insulators/GH1-old-post"

PAGES = {
    "fleet": "/",
    "site": "/sites/gullhaven",
    "insulator": f"{INSULATOR}?range=2h",
    "alarms": "/alarms",
    "alarm": "/alarms/{alarm}",
    "suppressed": "/alarms?tab=suppressed",
    "tasks": "/tasks",
    "units": "/units",
    "journal": "/journal",
    "performance": "/performance",
    "hand-over": "/hand-over",
    "results": "/results",
    "result": "/results/flashover-and-trip-50hz",
    "compare": "/results/compare?a=flashover-and-trip-50hz&b=dry-band-arcing-50hz",
    "about": "/about",
}


@dataclass(frozen=True, slots=True)
class Manner:
    """How a page is looked at. vision: as chromium's developer protocol names it."""

    theme: str = "day"
    size: dict[str, int] | None = None
    scale: float = 1.0
    vision: str = ""
    printed: bool = False


MANNERS = {
    "day": Manner(),
    "night": Manner("night"),
    "zoom-200": Manner(size={"width": 683, "height": 384}, scale=2.0),
    "phone": Manner("night", PHONE, 2.0),
    "phone-day": Manner("day", PHONE, 2.0),
    "grey": Manner(vision="achromatopsia"),
    "protan": Manner(vision="protanopia"),
    "deutan": Manner(vision="deuteranopia"),
    "tritan": Manner(vision="tritanopia"),
    "print": Manner(printed=True, size={"width": 794, "height": 1123}),
}


@contextmanager
def looked_at(started: Browser, address: str, manner: Manner) -> Iterator[Page]:
    """A page of a fresh visitor."""
    context = started.new_context(
        viewport=manner.size or WIDE, device_scale_factor=manner.scale, timezone_id="UTC"
    )
    context.add_cookies([{"name": "seafret-theme", "value": manner.theme, "url": address}])
    page = context.new_page()
    if manner.vision:
        session = context.new_cdp_session(page)
        session.send("Emulation.setEmulatedVisionDeficiency", {"type": manner.vision})
    if manner.printed:
        page.emulate_media(media="print")
    yield page
    context.close()


def take(address: str, out: Path, pages: list[str], manners: list[str]) -> int:
    """How many pictures were written."""
    out.mkdir(parents=True, exist_ok=True)
    count = 0
    with browser() as started:
        for name in manners:
            with looked_at(started, address, MANNERS[name]) as page:
                for title in pages:
                    page.goto(address + PAGES[title].format(alarm=_an_alarm(page, address)))
                    page.wait_for_timeout(350)
                    page.screenshot(path=out / f"{title}.{name}.png", full_page=True)
                    count += 1
    return count


def _an_alarm(page: Page, address: str) -> str:
    told = page.request.get(f"{address}/api/1/alarms").json()["alarms"]
    return str(told[0]["id"]) if told else "gullhaven.1"


def main() -> int:
    """The exit code."""
    parser = argparse.ArgumentParser(prog="python -m tests.browser.pictures")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--night", type=Path, help="what `seafret demo --data` left")
    parser.add_argument("--pages", nargs="+", choices=PAGES, default=list(PAGES))
    parser.add_argument("--manners", nargs="+", choices=MANNERS, default=list(MANNERS))
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="seafret-pictures-") as inside:
        folder = Path(inside)
        night = asked.night
        if night is None:
            night = folder / "night"
            live_through(night, 90)
        (folder / "served").mkdir()
        with served(night, folder / "served") as gateway:
            count = take(gateway.address, asked.out, asked.pages, asked.manners)
    print(f"{count} pictures in {asked.out}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
