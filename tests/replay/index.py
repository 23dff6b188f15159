"""The table in `replay_data/README.md`: a row for each recording, written from the files."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from gateway.replay.feeds import opened_feed
from tests.replay.expectation import read_expectation
from tests.replay.shelf import EXPECTATION, recordings
from tests.replay.situations import BY_NAME

INDEX = "README.md"
BEGIN, END = "<!-- table: begin -->", "<!-- table: end -->"
HEAD = ("name", "kS/s", "Hz", "seconds", "written as", "made from", "why it exists")


@dataclass(frozen=True, slots=True)
class Row:
    """One row, as text."""

    name: str
    rate_ks_s: str
    nominal_hz: str
    seconds: str
    written_as: str
    origin: str
    why: str

    def cells(self) -> tuple[str, ...]:
        """In the order of `HEAD`."""
        return (
            self.name,
            self.rate_ks_s,
            self.nominal_hz,
            self.seconds,
            self.written_as,
            self.origin,
            self.why,
        )


def row_of(name: str, shelf: Path) -> Row:
    """The row of one recording: what its files and its expectation say, and its situation."""
    path = recordings(shelf)[name]
    with opened_feed((path,)) as feed:
        description, header = feed.description, feed.records[0].header
        written = f"{header.revision} {header.file_type}"
    kind = "folder of .cff" if path.is_dir() else f"single {path.suffix}"
    written += "" if path.suffix == ".cfg" else f", {kind}"
    seconds = read_expectation(shelf / f"{name}{EXPECTATION}").facts.seconds
    situation = BY_NAME[name]
    return Row(
        name,
        f"{description.rate_hz / 1000:g}",
        f"{description.nominal_hz:g}",
        f"{seconds:.2f}",
        written,
        situation.origin,
        situation.why,
    )


def read_rows(shelf: Path) -> list[Row]:
    """The rows of the index. ValueError where there is no table."""
    text = (shelf / INDEX).read_text(encoding="utf-8")
    if BEGIN not in text or END not in text:
        raise ValueError(f"{INDEX} has no table between {BEGIN!r} and {END!r}")
    lines = text.partition(BEGIN)[2].partition(END)[0].strip().splitlines()
    return [Row(*(cell.strip() for cell in line.strip("|").split("|"))) for line in lines[2:]]


def write_table(shelf: Path) -> None:
    """Writes the table between its two marks; the words around it are a person's."""
    path = shelf / INDEX
    before, _, rest = path.read_text(encoding="utf-8").partition(BEGIN)
    after = rest.partition(END)[2]
    rows = [row_of(name, shelf).cells() for name in recordings(shelf)]
    table = [HEAD, ("---",) * len(HEAD), *rows]
    lines = "\n".join("| " + " | ".join(cells) + " |" for cells in table)
    path.write_text(f"{before}{BEGIN}\n{lines}\n{END}{after}", encoding="utf-8")
