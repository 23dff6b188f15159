"""One notice on its way, by the library that knows mail, text messages, chats and web hooks."""

from __future__ import annotations

import logging
from urllib.parse import quote

import apprise

from gateway.notices.planning import Notice
from gateway.outward_settings import Recipient

MAIL = ("mailto://", "mailtos://")
WHY_MAX = 300


class AddressFault(ValueError):
    """The installer's: a recipient's address cannot be read or is none that the library knows."""


def address_of(recipient: Recipient) -> str:
    """The address, from the settings or from its file. Raises AddressFault."""
    if recipient.address is not None:
        address = recipient.address
    else:
        assert recipient.address_file is not None
        try:
            address = recipient.address_file.read_text(encoding="utf-8").strip()
        except (OSError, UnicodeDecodeError) as fault:
            raise AddressFault(
                f"notices: {recipient.name}: address_file {recipient.address_file}: {fault}; it "
                "must hold one address"
            ) from fault
    if not apprise.Apprise().add(address):
        raise AddressFault(
            f"notices: {recipient.name}: the address is none that can be used; it must be as "
            "mailto://, json:// or another that apprise knows"
        )
    return address


def deliver(address: str, notice: Notice) -> str:
    """Sends it; "" where it was taken, else why not."""
    carrier = apprise.Apprise()
    with apprise.LogCapture(level=logging.WARNING, fmt="%(message)s") as said:  # type: ignore[no-untyped-call]
        if not carrier.add(threaded(address, notice)):
            return "the address is none that can be used"
        sent = carrier.notify(
            body=notice.body, title=notice.subject, body_format=apprise.NotifyFormat.TEXT
        )
        why = " ".join(str(said.getvalue()).split())
    return "" if sent else (why or "it was not taken")[-WHY_MAX:]


def threaded(address: str, notice: Notice) -> str:
    """A mail address with headers: one thread an occurrence, and no answering machine answers."""
    if not address.startswith(MAIL):
        return address
    thread = f"<{notice.site or 'all'}.{notice.occurrence}@seafret>"
    headers = {"Auto-Submitted": "auto-generated", "References": thread}
    mark = "&" if "?" in address else "?"
    return address + mark + "&".join(f"+{name}={quote(text)}" for name, text in headers.items())
