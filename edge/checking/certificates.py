"""When a certificate ends: read from its own bytes, with nothing but the standard library.

The fields are those of X.509's TBSCertificate in DER (RFC 5280, as recalled): version in [0] where
given, serial number, algorithm, issuer, validity (two times).
"""

from __future__ import annotations

import ssl
from base64 import b64decode
from collections.abc import Iterator
from datetime import UTC, datetime

SEQUENCE, UTC_TIME, GENERALIZED_TIME, VERSION = 0x30, 0x17, 0x18, 0xA0

CENTURY_PIVOT = 50
"""A year of two digits below it is 20xx (RFC 5280, as recalled)."""


class CertificateUnreadable(ValueError):
    """The installer's file is no certificate."""


def not_after(pem: str, where: str) -> datetime:
    """The end of the first certificate of a PEM text. Raises CertificateUnreadable."""
    begin, _, _ = pem.partition("-----END CERTIFICATE-----")
    try:
        der = ssl.PEM_cert_to_DER_cert(
            begin[begin.index("-----BEGIN") :] + "-----END CERTIFICATE-----\n"
        )
        certificate = next(_parts(der))[1]
        fields = [part for part in _parts(next(_parts(certificate))[1]) if part[0] != VERSION]
        _, validity = fields[3]
        kind, text = list(_parts(validity))[1]
        return _time(kind, text.decode("ascii"))
    except (ValueError, StopIteration, IndexError) as cause:
        raise CertificateUnreadable(
            f"{where} is no PEM certificate ({cause}); copy it again from the authority"
        ) from cause


def next_update(pem: str, where: str) -> datetime:
    """When a list of revoked certificates (PEM) is overdue: from then on it shuts everybody out.

    The fields of TBSCertList up to there: version where given, algorithm, issuer, this update, next
    update (RFC 5280, as recalled). Raises CertificateUnreadable.
    """
    try:
        _, _, rest = pem.partition("-----BEGIN X509 CRL-----")
        der = b64decode("".join(rest.partition("-----END X509 CRL-----")[0].split()), validate=True)
        revoked = next(_parts(next(_parts(der))[1]))[1]
        times = [part for part in _parts(revoked) if part[0] in (UTC_TIME, GENERALIZED_TIME)]
        kind, text = times[1]
        return _time(kind, text.decode("ascii"))
    except (ValueError, StopIteration, IndexError) as cause:
        raise CertificateUnreadable(
            f"{where} is no PEM list of revoked certificates ({cause}); copy it again"
        ) from cause


def _parts(der: bytes) -> Iterator[tuple[int, bytes]]:
    """(tag, content) of each element, one after the other."""
    at = 0
    while at < len(der):
        tag, length, at = der[at], der[at + 1], at + 2
        if length & 0x80:
            count = length & 0x7F
            length, at = int.from_bytes(der[at : at + count], "big"), at + count
        if at + length > len(der):
            raise ValueError("cut short")
        yield tag, der[at : at + length]
        at += length


def _time(kind: int, text: str) -> datetime:
    if kind == UTC_TIME:
        text = ("20" if int(text[:2]) < CENTURY_PIVOT else "19") + text
    elif kind != GENERALIZED_TIME:
        raise ValueError(f"tag {kind:#x} is no time")
    return datetime.strptime(text, "%Y%m%d%H%M%SZ").replace(tzinfo=UTC)
