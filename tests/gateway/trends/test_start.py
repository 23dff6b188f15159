"""What a gateway that nobody asks for a trend does without."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from tests.gateway.console.running import SETTINGS

BUILT = """
import sys
from pathlib import Path
from gateway.service import Gateway
from gateway.settings import read_settings
Gateway(read_settings(Path(sys.argv[1])))
print("numpy" in sys.modules, "scipy" in sys.modules)
"""


def test_a_gateway_starts_without_scipy(tmp_path: Path, free_port: int) -> None:
    """It would cost every gateway about 28 MB, asked for trends or not."""
    settings = tmp_path / "gateway.toml"
    settings.write_text(SETTINGS.format(broker=free_port, console=free_port))
    ran = subprocess.run(
        [sys.executable, "-c", BUILT, settings], capture_output=True, text=True, check=True
    )
    assert ran.stdout.split() == ["True", "False"]
