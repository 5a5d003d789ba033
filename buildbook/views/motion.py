"""Displacement, the motion of a piston over a turn, and the load on a rod bolt."""

from collections.abc import Callable
from itertools import zip_longest

from rich.console import Console
from rich.text import Text

from buildbook.figures import Figures
from buildbook.figures.lengths import Ruler
from buildbook.figures.motion import BOLTS, Moment, MotionFigures, in_gravities
from buildbook.quantities import fixed
from buildbook.views.screen import BOLD, DIM, DOUBT, bar, can_draw, heading, line, row, table, words

_LABEL, _ROWS = 7, 9
_SAMPLES = 8  # looked at in each column of a picture, so that steep parts hang together


def draw_motion(to: Console, figures: Figures, found: MotionFigures) -> None:
    ruler = Ruler(figures.build.shop)
    heading(to, "Motion", figures.build.name)
    to.print(words(f"{ruler.unit}; angles in degrees after top dead centre", DIM))
    to.print()
    _draw_engine(to, ruler, found)
    _draw_speeds(to, found)
    _draw_pictures(to, ruler, found)
    _draw_table(to, ruler, found)
    _draw_rod_bolt(to, found)


def _per_second_twice() -> str:
    """The unit of acceleration, as the terminal can write it."""
    return "m/s²" if can_draw() else "m/s2"


def _draw_engine(to: Console, ruler: Ruler, found: MotionFigures) -> None:
    each = f"{fixed(found.cylinder_displacement, 1)} cc"
    if found.displacement is not None:
        whole = line((f"{fixed(found.displacement, 0)} cc", BOLD),
                     f"  {fixed(found.displacement / 1000, 2)} l, {found.cylinders} × {each}")  # fmt: skip
    else:
        whole = line((each, BOLD), ("  of each cylinder: how many there are, the layout in engine.yaml says", DOUBT))
    bore, stroke, rod = (ruler.text(size, 2) for size in (found.bore, found.stroke, found.rod_length))
    listing = table(("", "left"), ("", "left"))
    listing.show_header = False
    row(listing, "displacement", whole)
    row(listing, "bore × stroke", line((f"{bore} × {stroke}", BOLD), f"  {fixed(found.bore_to_stroke, 3)} to 1"))
    ratio = line(
        (fixed(found.rod_ratio, 3), BOLD), f"  rod {rod} over stroke; crank over rod {fixed(found.crank_to_rod, 4)}"
    )
    row(listing, "rod ratio", ratio)
    to.print(listing)


def _draw_speeds(to: Console, found: MotionFigures) -> None:
    to.print()
    if found.speed is None or found.mean_piston_speed is None or found.fastest is None:
        said = "No speed is known: give --speed RPM, or balance: {max_speed: …} in build.yaml."
        to.print(words(said, DOUBT))
        return
    to.print(line((f"At {found.speed:g} rpm", BOLD), (f"  {found.speed_from}", DIM)))
    angle, highest = found.fastest
    listing = table(("piston", "left"), ("m/s", "right"), (_per_second_twice(), "right"), ("g", "right"), ("", "left"))
    row(listing, "mean speed", words(fixed(found.mean_piston_speed, 2), BOLD), "", "", "two strokes a turn")
    at = f"at {fixed(angle, 1)}° going down and {fixed(360 - angle, 1)}° coming up"
    row(listing, "highest speed", words(fixed(highest, 2), BOLD), "", "", at)
    for name, moment, way in (("at the top", found.top, "down"), ("at the bottom", found.bottom, "up")):
        pull = moment.acceleration or 0.0
        row(listing, name, "", words(fixed(pull, 0), BOLD), fixed(in_gravities(pull), 0), f"{way}wards")
    to.print(listing)


def _draw_pictures(to: Console, ruler: Ruler, found: MotionFigures) -> None:
    """Where the piston is over a turn and, at a speed, how hard it is accelerated."""
    columns = 29 if to.width < 110 else 45
    place = _picture(found, columns, lambda moment: -moment.travel, lambda below: ruler.text(-below, 1))
    pictures = [[_titled("below top dead centre", columns), *place]]
    if found.speed is not None:
        pull = _picture(found, columns, lambda moment: moment.acceleration or 0.0, lambda pull: fixed(pull, 0))
        pictures.append([_titled(f"acceleration downwards, {_per_second_twice()}", columns), *pull])
    to.print()
    if len(pictures) > 1 and to.width >= 2 * (_LABEL + 1 + columns) + 2:
        for left, right in zip_longest(*pictures):
            to.print(Text(f"{left}  {right}".rstrip()))
    else:
        for picture in pictures:
            to.print(Text("\n".join(each.rstrip() for each in picture)))


