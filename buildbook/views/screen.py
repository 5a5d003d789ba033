"""The one way onto the screen: user text is data, never markup, never a terminal escape."""

import sys
from collections.abc import Sequence
from shutil import get_terminal_size
from typing import TYPE_CHECKING, Literal

from rich.console import Console, ConsoleDimensions
from rich.text import Text

if TYPE_CHECKING:
    from rich.table import Table

BOLD, DIM, BAD, DOUBT, GOOD = "bold", "dim", "bold red", "yellow", "green"


def console(*, error: bool = False) -> Console:
    """A console that takes text as it is. NO_COLOR, COLUMNS and a pipe are honoured by rich itself."""
    to = Console(markup=False, highlight=False, emoji=False, stderr=error, soft_wrap=False)
    if to.is_dumb_terminal:  # rich takes it to be 80 wide
        to.size = ConsoleDimensions(*get_terminal_size())
    return to


_IN_ASCII = str.maketrans(
    {"±": "+/-", "→": "->", "…": "...", "·": "-", "×": "x", "°": " deg", "√": "root ", "−": "-", "“": '"', "”": '"',
     "⌀": "D", "²": "^2", "ω": "omega"}
)  # fmt: skip


def plain(text: object) -> str:
    """Text that cannot steer a terminal: line breaks become spaces, control and direction marks show as escapes."""
    safe = "".join(
        mark if mark.isprintable() else " " if mark in "\n\r\t\xa0" else f"\\u{ord(mark):04x}" for mark in str(text)
    )
    return safe if can_draw() else safe.replace(" °", "°").translate(_IN_ASCII)


def words(text: object, style: str = "") -> Text:
    return Text(plain(text), style=style)


def line(*parts: tuple[object, str] | str) -> Text:
    """A line of text from pieces, each plain or with a style."""
    result = Text()
    for part in parts:
        text, style = (part, "") if isinstance(part, str) else part
        result.append(plain(text), style=style)
    return result


def heading(to: Console, title: str, rest: str = "") -> None:
    to.print(line((title, BOLD), ("  " + rest if rest else "", DIM)))


Column = tuple[str, Literal["left", "right"]]


def table(*columns: Column) -> "Table":
    """A table whose right-aligned columns are figures, which are never cut or broken."""
    from rich import box
    from rich.table import Table

    result = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0), header_style="bold", show_edge=False)
    for title, side in columns:
        result.add_column(words(title), justify=side, no_wrap=side == "right", overflow="fold")
    return result


def row(to: "Table", *cells: object, style: str = "") -> None:
    to.add_row(*(cell if isinstance(cell, Text) else words(cell) for cell in cells), style=style)


def bar(share: float, width: int) -> str:
    """A bar of blocks for a share from 0 to 1; at least a sliver where there is anything at all."""
    eighths = round(min(max(share, 0.0), 1.0) * width * 8)
    if share > 0:
        eighths = max(eighths, 1)
    full, part = divmod(eighths, 8)
    blocks = "█" * full + (" ▏▎▍▌▋▊▉"[part] if part else "")
    return blocks if can_draw() else "#" * max(full, 1 if share > 0 else 0)


def strip(values: Sequence[float], width: int) -> str:
    """Where values lie between their least and greatest: a strip of dots, denser where several fall together."""
    low, high = min(values), max(values)
    counts = [0] * width
    for value in values:
        counts[round((value - low) / (high - low) * (width - 1)) if high > low else width // 2] += 1
    marks = "·•●█" if can_draw() else ".oO#"
    return "".join(marks[min(count, 3)] if count else " " if can_draw() else "-" for count in counts)


def can_draw() -> bool:
    """Whether standard output takes block characters."""
    return (sys.stdout.encoding or "").lower().replace("-", "").startswith("utf")
