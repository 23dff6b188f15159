"""The gateway's ingest and history as a process, without console and alarm list.

    python -m tests.campaigns.gateway_process FOLDER PORT [options]

Faster to start than the whole gateway, which the long forms use.
"""

from __future__ import annotations

import argparse
import faulthandler
import os
import resource
import signal
import sys
import threading
import time
import traceback
from pathlib import Path

from gateway.clock import Clock
from gateway.history.lock import hold_data
from gateway.history.sqlite_store import SqliteHistory
from gateway.history.store import Commit
from gateway.ingest import subscription, worker
from gateway.ingest.epochs import to_ask_about
from gateway.ingest.intake import Intake
from gateway.settings import Broker
from tests.edge.keep.builders import UNIT

LOOK_S = 1.0


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("port", type=int)
    parser.add_argument("--site", default=UNIT.partition(".")[0])
    parser.add_argument("--slow-s", type=float, default=0.0)
    parser.add_argument("--file-bytes-max", type=int, default=0)
    options = parser.parse_args()
    # Waits between attempts, shortened for a campaign.
    subscription.RECONNECT_S, worker.STORE_RETRY_S = (1, 1), (0.2, 1.0)
    if options.file_bytes_max:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)  # the write fails then, as on a full disk
        resource.setrlimit(resource.RLIMIT_FSIZE, (options.file_bytes_max, options.file_bytes_max))
    ended = threading.Event()
    faults: list[BaseException] = []

    def on_end(fault: BaseException | None) -> None:
        if fault is not None:
            faults.append(fault)
            traceback.print_exception(fault)
        ended.set()

    def on_commit(site: str, commit: Commit) -> None:
        time.sleep(options.slow_s)

    with hold_data(options.folder, "campaign"):
        clock, history = Clock(), SqliteHistory(options.folder)
        intake = Intake(history, [options.site], on_commit)
        listening = subscription.Subscription(Broker(port=options.port), clock)
        past = to_ask_about(history, intake.marks)
        ingest = worker.Ingest(listening, intake, clock, past, lambda _: None, on_end)
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: ended.set())
        faulthandler.register(signal.SIGUSR1)
        ingest.start()
        listening.start()
        print("ready", flush=True)
        while not ended.wait(LOOK_S):
            try:
                listening.check_thread()
            except AssertionError as fault:
                on_end(fault)
        listening.stop()
        ingest.stop()
    if faults:  # as the service manager would
        os.execv(sys.executable, [sys.executable, "-m", __spec__.name, *sys.argv[1:]])


if __name__ == "__main__":
    main()
