"""The matching map for the wall: which piece goes where, as the engine is seen from the front."""

from rich import box
from rich.console import Console, Group, RenderableType
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from buildbook.figures import Figures
from buildbook.figures.cylinders import CylinderFigure
from buildbook.quantities import fixed
from buildbook.records.model import Lock
from buildbook.views.screen import BOLD, DIM, can_draw, heading, line, plain, words

_LOUD = "bold reverse"
_WIDTH = 78

# Figures three lines high, to be read from where the engine stands.
_DIGITS = {
    "0": ("█▀█", "█ █", "█▄█"),
    "1": ("▄█ ", " █ ", "▄█▄"),
    "2": ("▀▀█", "█▀▀", "█▄▄"),
    "3": ("▀▀█", " ▀█", "▄▄█"),
    "4": ("█ █", "▀▀█", "  █"),
    "5": ("█▀▀", "▀▀█", "▄▄█"),
    "6": ("█▀▀", "█▀█", "█▄█"),
    "7": ("▀▀█", "  █", "  █"),
    "8": ("█▀█", "█▀█", "█▄█"),
    "9": ("█▀█", "▀▀█", "▄▄█"),
}


def draw_map(to: Console, figures: Figures) -> None:
    """Cylinders in their banks, front of the engine on top; whatever is not certain is in a heavy frame and loud."""
    heading(to, "Matching map", figures.build.name)
    engine = figures.build.engine
    owner = engine.owner_name or engine.owner_ref
    to.print(words("  ".join(filter(None, (engine.description, f"for {owner}" if owner else None)))))
    pairing = figures.pairing
    if pairing is None:
        to.print(words(" NOT MATCHED ", _LOUD))
        to.print("No pairing has been decided. 'buildbook match' finds the best one, and '--write' records it.")
        return
    decision = pairing.decision
    decided = f"decided {decision.taken.text[:10]}" if decision.taken else "decided, no date"
    by = figures.build.shop.people.get(decision.by or "")
    to.print(words(f"{decided} by {(by.name if by else None) or decision.by or 'nobody named'}", DIM))
    if pairing.mean is not None and pairing.spread is not None:
        mean, spread = fixed(pairing.mean, 2), fixed(pairing.spread, 2)
        to.print(line("reciprocating weight: mean ", (f"{mean} g", BOLD), ", spread ", (f"{spread} g", BOLD)))
    banks = sorted(figures.layout.banks, key=lambda bank: figures.layout.banks[bank])
    columns = [[each for each in pairing.cylinders.values() if each.bank == bank] for bank in banks]
    width = min((_WIDTH - len(columns) + 1) // len(columns), 46)
    locks = figures.build.pairings.locks
    grid = Table.grid(padding=(0, 1, 0, 0))
    for _ in columns:
        grid.add_column(width=width)
    if len(banks) > 1:
        grid.add_row(*(words(f"{bank} bank".upper().center(width), BOLD) for bank in banks))
    for position in range(max(map(len, columns))):
        grid.add_row(
            *(_cylinder(column[position], locks, width) if position < len(column) else "" for column in columns)
        )
    to.print(words("as the engine is seen from the front, its front end on top", DIM))
    to.print(grid)
    strangers = [name for name in decision.cylinders if name not in pairing.cylinders]
    for name in strangers:
        to.print(words(f" CYLINDER {name} IS NOT IN THIS ENGINE ", _LOUD))


def _cylinder(cylinder: CylinderFigure, locks: tuple[Lock, ...], width: int) -> Panel:
    pieces = Table.grid(padding=(0, 2, 0, 0))
    if can_draw():
        shapes = [_DIGITS[digit] for digit in cylinder.cylinder if digit in _DIGITS]
        pieces.add_column(no_wrap=True)
        number = [Text("\n".join(" ".join(shape[row] for shape in shapes) for row in range(3)), style=BOLD)]
    else:
        number = []
    for _ in cylinder.pieces:
        pieces.add_column()
    kinds = [
        Text(kind.replace("_", " ").upper() + "\n").append(plain(piece), BOLD)
        for kind, piece in cylinder.pieces.items()
    ]
    alarms = [change.upper() for change in cylinder.changed]
    if not cylinder.pieces:
        alarms.append("NOT MATCHED")
    elif lacking := [kind for kind in ("rod", "piston", "pin") if kind not in cylinder.pieces]:
        alarms.append(f"NO {' OR '.join(lacking).upper()} NAMED")
    pieces.add_row(*number, *kinds)
    if cylinder.reciprocating is not None and cylinder.from_mean is not None:
        off = fixed(cylinder.from_mean, 2, sign=True)
        weight = line((f"{fixed(cylinder.reciprocating, 2)} g", BOLD), f"  {off} from mean")
    else:
        weight = words("not all weighed", BOLD)
    lines: list[RenderableType] = [pieces, weight, *(words(f" {alarm} ", _LOUD) for alarm in alarms)]
    lines += [words(f"locked: {lock.because or 'no reason given'}") for lock in locks if _holds(lock, cylinder)]
    return Panel(
        Group(*lines),
        title=Text(f"cylinder {cylinder.cylinder}, throw {cylinder.throw}", style=BOLD),
        title_align="left",
        box=box.HEAVY if alarms else box.SQUARE,
        width=width,
        padding=(0, 1),
    )


def _holds(lock: Lock, cylinder: CylinderFigure) -> bool:
    if lock.cylinder is not None:
        return lock.cylinder == cylinder.cylinder
    return any(cylinder.pieces.get(kind) == piece for kind, piece in lock.pieces.items())
