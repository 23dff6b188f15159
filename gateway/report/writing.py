"""The files of a report: the document in the form its name asks for, and a CSV behind each figure.

What is written has its name only once it is whole.
"""

from __future__ import annotations

import csv
import shutil
from pathlib import Path

from gateway.report.blocks import Document

ENDINGS = (".pdf", ".html")


def figures_folder(path: Path) -> Path:
    """Where the figures' CSV files lie, beside the report."""
    return path.with_name(f"{path.stem}-figures")


def write_report(document: Document, paths: list[Path]) -> None:
    """Each form, and the CSV files once for each stem."""
    for path in paths:
        part = path.with_name(f"{path.name}.part")
        try:
            if path.suffix == ".html":
                from gateway.report.as_html import html

                part.write_text(html(document), encoding="utf-8")
            else:
                from gateway.report.as_pdf import write_pdf

                write_pdf(document, part)
            part.replace(path)
        finally:
            part.unlink(missing_ok=True)
    for folder in {figures_folder(path) for path in paths}:
        _write_figures(document, folder)


def _write_figures(document: Document, folder: Path) -> None:
    """A folder of an earlier report of that name goes: its figures had other numbers."""
    part = folder.with_name(f"{folder.name}.part")
    shutil.rmtree(part, ignore_errors=True)
    part.mkdir(parents=True)
    for figure in document.figures():
        with (part / figure.csv_name).open("w", encoding="utf-8", newline="") as stream:
            writer = csv.writer(stream, lineterminator="\n")
            writer.writerow(figure.columns)
            writer.writerows(figure.rows)
    shutil.rmtree(folder, ignore_errors=True)
    part.replace(folder)
