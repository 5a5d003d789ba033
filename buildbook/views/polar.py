"""A polar plot in the terminal: where the unbalance of one plane went from spin to spin, and the limit's circle."""

from collections.abc import Sequence
from itertools import pairwise
from math import cos, pi, radians, sin, sqrt

from buildbook.balance.unbalance import Reading
from buildbook.views.screen import can_draw

_ROWS, _COLUMNS = 15, 30
# A braille character holds 2 × 4 dots; the bit of each dot by its row and column.
_DOTS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
MARKS = "123456789abcdefghijklmnopqrstuvwxyz"


def polar_plot(title: str, readings: Sequence[Reading], limit: float | None) -> list[str]:
    """The lines of a plot, zero on top and angles clockwise as the machine counts them.

    The distance from the middle grows with the square root of the amount, so that the last spins can still be told
    apart beside the first. Spins are marked 1, 2, 3 … in order.
    """
    most = max([*(reading.amount for reading in readings), (limit or 0.0) * 1.5]) or 1.0
    canvas = _Canvas()
    canvas.circle(1.0)
    if limit:
        canvas.circle(sqrt(limit / most), step=2)
    places = [_place(reading, most) for reading in readings]
    for (x, y), (next_x, next_y) in pairwise(places):
        for part in range(1, 40):
            canvas.dot(x + (next_x - x) * part / 40, y + (next_y - y) * part / 40)
    for mark, (x, y) in zip(MARKS, places, strict=False):
        canvas.write(x, y, mark)
    scale = f"rim {most:.1f} g" + (f", inner circle {limit:.1f} g" if limit else "")
    lines = [f"{title:^{_COLUMNS + 8}}", f"{'0':^{_COLUMNS + 8}}"]
    for number, line in enumerate(canvas.lines()):
        left, right = ("270 ", " 90 ") if number == _ROWS // 2 else ("    ", "    ")
        lines.append(left + line + right)
    return [*lines, f"{'180':^{_COLUMNS + 8}}", f"{scale:^{_COLUMNS + 8}}"]


def _place(reading: Reading, most: float) -> tuple[float, float]:
    distance = sqrt(reading.amount / most)
    return distance * sin(radians(reading.angle)), distance * cos(radians(reading.angle))


class _Canvas:
    """A square of dots from -1 to 1 each way, drawn in braille, or in full stops where there is none."""

    def __init__(self) -> None:
        self.bits = [[0] * _COLUMNS for _ in range(_ROWS)]
        self.marks: dict[tuple[int, int], str] = {}

    def dot(self, x: float, y: float) -> None:
        column = round((x + 1) / 2 * (_COLUMNS * 2 - 1))
        row = round((1 - y) / 2 * (_ROWS * 4 - 1))
        self.bits[row // 4][column // 2] |= _DOTS[row % 4][column % 2]

    def circle(self, radius: float, step: int = 1) -> None:
        dots = max(12, int(radius * 180))
        for part in range(0, dots, step):
            self.dot(radius * sin(2 * pi * part / dots), radius * cos(2 * pi * part / dots))

    def write(self, x: float, y: float, mark: str) -> None:
        row, column = round((1 - y) / 2 * (_ROWS - 1)), round((x + 1) / 2 * (_COLUMNS - 1))
        self.marks[row, column] = mark

    def lines(self) -> list[str]:
        def cell(row: int, column: int) -> str:
            bits = self.bits[row][column]
            dots = (chr(0x2800 + bits) if can_draw() else ".") if bits else " "
            return self.marks.get((row, column), dots)

        return ["".join(cell(row, column) for column in range(_COLUMNS)) for row in range(_ROWS)]
