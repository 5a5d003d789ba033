"""A drawing in the terminal: dots in braille, and text written over them."""

from math import cos, pi, sin

from buildbook.views.screen import can_draw, plain

# A braille character holds 2 × 4 dots; the bit of each dot by its row and column.
_DOTS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))


class Canvas:
    """A field of dots from -1 to 1 each way, drawn in braille, or in full stops where there is none.

    A character is twice as high as it is wide, so that a circle is round on twice as many columns as rows.
    """

    def __init__(self, columns: int, rows: int) -> None:
        self.columns = columns
        self.rows = rows
        self.bits = [[0] * columns for _ in range(rows)]
        self.marks: dict[tuple[int, int], str] = {}

    def dot(self, x: float, y: float) -> None:
        column = round((x + 1) / 2 * (self.columns * 2 - 1))
        row = round((1 - y) / 2 * (self.rows * 4 - 1))
        self.bits[row // 4][column // 2] |= _DOTS[row % 4][column % 2]

    def line(self, x: float, y: float, to_x: float, to_y: float) -> None:
        dots = 2 * max(self.columns, self.rows)
        for part in range(dots + 1):
            self.dot(x + (to_x - x) * part / dots, y + (to_y - y) * part / dots)

    def circle(self, radius: float, step: int = 1) -> None:
        dots = max(12, int(radius * 180))
        for part in range(0, dots, step):
            self.dot(radius * sin(2 * pi * part / dots), radius * cos(2 * pi * part / dots))

    def write(self, x: float, y: float, text: str) -> None:
        """Text whose middle is at a place, moved inward where it would leave the field."""
        shown = plain(text)[: self.columns]
        row = round((1 - y) / 2 * (self.rows - 1))
        first = round((x + 1) / 2 * (self.columns - 1) - (len(shown) - 1) / 2)
        first = min(max(first, 0), self.columns - len(shown))
        self.marks |= {(row, first + number): mark for number, mark in enumerate(shown)}

    def lines(self) -> list[str]:
        def cell(row: int, column: int) -> str:
            bits = self.bits[row][column]
            dots = (chr(0x2800 + bits) if can_draw() else ".") if bits else " "
            return self.marks.get((row, column), dots)

        return ["".join(cell(row, column) for column in range(self.columns)) for row in range(self.rows)]
