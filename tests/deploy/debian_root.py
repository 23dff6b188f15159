"""A bare Debian in a folder, in which commands run as on a machine that has not booted yet.

Needs root and debootstrap. What this machine knows of its package mirrors is lent to it, read-only.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from tests.house.measures import TOP

SUITE = "bookworm"
BROUGHT = "systemd,systemd-sysv,ca-certificates"
LENT = ("/etc/resolv.conf", "/etc/pip.conf", "/etc/ssl/certs", "/etc/apt/apt.conf.d")
PARTS = ("pyproject.toml", "README.md", "edge", "gateway", "deploy")
BUILD_S_MAX = 1200


class DebianRoot:
    """`source`: where the checkout lies in it."""

    source = "/srv/seafret"

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def run(self, *words: str, code: int = 0) -> str:
        """What a command in it says. AssertionError where it does not end with `code`."""
        kept = {
            k: v for k, v in os.environ.items() if k.startswith(("PIP_", "SSL_CERT_", "CURL_CA"))
        }
        path = "/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin"
        ran = subprocess.run(
            ["chroot", str(self.folder), *words],
            env={**kept, "PATH": path, "HOME": "/root", "LC_ALL": "C.UTF-8"},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            check=False,
            timeout=BUILD_S_MAX,
        )
        assert ran.returncode == code, f"{words}: {ran.returncode}\n{ran.stdout}{ran.stderr}"
        return ran.stdout + ran.stderr

    def install(self, *words: str, code: int = 0) -> str:
        return self.run("bash", f"{self.source}/deploy/install.sh", *words, code=code)

    def path(self, inside: str) -> Path:
        return self.folder / inside.lstrip("/")


@contextmanager
def debian_root(folder: Path) -> Iterator[DebianRoot]:
    """From nothing, with this checkout in it; its mounts are taken away afterwards."""
    assert os.geteuid() == 0, "an installation is tried as root only"
    program = shutil.which("debootstrap", path=f"{os.environ['PATH']}:/usr/sbin")
    assert program, "needs debootstrap; as root: apt-get install debootstrap"
    root = folder / "root"
    words = [program, "--variant=minbase", f"--include={BROUGHT}", SUITE, str(root)]
    subprocess.run(words, check=True, capture_output=True, timeout=BUILD_S_MAX)
    with ExitStack() as mounts:
        for place in ("/proc", "/sys", "/dev", *LENT):
            if Path(place).exists():
                _lend(mounts, place, root)
        for name in PARTS:
            _copy(TOP / name, root / "srv/seafret" / name)
        yield DebianRoot(root)


def _lend(mounts: ExitStack, place: str, root: Path) -> None:
    target = root / place.lstrip("/")
    if Path(place).is_dir():
        target.mkdir(parents=True, exist_ok=True)
    else:
        target.unlink(missing_ok=True)
        target.touch()
    subprocess.run(["mount", "--bind", str(Path(place).resolve()), str(target)], check=True)
    mounts.callback(subprocess.run, ["umount", str(target)], check=True)


def _copy(source: Path, target: Path) -> None:
    if source.is_dir():
        shutil.copytree(source, target, ignore=shutil.ignore_patterns("__pycache__"))
    else:
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(source, target)
