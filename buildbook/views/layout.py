"""A layout as a drawing: the engine from its front and from its side, when its cylinders fire, and as YAML."""

import json
import re
from cmath import phase, rect
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import pairwise
from math import cos, degrees, radians, sin

from rich.console import Console
from rich.table import Table
from rich.text import Text

from buildbook.balance.firing import Variant
from buildbook.balance.layouts import ANY_ANGLE, Layout
from buildbook.figures.layout import Drawn
from buildbook.views.canvas import Canvas
from buildbook.views.screen import BOLD, DIM, DOUBT, GOOD, Column, can_draw, heading, line, plain, row, table, words

_END_COLUMNS, _END_ROWS = 30, 15
_SIDE_ROWS = 7
_PIN_CIRCLE = 0.42  # of the end view's half height
_THROW_COLUMNS = 5  # that a throw needs in the side view
_BESIDE = 0.94  # two pins less than 40° apart, whose mean is cos 20° long, have one mark midway between them
_NAME = 8  # how much of a name the end view has room for; the lists beside it have all of it


def draw_layout(to: Console, drawn: Drawn, title: str, said: str) -> None:
    """End view with banks and pins, side view with throws and planes, and what can fire when."""
    heading(to, "Layout", f"{title}  {said}".strip())
    to.print()
    _draw_end(to, drawn)
    to.print()
    _draw_side(to, drawn)
    to.print()
    _draw_firing(to, drawn)


def draw_list(to: Console, known: Iterable[tuple[str, str, bool]]) -> None:
    """Every known layout by name, in plain words, and whether it can fire evenly."""
    heading(to, "Layouts", "that engine.yaml may name; any other is spelled out there")
    listing = table(("name", "left"), ("", "left"), ("fires", "left"))
    for name, said, even in known:
        row(listing, words(name, BOLD), said, words("evenly", GOOD) if even else "unevenly")
    to.print(listing)
    to.print(words(f"at any angle up to 180°: {', '.join(ANY_ANGLE)}", DIM))
    to.print(words("W, radial and anything else: 'buildbook layout --name NAME --spell' of the nearest, and change it",
                   DIM))  # fmt: skip


# ---- the end view


def _draw_end(to: Console, drawn: Drawn) -> None:
    """From the front, with what stands on which bank and throw beside it, or below where there is no room."""
    picture = Text("\n".join(_end_view(drawn.layout)))
    facts = _facts(drawn)
    to.print(line(("From the front", BOLD), ("  angles count with the rotation, drawn clockwise", DIM)))
    if to.width >= 76:
        beside = Table.grid(padding=(0, 2, 0, 0))
        beside.add_column(no_wrap=True)
        beside.add_column()
        beside.add_row(picture, facts)
        to.print(beside)
    else:
        to.print(picture)
        to.print(facts)


def _end_view(layout: Layout) -> list[str]:
    canvas = Canvas(_END_COLUMNS, _END_ROWS)
    canvas.circle(_PIN_CIRCLE, step=3)
    banks: dict[float, list[str]] = {}
    for bank, angle in layout.banks.items():
        banks.setdefault(angle % 360, []).append(bank)
        across, up = sin(radians(angle)), cos(radians(angle))
        side_x, side_y = 0.16 * up, -0.16 * across  # the two walls of the cylinder
        for side in (-1, 1):
            canvas.line(0.55 * across + side * side_x, 0.55 * up + side * side_y,
                        0.9 * across + side * side_x, 0.9 * up + side * side_y)  # fmt: skip
    for angle, names in banks.items():
        canvas.write(0.98 * sin(radians(angle)), 0.98 * cos(radians(angle)), " ".join(name[:_NAME] for name in names))
    marks: dict[float, list[str]] = {}
    for throw in layout.throws:
        pins = [rect(1, radians(pin.angle)) for pin in layout.pins(throw)]
        for pin in pins:
            canvas.line(0, 0, 0.8 * _PIN_CIRCLE * pin.imag, 0.8 * _PIN_CIRCLE * pin.real)
        midway = sum(pins) / len(pins)
        for marked in [midway] if abs(midway) > _BESIDE else pins:
            marks.setdefault(round(degrees(phase(marked)) % 360, 3), []).append(throw)
    for angle, throws in marks.items():
        x, y = _PIN_CIRCLE * sin(radians(angle)), _PIN_CIRCLE * cos(radians(angle))
        canvas.write(x, y, " ".join(name[:_NAME] for name in throws))
    lines = canvas.lines()
    drawn = [number for number, each in enumerate(lines) if each.strip()]
    return lines[drawn[0] : drawn[-1] + 1]


