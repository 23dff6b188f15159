"""A real mail server and a real web hook on this machine, and what they were given."""

from __future__ import annotations

import json
import queue
import threading
from email.message import EmailMessage
from email.parser import BytesParser
from email.policy import default
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from aiosmtpd.controller import Controller

ANSWER_S = 20.0


class MailServer:
    """Takes every mail."""

    def __init__(self, port: int) -> None:
        self.mails: queue.SimpleQueue[EmailMessage] = queue.SimpleQueue()
        self._controller = Controller(self, hostname="127.0.0.1", port=port)
        self._controller.start()

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        mail = BytesParser(policy=default).parsebytes(envelope.content)
        self.mails.put(mail)
        return "250 taken"

    def next(self) -> EmailMessage:
        return self.mails.get(timeout=ANSWER_S)

    def close(self) -> None:
        self._controller.stop()


class WebHook:
    """Takes every post and keeps its JSON, and the paths that were asked for; `status` is what it
    answers."""

    def __init__(self) -> None:
        self.posts: queue.SimpleQueue[dict[str, Any]] = queue.SimpleQueue()
        self.pings: queue.SimpleQueue[str] = queue.SimpleQueue()
        self.status = 200
        hook = self

        class Taking(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                self.send_response(hook.status)
                self.end_headers()
                if hook.status == 200:
                    hook.posts.put(json.loads(body))

            def do_GET(self) -> None:
                self.send_response(hook.status)
                self.end_headers()
                hook.pings.put(self.path)

            def log_message(self, format: str, *args: object) -> None:
                """Quiet."""

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Taking)
        self.port = self._server.server_address[1]
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.05,))
        self._thread.start()

    def next(self) -> dict[str, Any]:
        return self.posts.get(timeout=ANSWER_S)

    def close(self) -> None:
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()
