"""Readings from a file that a spreadsheet or a logger wrote: one line for each place or piece."""

import csv
import io
import re
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from buildbook.book.places import Misuse


class Row(NamedTuple):
    """One line of a table: where it stands, for messages; the piece, or the place with what divides it; the readings as
    written, with a point for a decimal comma."""

    where: str
    path: tuple[str, ...]
    texts: list[str]

    @property
    def name(self) -> str:
        """As it is named in one word: `R5`, `P1+N1`, `1/front`."""
        return "/".join(self.path)


_NAMES = ("place", "piece")  # the first name of a line that names the columns
_READINGS = ("reading", "weight")  # how the name of a column of readings begins


def rows(name: str) -> list[Row]:
    """The lines of a CSV file, or of standard input where it is named `-`. Raises Misuse with file and line.

    Columns are parted by commas, semicolons or tabs, whichever the first line has. A first line that begins with
    'piece' or 'place' names them (place, along, within, reading, reading…); without it, the readings are what begins
    with a digit. Lines that are empty or begin with # are passed over, and the `sep=;` that some spreadsheets write
    first.
    """
    text, shown = _text_of(name)
    first = next((line for line in text.split("\n") if line.strip() and not line.lstrip().startswith("#")), "")
    delimiter = next((mark for mark in (";", "\t") if mark in first), ",")
    lines = csv.reader(io.StringIO(text), delimiter=delimiter, strict=True)
    columns: list[str] | None = None
    found: list[Row] = []
    try:
        for cells in lines:
            at = f"{shown}:{lines.line_num}"
            cells = [cell.strip() for cell in cells]
            if not any(cells) or cells[0].startswith("#") or cells[0] == "sep=":
                continue
            if columns is None and not found and cells[0].casefold() in _NAMES:
                columns = [cell.casefold() for cell in cells]
                if not any(column.startswith(_READINGS) for column in columns):
                    raise Misuse(f"{at}: no column is named as one of readings", f"name it so: {cells[0]},reading")
                continue
            path, texts = _columns(cells, columns) if columns else _plain(cells)
            if not all(path):
                raise Misuse(f"{at}: no place is named, nor a piece", "begin each line with it, such as 1 or R5")
            if not texts:
                remedy = "add it; a line that names the columns begins with 'place' or 'piece'"
                raise Misuse(f"{at}: there is no reading in this line", remedy)
            found.append(Row(at, path, texts if delimiter == "," else [*map(_with_a_point, texts)]))
    except csv.Error as error:
        raise Misuse(f"{shown}:{lines.line_num}: this is no CSV: {error}", "save it as CSV again") from None
    return found


def _text_of(name: str) -> tuple[str, str]:
    try:
        content = sys.stdin.buffer.read() if name == "-" else Path(name).read_bytes()
        text = content.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
        return text, "standard input" if name == "-" else name
    except OSError as error:
        raise Misuse(f"{name}: {error.strerror}", "name a CSV file that can be read, or - for standard input") from None
    except UnicodeDecodeError:
        raise Misuse(f"{name}: this is no UTF-8 text", "save it as CSV in UTF-8") from None


def _columns(cells: Sequence[str], columns: Sequence[str]) -> tuple[tuple[str, ...], list[str]]:
    """By the names of the columns: the first is the piece or place, and a reading's begins with that word."""
    named = list(zip(columns, cells, strict=False))
    within = [next((cell for column, cell in named if column == wanted), "") for wanted in ("along", "within")]
    path = [cells[0], *within]
    while len(path) > 1 and not path[-1]:
        path.pop()
    return tuple(path), [cell for column, cell in named if column.startswith(_READINGS) and cell]


_begins_a_number = re.compile(r"[-+]?[.,]?[0-9]").match


def _plain(cells: Sequence[str]) -> tuple[tuple[str, ...], list[str]]:
    """Without named columns: the piece or place, then whatever is no number, then the readings."""
    path = [cells[0]]
    rest = list(cells[1:])
    while rest and len(path) < 3 and rest[0] and not _begins_a_number(rest[0]):
        path.append(rest.pop(0))
    return tuple(path), [cell for cell in rest if cell]


def _with_a_point(text: str) -> str:
    """A decimal comma as a point, where commas do not part the columns; anything else is left to be refused."""
    return re.sub(r"^([-+]?\d*),(\d+)(?=\s*[A-Za-z]|$)", r"\1.\2", text)