def _facts(drawn: Drawn) -> Table:
    layout = drawn.layout
    facts = Table.grid()
    banks = table(("bank", "left"), ("leans", "right"), ("cylinders", "left"))
    for bank, angle in layout.banks.items():
        in_bank = [name for name, each in layout.cylinders.items() if each.bank == bank]
        row(banks, words(bank, BOLD), _degrees(angle), ", ".join(in_bank))
    places: list[Column] = [("behind 1", "right")] if drawn.positions else []
    throws = table(("throw", "left"), ("pin", "right"), ("cylinders", "left"), *places)
    for name in layout.throws:
        behind = [f"{drawn.positions[name]:.1f} mm"] if drawn.positions else []
        for number, pin in enumerate(layout.pins(name)):
            first = number == 0
            told = behind if first else [""] * len(behind)
            row(throws, words(name if first else "", BOLD), _degrees(pin.angle), ", ".join(pin.cylinders), *told)
    facts.add_row(banks)
    facts.add_row("")
    facts.add_row(throws)
    return facts


def _degrees(angle: float) -> str:
    return f"{angle:g}°"


# ---- the side view


def _draw_side(to: Console, drawn: Drawn) -> None:
    """From the side, the front to the left and throw 1 as it stands: how far up or down each pin is."""
    layout = drawn.layout
    columns = min(to.width - 2, 76, 16 + 20 * len(layout.throws))
    to.print(line(("From the side", BOLD), ("  front to the left; how wide a throw is, is not to scale", DIM)))
    if columns // len(layout.throws) < _THROW_COLUMNS:
        to.print(words(f"{len(layout.throws)} throws do not fit side by side on this screen", DIM))
    else:
        to.print(Text("\n".join(plain(each) for each in _side_view(drawn, columns))))
    marks = [f"{_bearing()} main bearing"] if drawn.mains_between else []
    marks += [f"{name[:1].upper()} {name} spin plane" for name in drawn.planes] if drawn.positions else []
    if marks:
        to.print(words(", ".join(marks), DIM))
    if drawn.of_an_engine and drawn.positions is None:
        to.print(words("how far apart the throws are is not known (bore_spacing in engine.yaml): not to scale", DOUBT))
    if not drawn.mains_between and drawn.main_bearings is not None:
        said = f"{drawn.main_bearings} main bearings: between which throws they stand, engine.yaml does not say"
        to.print(words(said, DOUBT))


def _side_view(drawn: Drawn, columns: int) -> list[str]:
    layout = drawn.layout
    places = drawn.positions or {name: float(number) for number, name in enumerate(layout.throws)}
    at = list(places.values())
    step = min((after - before for before, after in pairwise(at) if after > before), default=100.0)
    planes = drawn.planes if drawn.positions else {}
    low = min([at[0] - 0.75 * step, *planes.values()])
    high = max([at[-1] + 0.75 * step, *planes.values()])
    canvas = Canvas(columns, _SIDE_ROWS)

    def x(place: float) -> float:
        return 2 * (place - low) / (high - low) - 1

    half = 0.3 * step
    ends = [low, *(each for place in at for each in (place - half, place + half)), high]
    for start, end in zip(ends[::2], ends[1::2], strict=True):
        canvas.line(x(start), 0, x(end), 0)
    for name, place in places.items():
        pins = layout.pins(name)
        heights = [0.8 * cos(radians(pin.angle)) for pin in pins]
        width = 2 * half / len(pins)
        edges = [(place - half + number * width, height) for number, height in enumerate(heights)]
        before = 0.0
        for edge, height in edges:
            canvas.line(x(edge), before, x(edge), height)
            canvas.line(x(edge), height, x(edge + width), height)
            before = height
        canvas.line(x(place + half), before, x(place + half), 0)
    between = [(before + after) / 2 for before, after in pairwise(at)]
    for place in [at[0] - 0.5 * step, *between, at[-1] + 0.5 * step] if drawn.mains_between else []:
        canvas.write(x(place), 0, _bearing())
    for name, place in planes.items():
        for part in range(-20, 21, 2):
            canvas.dot(x(place), part / 20)
        canvas.write(x(place), 1, name[:1].upper())
    angles = {name: " ".join(_degrees(pin.angle) for pin in layout.pins(name)) for name in places}
    below = [{name: name for name in places}, angles]
    return [
        *canvas.lines(),
        *(_under({x(places[name]): text for name, text in each.items()}, columns) for each in below),
    ]


