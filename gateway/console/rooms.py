"""Further parts of the console: routes of another package, their way in, and who may enter.

A package that has pages or API routes of its own (limits, notices) gives a `Room` to `create_app`
through `gateway.service`; the console neither imports it nor knows what is inside.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import APIRouter

from gateway.accounts.roles import Act
from gateway.console.limit_lines import LimitLines

if TYPE_CHECKING:
    from gateway.console.pages.look import Look

Route = tuple[str, str]
"""Method and path as it stands in the route, such as ("POST", "/limits/{version}/approve")."""


@dataclass(frozen=True, slots=True)
class Door:
    """A link in the console's navigation."""

    title: str
    path: str


@dataclass(frozen=True, slots=True)
class Room:
    """routes: as they are included. acts: what each route needs; a route without one stops the
    start. doors: links in the navigation. pages: makes the routes of its pages with the console's
    `Look`, whose `page` renders. templates: folder with its pages, "" for none; a template there is
    named with the package's own word before it, as `limits_list.html`, and extends `frame.html`.
    in_force: by site and insulator the limits that its plots draw; None where it knows none."""

    routes: APIRouter
    acts: Mapping[Route, Act]
    doors: tuple[Door, ...] = ()
    templates: str = ""
    pages: Callable[[Look], APIRouter] | None = None
    in_force: Callable[[str, str], LimitLines | None] | None = None
