"""The figures over HTTP, where a Prometheus server collects them."""

from __future__ import annotations

from collections.abc import Callable

from fastapi import APIRouter, Response

from gateway.accounts.roles import Act
from gateway.console.rooms import Room
from gateway.watch.metrics import CONTENT_TYPE, Figures, metrics_text

ACTS: dict[tuple[str, str], Act] = {("GET", "/metrics"): Act.READ}


def watch_room(figures: Callable[[], Figures]) -> Room:
    """Routes and who may use them; with accounts a collector brings a viewer's token."""
    routes = APIRouter()

    @routes.get("/metrics", include_in_schema=False)
    def metrics() -> Response:
        return Response(metrics_text(figures), media_type=CONTENT_TYPE)

    return Room(routes, ACTS)
