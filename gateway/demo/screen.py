"""Where the demo writes: lines for everybody, and on a terminal one more that stays in place."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from typing import TextIO

from gateway.demo.watching import WIDTH


class Screen:
    """Plain text without colour. In a pipe the line in place is left out."""

    def __init__(self, output: TextIO | None = None) -> None:
        self._output = sys.stdout if output is None else output
        self._is_terminal = self._output.isatty()
        self._in_place = ""

    def say(self, *lines: str) -> None:
        """Lines that stay."""
        self.say_all(lines)

    def say_all(self, lines: Iterable[str]) -> None:
        """Lines that stay, above the one in place."""
        found = list(lines)
        if not found:
            return
        in_place = self._in_place
        self.clear()
        for line in found:
            self._output.write(line + "\n")
        self._output.flush()
        if in_place:
            self.show(in_place)

    def show(self, line: str) -> None:
        """The line in place."""
        if self._is_terminal:
            self._output.write(f"\r{line[: WIDTH - 1]:<{WIDTH - 1}}")
            self._output.flush()
            self._in_place = line

    def clear(self) -> None:
        """Takes the line in place away."""
        if self._in_place:
            self._output.write("\r" + " " * (WIDTH - 1) + "\r")
            self._output.flush()
            self._in_place = ""
