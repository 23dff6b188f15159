"""The document as PDF: A4, one embedded family of letters, drawings as vectors."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import matplotlib
from reportlab.lib.colors import HexColor
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    KeepTogether,
    PageBreak,
    PageTemplate,
    Paragraph,
    Spacer,
    TableStyle,
)
from reportlab.platypus import Table as Laid

from gateway.report.blocks import Cell, Document, Figures, Heading, Prose, Table
from gateway.report.marks import FAINT, INK, MUTED, PALE
from gateway.report.pdf_drawing import Drawn

MARGIN = 14 * mm
WIDTH = A4[0] - 2 * MARGIN
STRETCH_MOST = 1.1
"""A narrow figure that stands alone is not blown up to the page's width."""
PLAIN, BOLD = "Seafret", "Seafret-Bold"


def write_pdf(document: Document, path: Path) -> None:
    """Writes the file; the same document gives the same bytes."""
    _letters()
    frame = Frame(MARGIN, MARGIN + 4 * mm, WIDTH, A4[1] - 2 * MARGIN - 4 * mm, 0, 0, 0, 0)
    template = BaseDocTemplate(
        str(path), pagesize=A4, title=document.title, author="seafret", invariant=1
    )

    def foot(canvas: Canvas, _: Any) -> None:
        canvas.setFont(PLAIN, 6.5)
        canvas.setFillColor(HexColor(MUTED))
        canvas.drawString(MARGIN, MARGIN - 2 * mm, document.foot)
        canvas.drawRightString(A4[0] - MARGIN, MARGIN - 2 * mm, f"page {canvas.getPageNumber()}")

    template.addPageTemplates(PageTemplate("page", [frame], onPage=foot))
    template.build(list(_story(document)))


@cache
def _letters() -> None:
    """The family that the plotting library carries, so that names in any of its scripts print."""
    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    pdfmetrics.registerFont(TTFont(PLAIN, str(folder / "DejaVuSans.ttf")))
    pdfmetrics.registerFont(TTFont(BOLD, str(folder / "DejaVuSans-Bold.ttf")))


def _style(size: float, colour: str = INK, bold: bool = False, **more: Any) -> ParagraphStyle:
    return ParagraphStyle(
        "", fontName=BOLD if bold else PLAIN, fontSize=size, leading=size * 1.32,
        textColor=HexColor(colour), **more,
    )  # fmt: skip


HEADINGS = {1: _style(14, bold=True, spaceAfter=4), 2: _style(10, bold=True, spaceBefore=8,
            spaceAfter=3), 3: _style(10, bold=True, spaceBefore=8, spaceAfter=0)}  # fmt: skip
PROSE = {
    "plain": _style(8, spaceAfter=3),
    "note": _style(6.8, MUTED, spaceAfter=3),
    "lead": _style(10.5, spaceBefore=6, spaceAfter=5),
    "caution": _style(7.5, spaceBefore=2, spaceAfter=3, leftIndent=7),
}


def _story(document: Document) -> Iterator[Flowable]:
    yield Paragraph(escape(document.title), _style(16, bold=True, spaceAfter=3))
    yield Paragraph(escape(document.subtitle), PROSE["note"])
    blocks = list(document.blocks)
    at = 0
    while at < len(blocks):
        block = blocks[at]
        if isinstance(block, Heading):
            yield from _heading(block)
        elif isinstance(block, Prose):
            yield from _prose(block)
        elif isinstance(block, Table):
            yield _table(block)
            yield Spacer(1, 4)
        else:
            yield _figures(block)
        at += 1


def _heading(block: Heading) -> Iterator[Flowable]:
    if block.new_page:
        yield PageBreak()
    elif block.level == 3:
        yield CondPageBreak(120 * mm)
        yield _rule()
    else:
        yield CondPageBreak(55 * mm)
    yield Paragraph(escape(block.text), HEADINGS[block.level])


def _rule() -> Flowable:
    ruled = Laid([[""]], colWidths=[WIDTH], rowHeights=[3])
    ruled.setStyle(TableStyle([("LINEBELOW", (0, 0), (-1, -1), 0.6, HexColor(FAINT))]))
    return ruled


def _prose(block: Prose) -> Iterator[Flowable]:
    told = Paragraph(escape(block.text), PROSE[block.style])
    if block.style != "caution":
        yield told
        return
    barred = Laid([[told]], colWidths=[WIDTH])
    barred.setStyle(
        TableStyle([("LINEBEFORE", (0, 0), (0, -1), 2, HexColor(INK)), *_padding(1, 1, 0, 0)])
    )
    yield barred
    yield Spacer(1, 3)


def _padding(top: float, bottom: float, left: float, right: float) -> list[tuple[Any, ...]]:
    sides = (("TOP", top), ("BOTTOM", bottom), ("LEFT", left), ("RIGHT", right))
    return [(f"{side}PADDING", (0, 0), (-1, -1), by) for side, by in sides]


def _table(block: Table) -> Flowable:
    size = 6.4 if block.small else 7.4
    head = [_words(one, size, MUTED, k in block.right, False) for k, one in enumerate(block.head)]
    rows = [
        [_cell(one, size, k in block.right, k in block.bold) for k, one in enumerate(row)]
        for row in block.rows
    ]
    whole = sum(block.widths)
    laid = Laid(
        [head, *rows], colWidths=[WIDTH * one / whole for one in block.widths], repeatRows=1,
        hAlign="LEFT",
    )  # fmt: skip
    laid.setStyle(
        TableStyle(
            [
                ("LINEBELOW", (0, 0), (-1, 0), 0.6, HexColor(INK)),
                ("LINEBELOW", (0, 1), (-1, -1), 0.4, HexColor(PALE)),
                ("VALIGN", (0, 0), (-1, 0), "BOTTOM"),
                ("VALIGN", (0, 1), (-1, -1), "TOP"),
                *_padding(1.5, 18 if block.tall else 1.5, 0, 4),
            ]
        )
    )
    return laid


def _cell(cell: Cell, size: float, right: bool, bold: bool) -> Flowable:
    return (
        _words(cell, size, INK, right, bold) if isinstance(cell, str) else Drawn(cell, PLAIN, BOLD)
    )


def _words(text: str, size: float, colour: str, right: bool, bold: bool) -> Paragraph:
    more = {"alignment": TA_RIGHT} if right else {}
    return Paragraph(escape(text), _style(size, colour, bold, **more))


def _figures(block: Figures) -> Flowable:
    """Side by side, each over its caption."""
    gap = 8.0
    width = (WIDTH - gap * (len(block.figures) - 1)) / len(block.figures)
    drawn = [
        Drawn(one.drawing, PLAIN, BOLD, min(width, STRETCH_MOST * one.drawing.width))
        for one in block.figures
    ]
    captions = [
        Paragraph(escape(f"Figure {one.number}. {one.caption} {one.csv_name}"), _style(6, MUTED))
        for one in block.figures
    ]
    laid = Laid([drawn, captions], colWidths=[width + gap] * len(block.figures), hAlign="LEFT")
    laid.setStyle(TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), *_padding(1, 1, 0, gap)]))
    return KeepTogether([laid, Spacer(1, 3)])
