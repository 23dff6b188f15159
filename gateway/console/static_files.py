"""The console's own style, script and mark: read once, compressed, under names that never lie.

The name holds a hash of the content, so a browser keeps a file for good and still never shows an
old one.
"""

from __future__ import annotations

import gzip
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files

from fastapi import APIRouter, HTTPException, Request, Response

KINDS = {
    "console.css": "text/css; charset=utf-8",
    "console.js": "text/javascript; charset=utf-8",
    "mark.svg": "image/svg+xml",
    "manifest.webmanifest": "application/manifest+json",
}
FOR_GOOD = "public, max-age=31536000, immutable"


@dataclass(frozen=True, slots=True)
class Asset:
    """One file. path: where a page asks for it."""

    path: str
    kind: str
    plain: bytes
    packed: bytes


def assets() -> Mapping[str, Asset]:
    """All files by their names."""
    folder = files("gateway.console") / "static"
    found = {}
    for name, kind in KINDS.items():
        plain = (folder / name).read_bytes()
        sha = hashlib.sha256(plain).hexdigest()[:16]
        packed = gzip.compress(plain, 9, mtime=0)
        found[name] = Asset(f"/static/{sha}/{name}", kind, plain, packed)
    return found


def static_routes(found: Mapping[str, Asset]) -> APIRouter:
    """One route for all of them."""
    routes = APIRouter(include_in_schema=False)
    by_path = {asset.path: asset for asset in found.values()}

    @routes.get("/static/{sha}/{name}")
    def static(sha: str, name: str, request: Request) -> Response:
        asset = by_path.get(f"/static/{sha}/{name}")
        if asset is None:
            raise HTTPException(404, "no such file")
        headers = {"Cache-Control": FOR_GOOD, "Vary": "Accept-Encoding"}
        if "gzip" in request.headers.get("accept-encoding", ""):
            packed = {**headers, "Content-Encoding": "gzip"}
            return Response(asset.packed, media_type=asset.kind, headers=packed)
        return Response(asset.plain, media_type=asset.kind, headers=headers)

    return routes
