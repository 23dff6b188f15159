"""`seafret serve`."""

from __future__ import annotations

import logging
import signal
import sys
import threading
from pathlib import Path

import click

from edge.faults import Exit
from gateway.commands.site_options import GATEWAY_SETTINGS

THREADS_TURN_S = 0.0005
"""So long a thread may keep the interpreter while others want it. The client of the broker gives it
away with every read of a few bytes; at Python's own 5 ms it would wait that long for each."""


@click.command("serve", epilog="Example: seafret serve --settings /etc/seafret/gateway.toml")
@GATEWAY_SETTINGS
def command(path: Path) -> Exit:
    """The gateway: ingest, history, API. Ends on Ctrl-C or SIGTERM, with nothing half-written."""
    from gateway.guard.service_manager import notify
    from gateway.history.lock import hold_data
    from gateway.service import Gateway
    from gateway.settings import SettingsFault, read_settings

    try:
        settings = read_settings(path)
    except SettingsFault as fault:
        raise click.ClickException(str(fault)) from fault
    sys.setswitchinterval(THREADS_TURN_S)
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(message)s")
    asked_to_stop = threading.Event()
    with hold_data(settings.data, "seafret serve"):
        gateway = Gateway(settings)
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, lambda *_: asked_to_stop.set())
        try:
            gateway.start()
            click.echo(f"gateway ready at {gateway.address}, data in {settings.data}")
            notify("READY=1")
            gateway.wait(asked_to_stop)
        finally:
            notify("STOPPING=1")
            gateway.stop()
    return Exit.FINE
