"""The document as one HTML file that loads nothing from anywhere."""

from __future__ import annotations

from jinja2 import Environment, PackageLoader, select_autoescape
from markupsafe import Markup

from gateway.report.blocks import Cell, Document, Figure, Figures, Heading, Prose, Table
from gateway.report.marks import Drawing, svg

TEMPLATE = "report.html"


def html(document: Document) -> str:
    """The whole page, drawings within."""
    environment = Environment(
        loader=PackageLoader("gateway.report", "templates"),
        autoescape=select_autoescape(),
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.tests |= {
        "heading": lambda one: isinstance(one, Heading),
        "prose": lambda one: isinstance(one, Prose),
        "table": lambda one: isinstance(one, Table),
        "figures": lambda one: isinstance(one, Figures),
    }
    environment.filters |= {"cell": _cell, "drawn": _drawn}
    return environment.get_template(TEMPLATE).render(document=document)


def _cell(cell: Cell) -> Markup | str:
    return Markup(svg(cell)) if isinstance(cell, Drawing) else cell


def _drawn(figure: Figure) -> Markup:
    return Markup(svg(figure.drawing, figure.caption))
