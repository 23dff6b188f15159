"""A site's stored history, opened for reading by a command."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from gateway.commands.site_options import check_site

if TYPE_CHECKING:
    from gateway.history.sqlite_read import SqliteReader


@contextmanager
def stored_site(data: Path, site: str) -> Iterator[SqliteReader]:
    """A reader of the site, closed afterwards. Wrong use where there is no such history."""
    from gateway.history.opening import open_history

    check_site(site)
    history = open_history(data)
    there = history.sites()
    if site not in there:
        known = f"it has {', '.join(there)}" if there else "it has none yet"
        raise click.UsageError(f"--site is {site!r}; {data} has no history of it: {known}")
    reader = history.reader(site)
    try:
        yield reader
    finally:
        reader.close()
