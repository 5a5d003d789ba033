"""The matching map for the wall: which piece goes where, as the engine is seen from the front."""

from rich import box
from rich.cells import cell_len
from rich.console import Console, Group, RenderableType
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from buildbook.figures import Figures
from buildbook.figures.cylinders import CylinderFigure
from buildbook.figures.lengths import Ruler
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
    """Cylinders in their banks, the front of the engine nearest; what is not certain is in a heavy frame and loud."""
    heading(to, "Matching map", figures.build.name)
    engine = figures.build.engine
    owner = engine.owner_name or engine.owner_ref
    to.print(words("  ".join(filter(None, (engine.description, f"for {owner}" if owner else None)))))
    pairing = figures.pairing
    if pairing is None:
        to.print(words(" NOT MATCHED ", _LOUD))
        to.print("No pairing has been decided. 'buildbook match' finds the best one, and '--write' records it.")
        for lock in figures.build.pairings.locks:
            to.print(words(locked(lock)))
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
    room = min(_WIDTH, to.width) - len(columns) + 1
    width = min(room // len(columns), 46)
    grid = Table.grid(padding=(0, 1, 0, 0))
    for _ in columns:
        grid.add_column(width=width)
    for position in reversed(range(max(map(len, columns)))):
        grid.add_row(
            *(_cylinder(column[position], figures, width) if position < len(column) else "" for column in columns)
        )
    if len(banks) > 1:
        grid.add_row(*(words(f"{bank.replace('_', ' ')} bank".upper().center(width), BOLD) for bank in banks))
    to.print(words("rear of the engine", DIM))
    to.print(grid)
    to.print(line(("FRONT of the engine", BOLD), ": the map is laid out as you see it standing here"))
    for name in decision.cylinders:
        if name not in pairing.cylinders:
            to.print(words(f" CYLINDER {name} IS NOT IN THIS ENGINE ", _LOUD))


def _cylinder(cylinder: CylinderFigure, figures: Figures, width: int) -> Panel:
    locks, ruler = figures.build.pairings.locks, Ruler(figures.build.shop)
    alarms = [change.upper() for change in cylinder.changed]
    if not cylinder.pieces:
        alarms.append("NOT MATCHED")
    elif lacking := [kind for kind in ("rod", "piston", "pin") if kind not in cylinder.pieces]:
        alarms.append(f"NO {' OR '.join(lacking).upper()} NAMED")
    if cylinder.reciprocating is not None and cylinder.from_mean is not None:
        off = fixed(cylinder.from_mean, 2, sign=True)
        weight = line((f"{fixed(cylinder.reciprocating, 2)} g", BOLD), f"  {off} from mean")
    else:
        weight = words("not all weighed", BOLD)
    lines: list[RenderableType] = [_pieces(cylinder, width - 4), weight]
    bore = figures.measured.get("cylinder_bore", {}).get(cylinder.cylinder)
    if bore is not None:
        size = line("bore ", (ruler.text(bore.mean, bore.smallest.decimals), BOLD), f" {ruler.unit}")
        for fit in figures.fits.of("piston_clearance"):
            if fit.place == cylinder.cylinder:
                size.append_text(line(", clearance ", (ruler.text(fit.value, fit.decimals), BOLD)))
                alarms += [f"PISTON CLEARANCE {fit.verdict.upper()}"] if fit.verdict in {"under", "over"} else []
        lines.append(size)
    for ring in figures.fits.filing:
        if ring.cylinder == cylinder.cylinder and ring.file > 0 and not ring.practice:
            alarms.append(f"FILE {ring.ring.replace('_', ' ').upper()} {ruler.text(ring.file, 3)}")
    lines += [words(f" {alarm} ", _LOUD) for alarm in alarms]
    title = f"cylinder {cylinder.cylinder}, throw {cylinder.throw}"
    lines += [words(f"locked: {lock.because or 'no reason given'}") for lock in locks if _holds(lock, cylinder)]
    return Panel(
        Group(*lines),
        title=Text(plain(title if len(title) < width - 4 else cylinder.cylinder), style=BOLD),
        title_align="left",
        box=box.HEAVY if alarms else box.SQUARE,
        width=width,
        padding=(0, 1),
    )


def _pieces(cylinder: CylinderFigure, room: int) -> Table:
    """The cylinder's number, large, and its pieces side by side; one below the other where they are too long."""
    named = [(kind.replace("_", " ").upper(), plain(piece)) for kind, piece in cylinder.pieces.items()]
    shapes = [_DIGITS[digit] for digit in cylinder.cylinder if digit in _DIGITS] if can_draw() else []
    number = Text("\n".join(" ".join(shape[row] for shape in shapes) for row in range(3)), style=BOLD)
    side_by_side = sum(max(len(kind), cell_len(piece)) + 2 for kind, piece in named) + 4 * len(shapes) + 2 <= room
    grid = Table.grid(padding=(0, 2, 0, 0))
    if shapes:
        grid.add_column(no_wrap=True)
    if side_by_side:
        for _ in named:
            grid.add_column(no_wrap=True)
        cells = [Text(f"{kind}\n").append(piece, BOLD) for kind, piece in named]
    else:
        grid.add_column(overflow="fold")
        cells = [Text("\n").join(Text(f"{kind}\n").append(piece, BOLD) for kind, piece in named)]
    grid.add_row(*([number] if shapes else []), *cells)
    return grid


def _holds(lock: Lock, cylinder: CylinderFigure) -> bool:
    here = lock.cylinder in {None, cylinder.cylinder}
    return here and any(cylinder.pieces.get(kind) == piece for kind, piece in lock.pieces.items())


def locked(lock: Lock) -> str:
    """A lock in words: what stays together or where it is, and why."""
    pieces = " and ".join(f"{kind.replace('_', ' ')} {piece}" for kind, piece in lock.pieces.items())
    where = f" in cylinder {lock.cylinder}" if lock.cylinder else ""
    return f"locked: {pieces}{where} ({lock.because or 'no reason given'})"
