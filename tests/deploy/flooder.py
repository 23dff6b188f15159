"""A unit that sends as fast as the broker takes it, in a process of its own:

    python -m tests.deploy.flooder PORT UNIT PAIR

Ends when its input ends.
"""

from __future__ import annotations

import sys
import threading
from pathlib import Path

from tests.deploy.stranger import Stranger
from tests.gateway.build import epoch_start, interval, message, topic


def main(port: int, unit: str, pair: Path) -> None:
    over = threading.Event()
    threading.Thread(target=lambda: (sys.stdin.read(), over.set()), daemon=True).start()
    payload = message(1, [epoch_start(), *(interval(n) for n in range(20))], unit=unit)
    with Stranger(port, pair / "ca.pem", pair) as one:
        print("floods", flush=True)
        while not over.is_set():
            one.publish_blindly(topic(unit=unit), payload)


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2], Path(sys.argv[3]))
