"""A picture of a figure between its limits."""

from collections.abc import Iterable

from buildbook.views.screen import can_draw


def gauge(value: float, spread: float, limits: tuple[float | None, float | None], ends: tuple[float, float]) -> str:
    """Where a figure lies between its limits, on a scale with these ends: a bar for each limit, a dot for the value, a
    line for ± its spread."""
    low, high = ends
    line, dot, bar = ("─", "●", "│") if can_draw() else ("-", "o", "|")

    def place(figure: float) -> int:
        return min(max(round((figure - low) / (high - low) * (_WIDTH - 1)), 0), _WIDTH - 1)

    marks = [" "] * _WIDTH
    for at in range(place(value - spread), place(value + spread) + 1):
        marks[at] = line
    for limit in limits:
        if limit is not None:
            marks[place(limit)] = bar
    marks[place(value)] = dot
    return "".join(marks)


_WIDTH = 15


def ends_of(figures: Iterable[float | None]) -> tuple[float, float]:
    """The ends of a scale that holds all these figures, with a little room on both sides."""
    known = [each for each in figures if each is not None]
    room = (max(known) - min(known)) / 10 or 1e-6
    return min(known) - room, max(known) + room
