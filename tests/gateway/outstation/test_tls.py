"""The outstation over TLS, before clients that know each other and one that nobody knows."""

from __future__ import annotations

import socket
import ssl
import subprocess
from pathlib import Path

import pytest

from gateway.outstation.frames import Function, Unnumbered, frame_bytes
from gateway.outstation.server import Server
from gateway.outstation.tls import ListenFault
from gateway.outward_settings import Outstation, TlsFiles
from tests.gateway.outstation.build import address, reading, station


def certified(folder: Path, name: str, authority: str = "ca") -> None:
    """A key and a certificate of a small authority, by the openssl command."""

    def run(*words: str) -> None:
        subprocess.run(["openssl", *words], cwd=folder, check=True, capture_output=True)

    if not (folder / f"{authority}.pem").exists():
        run(
            *(
                "req",
                "-x509",
                "-newkey",
                "ec",
                "-pkeyopt",
                "ec_paramgen_curve:P-256",
                "-nodes",
                "-days",
                "30",
            ),
            *("-subj", "/CN=test authority", "-keyout", f"{authority}.key"),
            *("-out", f"{authority}.pem"),
        )
    run(
        *(
            "req",
            "-newkey",
            "ec",
            "-pkeyopt",
            "ec_paramgen_curve:P-256",
            "-nodes",
            "-subj",
            f"/CN={name}",
        ),
        *("-keyout", f"{name}.key", "-out", f"{name}.csr"),
    )
    run(
        *("x509", "-req", "-in", f"{name}.csr", "-CA", f"{authority}.pem"),
        *("-CAkey", f"{authority}.key", "-CAcreateserial", "-days", "30", "-out", f"{name}.pem"),
    )


def greeted(folder: Path, port: int, name: str) -> subprocess.CompletedProcess[bytes]:
    """What another client says of the outstation's certificate, showing this one."""
    shown = ("-cert", f"{name}.pem", "-key", f"{name}.key", "-CAfile", "ca.pem", "-tls1_2")
    return subprocess.run(
        ["openssl", "s_client", "-connect", f"127.0.0.1:{port}", *shown],
        cwd=folder,
        input=b"",
        capture_output=True,
        timeout=30,
        check=False,
    )


def secured(folder: Path, port: int) -> ssl.SSLSocket:
    """A master's connection over TLS; c104 of this version demands a host name and takes none."""
    context = ssl.create_default_context(cafile=str(folder / "ca.pem"))
    context.check_hostname = False
    context.load_cert_chain(folder / "master.pem", folder / "master.key")
    return context.wrap_socket(socket.create_connection(("127.0.0.1", port), timeout=20))


def test_over_tls_both_sides_show_certificates_and_others_get_nothing(
    tmp_path: Path,
) -> None:
    certified(tmp_path, "outstation")
    certified(tmp_path, "master")
    certified(tmp_path, "stranger", "other")
    files = TlsFiles(
        ca=tmp_path / "ca.pem", cert=tmp_path / "outstation.pem", key=tmp_path / "outstation.key"
    )
    server = Server(Outstation(port=0, tls=files), station())
    server.start()
    try:
        with secured(tmp_path, server.port) as line:
            line.sendall(frame_bytes(Unnumbered(Function.START_ACT)))
            assert line.recv(6) == frame_bytes(Unnumbered(Function.START_CON))
            server.tell([(address("arcing"), reading(1))])
            assert line.recv(2).startswith(b"\x68")
        with socket.create_connection(("127.0.0.1", server.port)) as line:
            line.settimeout(20)
            line.sendall(frame_bytes(Unnumbered(Function.START_ACT)))
            assert not line.recv(64).startswith(b"\x68")
        known = greeted(tmp_path, server.port, "master")
        assert known.returncode == 0 and b"Verify return code: 0 (ok)" in known.stdout
        assert greeted(tmp_path, server.port, "stranger").returncode != 0
    finally:
        server.stop()


def test_files_that_are_no_certificates_are_refused_with_what_they_must_be(tmp_path: Path) -> None:
    wrong = tmp_path / "wrong.pem"
    wrong.write_text("no certificate")
    files = TlsFiles(ca=wrong, cert=wrong, key=wrong)
    with pytest.raises(ListenFault, match="readable PEM files"):
        Server(Outstation(port=0, tls=files), station())
