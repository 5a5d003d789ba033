"""The bobweight cards, throw by throw."""

from rich import box
from rich.columns import Columns
from rich.console import Console
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from buildbook.balance.bobweights import Line, ThrowBobweight, as_one_weight
from buildbook.figures import Figures
from buildbook.figures.bobweights import BobweightFigures
from buildbook.quantities import fixed, two_figures
from buildbook.views.screen import BAD, BOLD, DIM, DOUBT, GOOD, Column, heading, line, plain, row, table, words

CAUTION = (
    "Caution: a bobweight that comes loose at speed is a projectile. Clamp both halves alike, check every bolt by "
    "hand, close the guard, and keep to the machine maker's speed."
)


_AS_SET: Column = ("as set", "right")


def draw_bobweights(to: Console, figures: Figures) -> None:
    """The target in large, a line for each throw, then the card of each throw."""
    worked_out = figures.bobweights
    heading(to, "Bobweights", figures.build.name)
    if not worked_out.wanted:
        to.print(line(("This crankshaft wants none. ", BOLD), worked_out.why))
        if worked_out.throws and worked_out.target:
            to.print(f"The throws' own weights are within {fixed(worked_out.target.spread, 1)} g of each other.")
        return
    for missing in worked_out.missing:
        to.print(line(("missing  ", DOUBT), missing))
    if worked_out.missing:
        return
    choice = f"factor {fixed(worked_out.factor or 0, 1).removesuffix('.0')} % of the reciprocating weight"
    oil = f"oil {fixed(worked_out.oil, 1)} g a throw" if worked_out.oil_stated else "no oil allowance"
    to.print(words(f"{choice}, {oil}: both choices of this build. Weights: {worked_out.basis}.", DIM))
    if worked_out.target:
        aim = worked_out.target
        to.print()
        total, half = (f"{fixed(aim.total, 1)} g", "bold reverse"), (f"{fixed(aim.half, 2)} g", BOLD)
        rest = f"   ± {two_figures(aim.uncertainty)} g"
        if len(worked_out.throws) > 1:
            rest += f"   throws within {fixed(aim.spread, 1)} g"
        to.print(line(("  TARGET  ", BOLD), total, "   each half ", half, rest))
    else:
        to.print(words("The throws carry different numbers of rods: set each to its own total.", DOUBT))
    if any(len(throw.pins) > 1 for throw in worked_out.throws.values()):
        said = (
            "Split pins: that is the weight of both pins. Hang each pin's own on it; clamped on as one weight midway "
            "between the two it would be too heavy: its card says what it must be instead."
        )
        to.print(words(said, DOUBT))
    to.print()
    _draw_throws(to, worked_out)
    cards = [_card(throw, worked_out) for throw in worked_out.throws.values()]
    to.print(Columns(cards, padding=(0, 1)))
    to.print(words(CAUTION, DIM))


def _draw_throws(to: Console, worked_out: BobweightFigures) -> None:
    roomy = to.width >= 76
    throws = table(
        ("throw", "left"), ("cylinders", "left"), ("rotating", "right"), ("recip.", "right"), ("total g", "right"),
        ("half", "right"), ("off", "right"), *([_AS_SET] if roomy else []),
    )  # fmt: skip
    for name, throw in worked_out.throws.items():
        off = throw.total - worked_out.target.total if worked_out.target else None
        row(
            throws,
            name,
            " ".join(throw.cylinders),
            fixed(throw.rotating, 1),
            fixed(throw.reciprocating, 1),
            Text(fixed(throw.total, 1), style=BOLD),
            fixed(throw.half, 2),
            fixed(off, 1, sign=True) if off is not None else "",
            *([_as_set(worked_out, name)] if roomy else []),
        )
    to.print(throws)
    to.print(words("off: from the target", DIM))
    if not roomy:
        as_set = table(("throw", "left"), _AS_SET)
        for name in worked_out.throws:
            row(as_set, name, _as_set(worked_out, name))
        to.print(as_set)


def _as_set(worked_out: BobweightFigures, throw: str) -> Text:
    done = worked_out.set.get(throw)
    if done is None:
        return words("not set", DIM)
    off = f" ({fixed(done.from_target, 1, sign=True)})" if done.from_target is not None else ""
    style = {True: GOOD, False: BAD, None: ""}[done.within_limit]
    return words(f"{fixed(done.weight, 1)}{off}{' OFF' if done.within_limit is False else ''}", style)


def _card(throw: ThrowBobweight, worked_out: BobweightFigures) -> Panel:
    lines = Table.grid(padding=(0, 1, 0, 0), expand=True)
    lines.add_column(overflow="fold")
    for _ in range(3):
        lines.add_column(justify="right", no_wrap=True)
    for each in throw.lines:
        lines.add_row(*_card_line(each))
    if worked_out.oil_stated:
        lines.add_row(words("oil"), words(""), words(""), words(fixed(throw.oil, 2)))
    lines.add_row()
    lines.add_row(words("TOTAL", BOLD), words(""), words(""), words(fixed(throw.total, 2), BOLD))
    lines.add_row(words("each half"), words(""), words(""), words(fixed(throw.half, 2)))
    if len(throw.pins) > 1:
        for pin in throw.pins:
            name = f"cyl. {' '.join(pin.cylinders)} at {pin.angle:g}°"
            lines.add_row(words(name, BOLD), "", "", words(fixed(pin.total, 2), BOLD))
            lines.add_row(words("  each half"), "", "", words(fixed(pin.half, 2)))
        lines.add_row(words("one, midway"), "", "", words(fixed(abs(as_one_weight(throw)), 2)))
    title = plain(f"throw {throw.throw}: cylinders {' '.join(throw.cylinders)}")
    return Panel(lines, title=Text(title, style=BOLD), width=39, padding=0, box=box.SQUARE)


def _card_line(each: Line) -> tuple[Text, ...]:
    times = f"×{each.count}" if each.count > 1 else ""
    factor = f"×{float(each.factor):g}" if each.reciprocating else ""
    name = line(each.what.removeprefix("rod ").replace(" with ", "+"), " ", (each.piece, BOLD))
    return name, words(fixed(each.weight, 2)), words(times + factor), words(fixed(each.amount, 2))
