"""The witness record on paper: everything that it says, and two lines to sign."""

from __future__ import annotations

from collections.abc import Iterator
from io import BytesIO
from typing import TYPE_CHECKING, Any

from edge.commissioning.table import Caution

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas
    from reportlab.platypus import Flowable
    from reportlab.platypus.doctemplate import BaseDocTemplate

MARGIN_MM = 16
WIDTHS_MM = (54, 62, 26, 36)


class NoPdf(OSError):
    """The installer's: this install lacks what paper needs."""


def witness_pdf(witness: dict[str, Any]) -> bytes:
    """A4 pages, the hash at the foot of each. Raises NoPdf."""
    try:
        from reportlab.lib.pagesizes import A4
        from reportlab.lib.units import mm
        from reportlab.platypus import SimpleDocTemplate
    except ImportError as fault:
        raise NoPdf(
            "no PDF was written: this install lacks it; pip install 'seafret[witness]'"
        ) from fault
    paper = BytesIO()
    document = SimpleDocTemplate(
        paper,
        pagesize=A4,
        leftMargin=MARGIN_MM * mm,
        rightMargin=MARGIN_MM * mm,
        topMargin=MARGIN_MM * mm,
        bottomMargin=MARGIN_MM * mm,
        title=f"Witness record of {witness['unit']}",
        author="seafret",
        invariant=True,
    )

    def foot(canvas: Canvas, template: BaseDocTemplate) -> None:
        canvas.setFont("Helvetica", 7)
        canvas.drawString(MARGIN_MM * mm, 9 * mm, f"sha256 {witness['sha256']}")
        canvas.drawRightString(A4[0] - MARGIN_MM * mm, 9 * mm, f"page {canvas.getPageNumber()}")

    document.build(list(_flow(witness)), onFirstPage=foot, onLaterPages=foot)
    return paper.getvalue()


def _flow(witness: dict[str, Any]) -> Iterator[Flowable]:
    from reportlab.lib.styles import getSampleStyleSheet
    from reportlab.platypus import Paragraph, Spacer

    styles = getSampleStyleSheet()
    yield Paragraph(f"Witness record: {_safe(witness['unit'])}", styles["Title"])
    standing = "IN SERVICE: every step has passed."
    if not witness["in_service"]:
        standing = "NOT IN SERVICE: steps are blank or failed."
    yield Paragraph(standing, styles["Heading3"])
    yield Paragraph(_safe(Caution.MONITORING.value), styles["BodyText"])
    yield Spacer(1, 8)
    yield _table([(name, _safe(text)) for name, text in _head(witness)], (40, 138), False)
    yield Spacer(1, 8)
    rows = [("step", "reading or entry", "figure", "allowed")]
    for step in witness["steps"]:
        rows += _rows(step)
    yield _table(rows, WIDTHS_MM, True)
    yield Spacer(1, 26)
    entered = next(s["entered"] for s in witness["steps"] if s["step"] == "people")
    names = [entered.get(key, "") for key in ("fitter", "witness")]
    lines = ["________________________________"] * 2
    yield _table([lines, [f"fitter: {names[0]}", f"witness: {names[1]}"]], (89, 89), False)


def _head(witness: dict[str, Any]) -> list[tuple[str, str]]:
    insulators = "; ".join(
        f"{one['id']} ({one['type']}, phase {one['phase'] or 'not named'}, {one['sensor_place']})"
        for one in witness["insulators"]
    )
    return [
        ("site", witness["site"]),
        ("insulators", insulators),
        ("begun, written", f"{witness['begun']}, {witness['written']} (UTC)"),
        ("software, settings", f"{witness['software']}, {witness['settings_sha']}"),
        ("sensors' hash", witness["subject_sha"]),
        ("machine", witness["machine"]),
    ]


def _rows(step: dict[str, Any]) -> Iterator[tuple[str, str, str, str]]:
    """The step with its verdict, then a row for each reading, entry and note."""
    subject = f" {step['insulator']}" if step["insulator"] else ""
    at = f"{step['at']}" if "at" in step else ""
    yield f"<b>{_safe(step['title'] + subject)}</b>", at, f"<b>{step['verdict'].upper()}</b>", ""
    for one in step["readings"]:
        figure = f"{one['figure']:.4g} {one['unit']}".strip()
        yield "", _safe(one["name"]), figure, one["allowed"]
    for key, answer in step["entered"].items():
        yield "", _safe(f"{key.replace('_', ' ')}: {answer}"), "", ""
    if missing := step.get("missing"):
        yield "", _safe(f"blank: {', '.join(missing)}"), "", ""
    if step["note"]:
        yield "", _safe(step["note"]), "", ""


def _safe(text: str) -> str:
    """Text as the paragraph's markup takes it."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _table(rows: list[Any], widths_mm: tuple[int, ...], ruled: bool) -> Flowable:
    from reportlab.lib.colors import Color
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.lib.units import mm
    from reportlab.platypus import Paragraph, Table

    style = ParagraphStyle("cell", fontName="Helvetica", fontSize=8, leading=10)
    cells = [[Paragraph(cell, style) for cell in row] for row in rows]
    table = Table(cells, colWidths=[w * mm for w in widths_mm], repeatRows=1 if ruled else 0)
    table.setStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("TOPPADDING", (0, 0), (-1, -1), 1)])
    table.setStyle([("BOTTOMPADDING", (0, 0), (-1, -1), 1)])
    if ruled:
        grey = Color(0.75, 0.75, 0.75)
        table.setStyle([("LINEBELOW", (0, 0), (-1, 0), 0.8, Color(0, 0, 0))])
        table.setStyle([("LINEBELOW", (0, 1), (-1, -1), 0.25, grey)])
    return table
