"""`seafret ingest`."""

from __future__ import annotations

import logging
import signal
import socket
import sys
import threading
from pathlib import Path

import click

from edge.faults import Exit
from gateway.commands.site_options import GATEWAY_SETTINGS


@click.command(
    "ingest", epilog="Example: seafret ingest --settings /etc/seafret/gateway.toml --worker a"
)
@GATEWAY_SETTINGS
@click.option(
    "--worker", metavar="NAME", help="No two may have the same; else the name of the machine."
)
def command(path: Path, worker: str | None) -> Exit:
    """One of several workers that take in what units send, into one PostgreSQL database.

    Each holds its share of the units by leases; when one ends or is lost, the others have its units
    within seconds, and what was not receipted is sent again by the units. Start as many as needed,
    on any machines; the settings must name [history].
    """
    from gateway.commands.serve import THREADS_TURN_S
    from gateway.guard.service_manager import notify
    from gateway.ingest.working import Worker
    from gateway.settings import SettingsFault, read_settings

    try:
        settings = read_settings(path)
    except SettingsFault as fault:
        raise click.ClickException(str(fault)) from fault
    name = worker or socket.gethostname().replace(".", "-")[:32]
    sys.setswitchinterval(THREADS_TURN_S)
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(message)s")
    asked_to_stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: asked_to_stop.set())
    made = Worker(settings, name)
    click.echo(f"worker {name} ready")
    notify("READY=1")
    made.run(asked_to_stop)
    return Exit.FINE
