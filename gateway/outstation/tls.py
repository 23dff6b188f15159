"""The outstation's TLS: both sides show certificates of one authority."""

from __future__ import annotations

import ssl

from gateway.outward_settings import Outstation


class ListenFault(OSError):
    """The outstation's address cannot be listened on, or its TLS files cannot be read."""


def tls_of(settings: Outstation) -> ssl.SSLContext | None:
    """None where the listener is plain; TLS 1.2 at least. Raises ListenFault."""
    if settings.tls is None:
        return None
    try:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        context.load_cert_chain(settings.tls.cert, settings.tls.key)
        context.load_verify_locations(settings.tls.ca)
        context.verify_mode = ssl.CERT_REQUIRED
    except OSError as fault:
        raise ListenFault(
            f"outstation.tls: {fault}; ca, cert and key must be readable PEM files that belong "
            "together"
        ) from fault
    return context
