"""One line of a check."""

from __future__ import annotations

from dataclasses import dataclass

from edge.faults import Exit, exit_code_of, line_of


@dataclass(frozen=True, slots=True)
class Finding:
    """what: is looked at. found: there. todo: what a person does about it; "" where it holds."""

    what: str
    found: str
    todo: str = ""
    code: Exit = Exit.FINE

    def line(self) -> str:
        """As printed: `ok` or `FAULT` first, so that a script can count them."""
        if self.code is Exit.FINE:
            return f"ok    {self.what}: {self.found}"
        return f"FAULT {self.what}: {self.found}" + (f"; do: {self.todo}" if self.todo else "")


def fault(what: str, found: str, todo: str, code: Exit = Exit.OUT_OF_REACH) -> Finding:
    """What does not hold."""
    return Finding(what, found, todo, code)


def raised(what: str, cause: Exception) -> Finding:
    """A fault that a part of the program raised: its line says what to do. A bug stays a bug."""
    code = exit_code_of(cause)
    if code is Exit.PROGRAM_FAULT:
        raise cause
    return Finding(what, line_of(cause), "", code)
