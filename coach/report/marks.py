"""What is drawn into a chart: dots, lines, bands and bars, as shapes for leather.

Shapes carry classes instead of colours, so that the style sheet can follow light, dark and
print.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from xml.etree import ElementTree as ET

DOT_RADIUS = 3


@dataclass(frozen=True, slots=True)
class _Mark:
    """What leather asks of every shape: no legend, the figure's text tells how to read it."""

    kind: str  # class in the style sheet

    def validate_series(self, _series: Any) -> bool:
        """Take any numbers."""
        return True

    def legend_to_svg(self, _series: Any, _palette: Any) -> list[Any]:
        """No legend."""
        return []

    def to_svg(
        self, width: float, height: float, x: Any, y: Any, series: Any, _palette: Any
    ) -> ET.Element:
        """The rows of `series`, projected to the canvas."""
        group = ET.Element("g", {"class": self.kind})
        rows = [datum.row for datum in series.data()]

        def at(day: float, value: float) -> tuple[float, float]:
            return x.project(day, 0, width), y.project(value, height, 0)

        self._draw(group, rows, at)
        return group

    def _draw(self, group: ET.Element, rows: Any, at: Any) -> None:
        raise NotImplementedError


class Dots(_Mark):
    """A dot for each (x, y)."""

    __slots__ = ()

    def _draw(self, group: ET.Element, rows: Any, at: Any) -> None:
        for row in rows:
            x, y = at(*row)
            ET.SubElement(group, "circle", {"cx": _n(x), "cy": _n(y), "r": str(DOT_RADIUS)})


class Line(_Mark):
    """One line through all (x, y)."""

    __slots__ = ()

    def _draw(self, group: ET.Element, rows: Any, at: Any) -> None:
        ET.SubElement(group, "polyline", {"points": _points([at(*row) for row in rows])})


class Band(_Mark):
    """An area between the lower and the upper edge: (x, y) there and back."""

    __slots__ = ()

    def _draw(self, group: ET.Element, rows: Any, at: Any) -> None:
        ET.SubElement(group, "polygon", {"points": _points([at(*row) for row in rows])})


class Stems(_Mark):
    """A line between two values at the same place, or two places at the same value:
    rows (x, y, x2, y2)."""

    __slots__ = ()

    def _draw(self, group: ET.Element, rows: Any, at: Any) -> None:
        for x, y, x2, y2 in rows:
            (left, top), (right, bottom) = at(x, y), at(x2, y2)
            move = f"M{_n(left)} {_n(top)}L{_n(right)} {_n(bottom)}"
            ET.SubElement(group, "path", {"d": move})


class Boxes(_Mark):
    """Filled boxes: rows (x, y, x2, y2), opposite corners."""

    __slots__ = ()

    def _draw(self, group: ET.Element, rows: Any, at: Any) -> None:
        for x, y, x2, y2 in rows:
            (left, bottom), (right, top) = at(x, y), at(x2, y2)
            box = {"x": _n(left), "y": _n(top), "rx": "1.5"}
            box |= {"width": _n(max(right - left, 1.0)), "height": _n(bottom - top)}
            ET.SubElement(group, "rect", box)


def _n(value: float) -> str:
    """A coordinate, short."""
    return f"{value:.1f}".removesuffix(".0")


def _points(places: list[tuple[float, float]]) -> str:
    return " ".join(f"{_n(x)},{_n(y)}" for x, y in places)
