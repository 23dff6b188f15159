"""A drawing put down on a page of PDF."""

from __future__ import annotations

from reportlab.lib.colors import HexColor
from reportlab.platypus import Flowable

from gateway.report.marks import Area, Dots, Drawing, Line, Mark, Words


class Drawn(Flowable):  # type: ignore[misc]
    """A drawing among the text. width: it is scaled to; None: its own."""

    def __init__(self, drawing: Drawing, plain: str, bold: str, width: float | None = None) -> None:
        super().__init__()
        self.drawing, self.fonts = drawing, (plain, bold)
        self.scale = 1.0 if width is None else width / drawing.width
        self.width = drawing.width * self.scale
        self.height = drawing.height * self.scale

    def wrap(self, *_: float) -> tuple[float, float]:
        """Its size, whatever room there is."""
        return self.width, self.height

    def draw(self) -> None:
        """Puts the marks down; the page counts upwards."""
        canvas = self.canv
        canvas.saveState()
        canvas.translate(0, self.height)
        canvas.scale(self.scale, -self.scale)
        for mark in self.drawing.marks:
            self._put(mark)
        canvas.restoreState()

    def _put(self, mark: Mark) -> None:
        canvas = self.canv
        if isinstance(mark, Words):
            self._write(mark)
            return
        colour = HexColor(mark.colour)
        canvas.setStrokeColor(colour)
        canvas.setFillColor(colour)
        if isinstance(mark, Dots):
            self._dots(mark)
            return
        path = canvas.beginPath()
        path.moveTo(*mark.points[0])
        for point in mark.points[1:]:
            path.lineTo(*point)
        if isinstance(mark, Area):
            path.close()
            canvas.drawPath(path, stroke=0, fill=1)
            return
        assert isinstance(mark, Line)
        canvas.setLineWidth(mark.width)
        canvas.setDash(*([list(mark.dash)] if mark.dash else []))
        canvas.drawPath(path, stroke=1, fill=0)

    def _dots(self, mark: Dots) -> None:
        """All in one path; small filled ones as squares, which the eye takes for dots."""
        canvas, r = self.canv, mark.radius
        canvas.setLineWidth(0.5)
        canvas.setDash()
        path = canvas.beginPath()
        for x, y in mark.points:
            if mark.shape == "cross":
                path.moveTo(x - r, y - r)
                path.lineTo(x + r, y + r)
                path.moveTo(x - r, y + r)
                path.lineTo(x + r, y - r)
            elif mark.shape == "dot" and r < 1.0:
                path.rect(x - 0.8 * r, y - 0.8 * r, 1.6 * r, 1.6 * r)
            else:
                path.circle(x, y, r)
        filled = mark.shape == "dot"
        canvas.drawPath(path, stroke=not filled, fill=filled)

    def _write(self, mark: Words) -> None:
        canvas = self.canv
        canvas.saveState()
        canvas.translate(*mark.at)
        canvas.scale(1, -1)
        canvas.setFont(self.fonts[mark.bold], mark.size)
        canvas.setFillColor(HexColor(mark.colour))
        put = {
            "start": canvas.drawString,
            "middle": canvas.drawCentredString,
            "end": canvas.drawRightString,
        }[mark.anchor]
        put(0, 0, mark.text)
        canvas.restoreState()
