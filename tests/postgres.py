"""A real PostgreSQL server for the tests: its own folder and socket, nothing on the network."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path
from urllib.parse import quote

import psycopg

OWNER = "owner"

_HASTY = (
    "fsync=off",
    "full_page_writes=off",
    "max_connections=60",
    "shared_buffers=32MB",
    "autovacuum=off",
)
"""No test cuts the power of this server, so its disk may take its time."""


def tools() -> Path:
    """The folder of the server's programs: Debian keeps them out of the path."""
    found = shutil.which("initdb")
    if found is not None:
        return Path(found).resolve().parent
    versions = sorted(
        Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda one: int(one.parts[-3])
    )
    assert versions, "PostgreSQL's server is not installed; see tests/system_packages.sh"
    return versions[-1].parent


class Server:
    """Made once, then started and stopped at will. durable: as a production server writes."""

    def __init__(self, durable: bool = False) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="pg", dir="/tmp"))  # a socket's path is short
        if os.getuid() == 0:
            shutil.chown(self.folder, "postgres", "postgres")
        self._run(
            "initdb", "--no-sync", "-A", "trust", "-U", OWNER, "-D", self.data,
            "-E", "UTF8", "--locale", "C",
        )  # fmt: skip
        settings = [f"unix_socket_directories='{self.folder}'", "listen_addresses=''"]
        with (self.folder / "data" / "postgresql.conf").open("a") as stream:
            stream.write("\n".join([*settings, *(() if durable else _HASTY), ""]))

    @property
    def data(self) -> str:
        return str(self.folder / "data")

    def address(self, database: str = "postgres", user: str = OWNER) -> str:
        """As a gateway's settings have it."""
        return f"postgresql://{user}@/{database}?host={quote(str(self.folder), safe='')}"

    def start(self) -> None:
        """Returns when it answers."""
        self._run("pg_ctl", "-w", "-D", self.data, "-l", str(self.folder / "log"), "start")

    def stop(self, mode: str = "fast") -> None:
        """`immediate` ends it as a crash would."""
        self._run("pg_ctl", "-w", "-D", self.data, "-m", mode, "stop")

    def remove(self) -> None:
        """Ends it and takes its folder away."""
        if (self.folder / "data" / "postmaster.pid").exists():
            self.stop("immediate")
        shutil.rmtree(self.folder)

    def empty(self) -> None:
        """Takes all rows of all sites away; their tables stay, for they take a while to make."""
        with psycopg.connect(self.address(), autocommit=True) as connection:
            # What is only ever added to has triggers against this.
            connection.execute("SET session_replication_role = replica")
            found = connection.execute(
                "SELECT schemaname, tablename FROM pg_tables WHERE schemaname ~ '^(site_|fleet)' "
                "AND tablename <> 'migration_notes' AND tablename !~ '_[0-9]+$'"
            ).fetchall()
            emptied = [f'DELETE FROM "{schema}"."{table}"' for schema, table in found]
            connection.execute("; ".join(emptied) or "SELECT 1")

    def _run(self, program: str, *given: str) -> None:
        as_server = ["setpriv", "--reuid", "postgres", "--regid", "postgres", "--clear-groups"]
        before = as_server if os.getuid() == 0 else []
        # The server inherits what pg_ctl writes to, so that must not be a pipe of ours.
        with tempfile.TemporaryFile("w+") as told:
            done = subprocess.run(
                [*before, str(tools() / program), *given],
                stdout=told, stderr=told, stdin=subprocess.DEVNULL, cwd=self.folder,
            )  # fmt: skip
            told.seek(0)
            assert done.returncode == 0, f"{program} {' '.join(given)}: {told.read()}"
