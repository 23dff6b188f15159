"""What can end the daemon or a command beside it, by whose fault it is."""

from __future__ import annotations


class FolderRefused(OSError):
    """Installer: the data folder cannot be made or written."""


class ThreadSilent(RuntimeError):
    """Hardware, or a bug: a thread shows no life; the service manager is to start us anew."""


class NotReceipted(ConnectionError):
    """Peer: the signal is over, and the gateway has not receipted all that is kept."""


class NotDry(ValueError):
    """User: what the sensors read is no dry surface, so no dry phasor can be taken from it."""


class SourceSilent(ConnectionError):
    """Hardware: the source delivered nothing to work with."""
