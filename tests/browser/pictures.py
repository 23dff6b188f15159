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
from functools import partial
from pathlib import Path

import httpx
from playwright.sync_api import Browser, Page

from tests.browser.changing import changing
from tests.browser.chrome import PHONE, WIDE, browser
from tests.browser.night import live_through, served
from tests.browser.outward import outward
from tests.gateway.accounts.build import PASSWORD
from tests.gateway.outworks.running import asked_until

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

OUTWARD = {
    "storm": "/alarms",
    "storm-fleet": "/",
    "notices": "/notices",
    "outstation": "/outstation?of=insulator",
    "outstation-all": "/outstation?show=doubtful",
    "accounts": "/accounts",
}
"""Of another console, with accounts: what calls people is never under a clock that is not real."""

UNIT_LIMITS = "/limits/gannet-stack.pole-1"

CHANGING = {
    "limits": "/limits",
    "limits-unit": UNIT_LIMITS,
    "limits-not-arrived": "/limits/north-head.m1",
    "limits-version": f"{UNIT_LIMITS}/versions/2",
    "limits-change": f"{UNIT_LIMITS}/propose?arcing.arcing_halfcycles_per_min=100"
    "&arcing.owner=asset+desk&reason=fewer+calls",
    "limits-refused": f"{UNIT_LIMITS}/propose?arcing.arcing_halfcycles_per_min=1.5",
    "limits-drawn": "/sites/gannet-stack/insulators/old-post",
}
"""Of a third one, where limits are being changed."""


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


def take(
    address: str, out: Path, pages: dict[str, str], manners: list[str], person: str = ""
) -> int:
    """How many pictures were written. person: who is signed in."""
    out.mkdir(parents=True, exist_ok=True)
    count = 0
    with browser() as started:
        for name in manners:
            with looked_at(started, address, MANNERS[name]) as page:
                if person:
                    form = {"name": person, "password": PASSWORD}
                    page.request.post(f"{address}/sign-in", form=form)
                for title, path in pages.items():
                    page.goto(address + path.format(alarm=_an_alarm(page, address)))
                    page.wait_for_timeout(350)
                    page.screenshot(path=out / f"{title}.{name}.png", full_page=True)
                    count += 1
    return count


def _an_alarm(page: Page, address: str) -> str:
    told = page.request.get(f"{address}/api/1/alarms").json()["alarms"]
    return str(told[0]["id"]) if told else "gullhaven.1"


def _of_the_night(asked: argparse.Namespace, folder: Path) -> int:
    pages = {title: path for title, path in PAGES.items() if title in asked.pages}
    if not pages:
        return 0
    night = asked.night
    if night is None:
        night = folder / "night"
        live_through(night, 90)
    (folder / "served").mkdir()
    with served(night, folder / "served") as gateway:
        return take(gateway.address, asked.out, pages, asked.manners)


def _of_the_storm(asked: argparse.Namespace, folder: Path) -> int:
    pages = {title: path for title, path in OUTWARD.items() if title in asked.pages}
    if not pages:
        return 0
    with outward(folder / "storm") as house:
        return take(house.address, asked.out, pages, asked.manners, "administrator")


def _of_a_change(asked: argparse.Namespace, folder: Path) -> int:
    pages = {title: path for title, path in CHANGING.items() if title in asked.pages}
    if not pages:
        return 0
    with changing(folder / "change") as house:
        with house.client() as client:  # the months are worked out before the pictures
            for title in ("limits-version", "limits-change"):
                told = partial(_text, client, CHANGING[title])
                asked_until(told, lambda text: "Announced to the operator" in text)
        return take(house.address, asked.out, pages, asked.manners)


def _text(client: httpx.Client, path: str) -> str:
    return client.get(path).text


def main() -> int:
    """The exit code."""
    parser = argparse.ArgumentParser(prog="python -m tests.browser.pictures")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--night", type=Path, help="what `seafret demo --data` left")
    all_of = [*PAGES, *OUTWARD, *CHANGING]
    parser.add_argument("--pages", nargs="+", choices=all_of, default=all_of)
    parser.add_argument("--manners", nargs="+", choices=MANNERS, default=list(MANNERS))
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="seafret-pictures-") as inside:
        folder = Path(inside)
        parts = (_of_the_night, _of_the_storm, _of_a_change)
        count = sum(part(asked, folder) for part in parts)
    print(f"{count} pictures in {asked.out}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
