"""What an installed version is made of, as a CycloneDX 1.5 bill of materials (JSON):

    /opt/seafret/current/bin/python sbom.py --out sbom.json

Made from what is installed in the environment of the Python that runs it, standard library only:
every distribution with its version, licence, the SHA-256 of its list of files, and what it needs;
Python, OpenSSL, SQLite and the kernel besides. Field names are CycloneDX's, as recalled; a test
checks the form, no schema was at hand.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import platform
import re
import sqlite3
import ssl
from datetime import UTC, datetime
from importlib.metadata import Distribution, distributions
from pathlib import Path
from uuid import uuid4

PRODUCT = "seafret"
NAME_IN_REQUIREMENT = re.compile(r"^[A-Za-z0-9._-]+")


def bill(taken: datetime, serial: str) -> dict[str, object]:
    """The whole document."""
    found = {plain(d.name): d for d in distributions()}
    product = component(found.pop(PRODUCT), "application") if PRODUCT in found else None
    libraries = [component(found[name], "library") for name in sorted(found)]
    every = [*libraries, *platform_parts()]
    document: dict[str, object] = {
        "bomFormat": "CycloneDX",
        "specVersion": "1.5",
        "serialNumber": f"urn:uuid:{serial}",
        "version": 1,
        "metadata": {"timestamp": taken.strftime("%Y-%m-%dT%H:%M:%SZ")},
        "components": every,
        "dependencies": dependencies(),
    }
    if product is not None:
        document["metadata"] = {**document["metadata"], "component": product}  # type: ignore[dict-item]
    return document


def component(distribution: Distribution, kind: str) -> dict[str, object]:
    """One installed distribution."""
    name, about = plain(distribution.name), distribution.metadata
    made: dict[str, object] = {
        "type": kind,
        "bom-ref": reference(distribution),
        "name": name,
        "version": distribution.version,
        "purl": reference(distribution),
    }
    licence = about.get("License-Expression") or about.get("License") or classified(distribution)
    if licence and "\n" not in licence.strip():
        made["licenses"] = [{"license": {"name": licence.strip()}}]
    if recorded := distribution.read_text("RECORD"):
        digest = hashlib.sha256(recorded.encode()).hexdigest()
        made["properties"] = [{"name": "seafret:record-sha256", "value": digest}]
    return made


def classified(distribution: Distribution) -> str:
    """The licence that the classifiers name."""
    lines = distribution.metadata.get_all("Classifier") or []
    return "; ".join(line.rpartition(" :: ")[2] for line in lines if line.startswith("License"))


def platform_parts() -> list[dict[str, object]]:
    """What the environment stands on and does not bring itself."""
    parts = {
        "cpython": platform.python_version(),
        "openssl": ssl.OPENSSL_VERSION,
        "sqlite": sqlite3.sqlite_version,
        "linux": platform.release(),
        "libc": " ".join(platform.libc_ver()),
    }
    return [
        {"type": "platform", "bom-ref": f"platform:{name}", "name": name, "version": version}
        for name, version in parts.items()
    ]


def dependencies() -> list[dict[str, object]]:
    """Who needs whom, among those that are installed."""
    found = {plain(d.name): d for d in distributions()}
    rows: list[dict[str, object]] = []
    for name in sorted(found):
        wanted = {plain(match[0]) for line in found[name].requires or [] if (match := named(line))}
        needs = sorted(reference(found[other]) for other in wanted & found.keys())
        rows.append({"ref": reference(found[name]), "dependsOn": needs})
    return rows


def named(requirement: str) -> re.Match[str] | None:
    return NAME_IN_REQUIREMENT.match(requirement)


def reference(distribution: Distribution) -> str:
    """The package URL of a distribution."""
    return f"pkg:pypi/{plain(distribution.name)}@{distribution.version}"


def plain(name: str) -> str:
    """A distribution's name as it is compared."""
    return re.sub(r"[-_.]+", "-", name).lower()


def main() -> None:
    asked = argparse.ArgumentParser(description="bill of materials of this environment")
    asked.add_argument("--out", type=Path, required=True)
    out: Path = asked.parse_args().out
    document = bill(datetime.now(UTC), str(uuid4()))
    out.write_text(json.dumps(document, indent=2) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
