"""A polar plot in the terminal: where the unbalance of one plane went from spin to spin, and the limit's circle."""

from collections.abc import Sequence
from itertools import pairwise
from math import cos, radians, sin, sqrt

from rich.console import Console
from rich.text import Text

from buildbook.balance.unbalance import Reading
from buildbook.views.canvas import Canvas

_ROWS, _COLUMNS = 15, 30
MARKS = "123456789abcdefghijklmnopqrstuvwxyz"


def polar_plot(title: str, readings: Sequence[Reading], limit: float | None) -> list[str]:
    """The lines of a plot, zero on top and angles clockwise as the machine counts them.

    The distance from the middle grows with the square root of the amount, so that the last spins can still be told
    apart beside the first. Spins are marked 1, 2, 3 … in order.
    """
    most = max([*(reading.amount for reading in readings), (limit or 0.0) * 1.5]) or 1.0
    canvas = Canvas(_COLUMNS, _ROWS)
    canvas.circle(1.0)
    if limit:
        canvas.circle(sqrt(limit / most), step=2)
    places = [_place(reading, most) for reading in readings]
    for (x, y), (next_x, next_y) in pairwise(places):
        canvas.line(x, y, next_x, next_y)
    for mark, (x, y) in zip(MARKS, places, strict=False):
        canvas.write(x, y, mark)
    scale = f"rim {most:.1f} g" + (f", inner circle {limit:.1f} g" if limit else "")
    lines = [f"{title:^{_COLUMNS + 8}}", f"{'0':^{_COLUMNS + 8}}"]
    for number, line in enumerate(canvas.lines()):
        left, right = ("270 ", " 90 ") if number == _ROWS // 2 else ("    ", "    ")
        lines.append(left + line + right)
    return [*lines, f"{'180':^{_COLUMNS + 8}}", f"{scale:^{_COLUMNS + 8}}"]


def draw_both(to: Console, plots: Sequence[Sequence[str]]) -> None:
    """The plots of both planes, side by side where there is room."""
    if to.width >= 77:
        for left, right in zip(*plots, strict=True):
            to.print(Text(f"{left} {right}".rstrip()))
    else:
        for plot in plots:
            to.print(Text("\n".join(each.rstrip() for each in plot)))


def _place(reading: Reading, most: float) -> tuple[float, float]:
    distance = sqrt(reading.amount / most)
    return distance * sin(radians(reading.angle)), distance * cos(radians(reading.angle))
