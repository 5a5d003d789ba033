"""A curve in the terminal, in half blocks, with what it is at its top and at its bottom, and a line at zero."""

from collections.abc import Callable, Sequence

from buildbook.views.screen import can_draw

LABEL = 7  # the width of what stands before the curve
_ROWS = 9
_SAMPLES = 8  # looked at in each column, so that steep parts hang together


def curve(
    value: Callable[[float], float],
    end: float,
    columns: int,
    text: Callable[[float], str],
    *,
    places: int,
    marks: Sequence[tuple[float, str]] = (),
) -> list[str]:
    """The lines of a curve of `value` from 0 to `end`, with an axis of quarters below.

    `text` writes a value beside its top and its bottom, which are looked for at so many even `places`, whatever the
    columns are, and at the marks. A mark is a place along the axis and the character that stands on the curve there.
    """
    samples = columns * _SAMPLES
    values = [value(end * number / (samples - 1)) for number in range(samples)]
    looked_at = [value(place) for place in (*(end * number / places for number in range(places + 1)), *dict(marks))]
    high, low = max(looked_at), min(looked_at)
    span = high - low or 1.0

    def level(height: float) -> int:
        """Which half line of the picture that is, from the top."""
        return min(max(round((high - height) / span * (2 * _ROWS - 1)), 0), 2 * _ROWS - 1)

    marked = {(level(each), number // _SAMPLES) for number, each in enumerate(values)}
    zero = level(0.0) // 2 if low <= 0 <= high else None
    labels = ({zero: "0"} if zero is not None else {}) | {_ROWS - 1: text(low), 0: text(high)}
    written = {
        (level(value(place)) // 2, min(int(place / end * columns), columns - 1)): character
        for place, character in marks
    }
    lines = []
    for number in range(_ROWS):
        background = ("─" if can_draw() else "-") if number == zero else " "
        cells = [
            written.get((number, column))
            or _cell((2 * number, column) in marked, (2 * number + 1, column) in marked, background)
            for column in range(columns)
        ]
        lines.append(f"{labels.get(number, ''):>{LABEL}} {''.join(cells)}")
    return [*lines, " " * (LABEL + 1) + _axis(end, columns)]


def _axis(end: float, columns: int) -> str:
    last = f"{end:g}"
    axis = [*"0".ljust(columns - len(last)), *last]
    for quarter in (1, 2, 3):
        label = f"{end * quarter / 4:g}"
        begin = quarter * (columns - 1) // 4 - len(label) // 2
        axis[begin : begin + len(label)] = label
    return "".join(axis)


def _cell(upper: bool, lower: bool, background: str) -> str:
    if not can_draw():
        return "*" if upper or lower else background
    return "█" if upper and lower else "▀" if upper else "▄" if lower else background