def _under(texts: Mapping[float, str], columns: int) -> str:
    """A line with each text under its place, from -1 to 1; one that would touch the one before it is left out."""
    written = ""
    for place, shown in texts.items():
        text = plain(shown)
        start = max(round((place + 1) / 2 * (columns - 1)) - (len(text) - 1) // 2, 0)
        if start + len(text) <= columns and (not written or start > len(written)):
            written = written.ljust(start) + text
    return written


def _bearing() -> str:
    return "█" if can_draw() else "#"


# ---- firing

_VARIANTS: dict[Variant, str] = {
    "as_laid_out": "",
    "sides": "with the banks' sides exchanged: left and right change with the end that an engine is seen from",
    "mirror": "ON THE MIRROR IMAGE of this crankshaft, its throws the other way round",
    "mirror_and_sides": "ON THE MIRROR IMAGE of this engine",
}


def _draw_firing(to: Console, drawn: Drawn) -> None:
    fires, count = drawn.firing, len(drawn.layout.cylinders)
    to.print(line(("Firing", BOLD), ("  four strokes; degrees of the crankshaft", DIM)))
    if fires is not None:
        even = f"evenly, every {_degrees(720 / count)}" if fires.is_even else "unevenly"
        to.print(line("in the order of engine.yaml: ", (even, GOOD if fires.is_even else BOLD)))
        if said := _VARIANTS[fires.variant]:
            to.print(words(said, DIM if fires.variant == "sides" else DOUBT))
        rows = [[name, f"{at:g}", f"{gap:g}"] for (name, at), gap in zip(fires.angles.items(), fires.intervals,
                                                                         strict=True)]  # fmt: skip
        _draw_order(to, rows)
        return
    if drawn.order:
        to.print(words("the order of engine.yaml cannot be on this layout", DOUBT))
    each = "; ".join(f"{_degrees(top.angle)}: {', '.join(top.cylinders)}" for top in drawn.tops)
    to.print(words(f"pistons at the top, in each turn: {each}"))
    even = f"an order that fires evenly, every {_degrees(720 / count)}, is possible"
    if count > 1:
        to.print(words(even if drawn.could_be_even else "no order of these fires evenly"))


def _draw_order(to: Console, rows: Sequence[Sequence[str]]) -> None:
    """Cylinders in the order they fire, with the angle of each and how far on the next is; wrapped where it must be."""
    width = max(len(cell) for each in rows for cell in each) + 2
    room = max((to.width - 12) // width, 1)
    for start in range(0, len(rows), room):
        part = rows[start : start + room]
        for number, name in enumerate(("cylinder", "fires at", "next after")):
            cells = "".join(f"{each[number]:>{width}}" for each in part)
            to.print(line((f"{name:<10}", DIM), (cells, BOLD if number == 0 else "")))


# ---- as YAML

_plain_name = re.compile(r"[a-z][a-z0-9_]*|[1-9][0-9]?").fullmatch


def spelled(layout: Layout) -> Iterator[str]:
    """The lines that engine.yaml needs for this layout, spelled out."""
    banks = ", ".join(f"{_key(bank)}: {angle:g}" for bank, angle in layout.banks.items())
    yield "# into engine.yaml, whose units need 'angle: deg'"
    yield "layout:"
    yield f"  banks: {{{banks}}}    # from vertical, seen from the front, with the rotation"
    yield "  throws:"
    for throw, angle in layout.throws.items():
        carried = []
        for name, each in layout.cylinders.items():
            if each.throw == throw:
                own = each.pin_angle % 360 != angle % 360
                at = f"{{bank: {_key(each.bank)}, angle: {each.pin_angle:g}}}" if own else _key(each.bank)
                carried.append(f"{_key(name)}: {at}")
        yield f"    {_key(throw)}: {{angle: {angle:g}, cylinders: {{{', '.join(carried)}}}}}"


def _key(name: str) -> str:
    return name if _plain_name(name) else json.dumps(name)
