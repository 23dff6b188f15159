"""What every page owes to every reader."""

from __future__ import annotations

import re

from playwright.sync_api import Page


def is_well_made(page: Page, path: str) -> None:
    """One heading, a title, a name for whatever can be used, no name twice."""
    assert page.locator("h1").count() == 1, path
    assert re.match(r".+ · seafret", re.sub(r"^\(•+\) ", "", page.title())), path
    unnamed = page.locator("button, a, input:not([type=hidden]), select").evaluate_all(
        """(all) => all.filter((one) => one.offsetParent && !(one.textContent.trim() ||
            one.labels?.length || one.ariaLabel)).map((one) => one.outerHTML)"""
    )
    assert not unnamed, path
    twice = page.evaluate(
        """() => { const all = [...document.querySelectorAll("[id]")].map((one) => one.id);
            return all.filter((id, at) => all.indexOf(id) !== at); }"""
    )
    assert not twice, path
