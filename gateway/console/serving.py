"""The application as a server in a thread of the gateway."""

from __future__ import annotations

import socket
import threading

import uvicorn
from anyio import to_thread
from fastapi import FastAPI

from gateway.console.feed import Feed
from gateway.console.settling import settle
from gateway.settings import Console

START_S = 15.0
"""A server that is not up by then has failed."""

THREADS = 6
"""So many answers are worked out at a time; the others wait their turn. More would only share the
same cores, and each would hold memory of its own."""

END_S = 3
"""Answers that are not finished by then are cut off when the gateway ends."""


class AddressTaken(OSError):
    """The console's address cannot be listened on."""


class _Server(uvicorn.Server):
    def __init__(self, config: uvicorn.Config) -> None:
        super().__init__(config)
        self.up = threading.Event()

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        to_thread.current_default_thread_limiter().total_tokens = THREADS
        await super().startup(sockets)
        self.up.set()


class ApiServer:
    """The server; `address` is where it listens. feed: its streams end first."""

    def __init__(self, app: FastAPI, console: Console, feed: Feed) -> None:
        self._socket = _listen(console)
        self._feed = feed
        port = self._socket.getsockname()[1]
        scheme = "http" if console.tls_cert is None else "https"
        self.address = f"{scheme}://{console.host}:{port}"
        config = uvicorn.Config(
            app,
            log_level="warning",
            access_log=False,
            ws="none",
            lifespan="off",
            server_header=False,
            timeout_graceful_shutdown=END_S,
            ssl_certfile=console.tls_cert,
            ssl_keyfile=console.tls_key,
        )
        self._server = _Server(config)
        self._thread = threading.Thread(
            target=self._server.run, args=([self._socket],), name="api", daemon=True
        )

    def start(self) -> None:
        """Gives back what coming so far needed; returns when it answers.

        Raises AddressTaken where it does not come up.
        """
        settle()
        self._thread.start()
        if not self._server.up.wait(START_S):
            raise AddressTaken(f"console {self.address}: did not come up in {START_S:.0f} s")

    def stop(self) -> None:
        """Finishes the answers at hand."""
        self._feed.close()
        self._server.should_exit = True
        if self._thread.ident is not None:
            self._thread.join()
        self._socket.close()


def _listen(console: Console) -> socket.socket:
    listening = socket.socket(socket.AF_INET6 if ":" in console.host else socket.AF_INET)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((console.host, console.port))
    except OSError as fault:
        listening.close()
        raise AddressTaken(
            f"console {console.host}:{console.port}: {fault.strerror}; "
            "give another port in [console], or stop what listens there"
        ) from fault
    return listening
