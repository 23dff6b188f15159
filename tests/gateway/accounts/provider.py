"""A small OpenID Connect provider of another make: it signs what it is told to, for tests."""

from __future__ import annotations

import json
import threading
import time
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs

from joserfc import jwt
from joserfc.jwk import RSAKey

CLIENT, SECRET = "seafret", "the client's secret"


@dataclass
class Provider:
    """claims: what the next token says besides the usual. asked: the last token request."""

    claims: dict[str, Any] = field(default_factory=dict)
    asked: dict[str, str] = field(default_factory=dict)
    key: RSAKey = field(default_factory=lambda: RSAKey.generate_key(2048, auto_kid=True))
    signing: RSAKey | None = None

    def start(self) -> Provider:
        provider = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                self._say(provider.answer(self.path))

            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["content-length"])).decode()
                provider.asked = {name: found[0] for name, found in parse_qs(body).items()}
                self._say({"access_token": "x", "id_token": provider.token()})

            def _say(self, told: dict[str, Any]) -> None:
                content = json.dumps(told).encode()
                self.send_response(200)
                self.send_header("content-length", str(len(content)))
                self.end_headers()
                self.wfile.write(content)

            def log_message(self, *_: object) -> None:
                """Quietly."""

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._thread = threading.Thread(target=self._server.serve_forever, daemon=True)
        self._thread.start()
        return self

    @property
    def issuer(self) -> str:
        return f"http://127.0.0.1:{self._server.server_address[1]}"

    def stop(self) -> None:
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()

    def answer(self, path: str) -> dict[str, Any]:
        if path.endswith("openid-configuration"):
            return {
                "issuer": self.issuer,
                "authorization_endpoint": f"{self.issuer}/authorize",
                "token_endpoint": f"{self.issuer}/token",
                "jwks_uri": f"{self.issuer}/keys",
            }
        return {"keys": [self.key.as_dict(private=False)]}

    def token(self) -> str:
        now_s = int(time.time())
        claims = {
            "iss": self.issuer, "aud": CLIENT, "sub": "7", "iat": now_s, "exp": now_s + 300,
            "preferred_username": "KR", "groups": ["scada-operators"], **self.claims,
        }  # fmt: skip
        key = self.signing or self.key
        return jwt.encode({"alg": "RS256", "kid": self.key.kid}, claims, key)