def _titled(title: str, columns: int) -> str:
    return " " * (_LABEL + 1) + words(f"{title:^{columns}}").plain


def _picture(
    found: MotionFigures, columns: int, value: Callable[[Moment], float], text: Callable[[float], str]
) -> list[str]:
    """A curve over one turn, with what it is at its top and at its bottom, and a line at zero."""
    samples = columns * _SAMPLES
    values = [value(found.at(360 * number / (samples - 1))) for number in range(samples)]
    every_degree = [value(found.at(angle)) for angle in range(361)]  # what it reaches does not depend on the columns
    high, low = max(every_degree), min(every_degree)

    def level(height: float) -> int:
        """Which half line of the picture that is, from the top."""
        return round((high - height) / (high - low) * (2 * _ROWS - 1))

    marked = {(level(each), number // _SAMPLES) for number, each in enumerate(values)}
    zero = level(0.0) // 2
    labels = {zero: "0", _ROWS - 1: text(low), 0: text(high)}
    lines = []
    for number in range(_ROWS):
        background = ("─" if can_draw() else "-") if number == zero else " "
        cells = [
            _cell((2 * number, column) in marked, (2 * number + 1, column) in marked, background)
            for column in range(columns)
        ]
        lines.append(f"{labels.get(number, ''):>{_LABEL}} {''.join(cells)}")
    axis = [*"0".ljust(columns - 3), *"360"]
    for quarter, angle in enumerate(("90", "180", "270"), start=1):
        begin = quarter * (columns - 1) // 4 - len(angle) // 2
        axis[begin : begin + len(angle)] = angle
    return [*lines, " " * (_LABEL + 1) + "".join(axis)]


def _cell(upper: bool, lower: bool, background: str) -> str:
    if not can_draw():
        return "*" if upper or lower else background
    return "█" if upper and lower else "▀" if upper else "▄" if lower else background


def _draw_table(to: Console, ruler: Ruler, found: MotionFigures) -> None:
    """The way down row by row; on the way up the same places come again."""
    listing = table(("down", "right"), ("up", "right"), ("below top", "right"))
    if found.speed is not None:
        for title in ("m/s", _per_second_twice(), "g", "two terms"):
            listing.add_column(title, justify="right", no_wrap=True)
    for moment in found.table:
        if moment.angle > 180:
            break
        cells: list[object] = [words(f"{moment.angle:g}", BOLD), words(f"{360 - moment.angle:g}", DIM)]
        cells.append(words(ruler.text(moment.travel, 2), BOLD))
        if moment.speed is not None and moment.acceleration is not None and moment.two_term is not None:
            cells += [fixed(moment.speed, 2), words(fixed(moment.acceleration, 0), BOLD)]
            cells += [fixed(in_gravities(moment.acceleration), 0), words(fixed(moment.two_term, 0), DIM)]
        row(listing, *cells)
    to.print()
    to.print(listing)
    said = "No pin offset is in these figures."
    if found.speed is not None:
        said = (
            "Above zero is towards the crankshaft; coming up the speed is the same, upwards. Two terms are the usual "
            f"series for the acceleration, broken off. {said}"
        )
    to.print(words(said, DIM))


def _draw_rod_bolt(to: Console, found: MotionFigures) -> None:
    to.print()
    bolt = found.rod_bolt
    if bolt is None:
        to.print(line(("Load on a rod bolt", BOLD), (f"  not known: {found.no_rod_bolt}", DOUBT)))
        return
    whose = f"cylinder {bolt.cylinder}, the heaviest of {bolt.of}" if bolt.cylinder else "by the mean of each kind"
    to.print(line(("Load on a rod bolt", BOLD), (f"  {whose}; each of {BOLTS} bolts, by inertia", DIM)))
    listing = table(("", "left"), ("kN", "right"), ("", "left"), ("", "left"))
    most = bolt.at_most or bolt.at_least
    parts = f"{fixed(bolt.reciprocating, 1)} g go up and down"
    row(listing, "at least", words(fixed(bolt.at_least / 1000, 2), BOLD), bar(bolt.at_least / most, 20), parts)
    if bolt.at_most is not None and bolt.big_end is not None:
        whole = f"with all {fixed(bolt.big_end, 1)} g of the big end"
        row(listing, "at most", words(fixed(bolt.at_most / 1000, 2), BOLD), bar(1.0, 20), whole)
    to.print(listing)
    if bolt.at_most is None:
        to.print(words("At most: not known, for the big end is not weighed.", DOUBT))
    left_out = (
        "Left out: gas pressure, friction, how the joint is stretched when it is tightened, and the bending of the big "
        "end. It is a load to compare builds by; the bolt maker's figures come first."
    )
    to.print(words(left_out, DIM))
