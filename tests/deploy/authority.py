"""A utility's authority in a test's folder, made by the very script of deploy/, and what an honest
authority would never sign."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

from tests.house.measures import TOP

SCRIPT = TOP / "deploy/certificates.sh"
UTILITY = "Gannet Power"
PAST = ("20250101000000Z", "20250201000000Z")


class Authority:
    """`pair(who)` is the folder with ca.pem, cert.pem and key.pem that goes to `who`."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.run("init", UTILITY)

    @property
    def ca(self) -> Path:
        return self.folder / "ca.pem"

    @property
    def revoked(self) -> Path:
        return self.folder / "crl.pem"

    def pair(self, who: str) -> Path:
        return self.folder / "issued" / who / "current"

    def unit(self, name: str, *options: str) -> Path:
        self.run("unit", name, *options)
        return self.pair(name)

    def run(self, *words: str, code: int = 0) -> str:
        """What the script says."""
        ran = subprocess.run(
            ["bash", str(SCRIPT), *words, "--dir", str(self.folder)],
            capture_output=True,
            text=True,
            check=False,
        )
        assert ran.returncode == code, ran.stdout + ran.stderr
        return ran.stdout + ran.stderr

    def signed_carelessly(self, common_name: str, folder: Path) -> Path:
        """A pair for a name that the script refuses, as a careless authority would sign it."""
        folder.mkdir()
        asked = folder / "asked.pem"
        subject = "/CN=" + common_name.replace("/", "\\/").replace("+", "\\+")
        self._openssl(
            *(["req", "-new", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes"]),
            *("-keyout", folder / "key.pem", "-out", asked, "-subj", subject),
        )
        self._openssl(
            *(["ca", "-batch", "-notext", "-days", "2"]),
            *("-config", self.folder / "openssl.cnf", "-in", asked, "-out", folder / "cert.pem"),
        )
        (folder / "ca.pem").write_bytes(self.ca.read_bytes())
        return folder

    def _openssl(self, *words: str | Path) -> None:
        environment = {**os.environ, "AUTHORITY": str(self.folder)}
        subprocess.run(["openssl", *words], env=environment, check=True, capture_output=True)
