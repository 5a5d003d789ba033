"""Displacement, the motion of a piston over a turn, and the load on a rod bolt."""

from collections.abc import Callable
from itertools import zip_longest
from typing import NamedTuple

from rich.console import Console
from rich.text import Text

from buildbook.figures import Figures
from buildbook.figures.lengths import Ruler
from buildbook.figures.motion import BOLTS, Moment, MotionFigures, in_gravities
from buildbook.quantities import UNITS, fixed
from buildbook.records.model import Shop
from buildbook.views.curve import LABEL, curve
from buildbook.views.screen import BOLD, DIM, DOUBT, bar, can_draw, heading, line, row, table, words


class _Unit(NamedTuple):
    """What a figure is shown in: the unit's name, what one of it is in the unit that the figure is worked out in, and
    the digits after the point."""

    name: str
    worth: float
    decimals: int

    def text(self, value: float) -> str:
        return fixed(value / self.worth, self.decimals)


class _Units(NamedTuple):
    """Of what is worked out in m/s, m/s² and N."""

    speed: _Unit
    acceleration: _Unit
    force: _Unit


_METRIC = _Units(_Unit("m/s", 1.0, 2), _Unit("m/s²", 1.0, 0), _Unit("kN", 1000.0, 2))

# A foot is 0.3048 m, a pound-force 0.45359237 kg × 9.80665 m/s², both by definition.
_INCH = _Units(_Unit("ft/min", 0.3048 / 60, 0), _Unit("ft/s²", 0.3048, 0), _Unit("lbf", 0.45359237 * 9.80665, 0))


def draw_motion(to: Console, figures: Figures, found: MotionFigures) -> None:
    """Speeds and forces follow the shop's unit of length: those of inches where that is one of inches."""
    ruler = Ruler(figures.build.shop)
    units = _INCH if ruler.unit in {"in", "thou"} else _METRIC
    heading(to, "Motion", figures.build.name)
    to.print(words(f"{ruler.unit}; angles in degrees after top dead centre", DIM))
    to.print()
    _draw_engine(to, figures.build.shop, ruler, found)
    _draw_speeds(to, units, found)
    _draw_pictures(to, ruler, units, found)
    _draw_table(to, ruler, units, found)
    _draw_rod_bolt(to, units.force, found)


def _plainly(unit: str) -> str:
    """A unit as the terminal can write it."""
    return unit if can_draw() else unit.replace("²", "2")


def _draw_engine(to: Console, shop: Shop, ruler: Ruler, found: MotionFigures) -> None:
    cubic_inches = _Unit("in3", float(UNITS["in3"].factor), 1)
    volume = cubic_inches if shop.preferred_units.get("volume") == "in3" else _Unit("cc", 1.0, 0)
    each = volume._replace(decimals=volume.decimals + 1).text(found.cylinder_displacement) + f" {volume.name}"
    if found.displacement is not None:
        whole = line((f"{volume.text(found.displacement)} {volume.name}", BOLD),
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


def _draw_speeds(to: Console, units: _Units, found: MotionFigures) -> None:
    to.print()
    if found.speed is None or found.mean_piston_speed is None or found.fastest is None:
        said = "No speed is known: give --speed RPM, or balance: {max_speed: …} in build.yaml."
        to.print(words(said, DOUBT))
        return
    to.print(line((f"At {found.speed:g} rpm", BOLD), (f"  {found.speed_from}", DIM)))
    angle, highest = found.fastest
    listing = table(("piston", "left"), *((_plainly(unit.name), "right") for unit in units[:2]), ("g", "right"))
    listing.add_column("", overflow="fold")
    row(listing, "mean speed", words(units.speed.text(found.mean_piston_speed), BOLD), "", "", "two strokes a turn")
    at = f"at {fixed(angle, 1)}° going down and {fixed(360 - angle, 1)}° coming up"
    row(listing, "highest speed", words(units.speed.text(highest), BOLD), "", "", at)
    for name, moment, way in (("at the top", found.top, "down"), ("at the bottom", found.bottom, "up")):
        pull = moment.acceleration or 0.0
        row(listing, name, "", words(units.acceleration.text(pull), BOLD), fixed(in_gravities(pull), 0), f"{way}wards")
    to.print(listing)


def _draw_pictures(to: Console, ruler: Ruler, units: _Units, found: MotionFigures) -> None:
    """Where the piston is over a turn and, at a speed, how hard it is accelerated."""
    columns = 29 if to.width < 110 else 45

    def one_turn(value: Callable[[Moment], float], text: Callable[[float], str]) -> list[str]:
        return curve(lambda angle: value(found.at(angle)), 360.0, columns, text, places=360)

    place = one_turn(lambda moment: -moment.travel, lambda below: ruler.text(-below, 1))
    pictures = [[_titled("below top dead centre", columns), *place]]
    if found.speed is not None:
        pull = one_turn(lambda moment: moment.acceleration or 0.0, units.acceleration.text)
        pictures.append([_titled(f"acceleration downwards, {_plainly(units.acceleration.name)}", columns), *pull])
    to.print()
    if len(pictures) > 1 and to.width >= 2 * (LABEL + 1 + columns) + 2:
        for left, right in zip_longest(*pictures):
            to.print(Text(f"{left}  {right}".rstrip()))
    else:
        for picture in pictures:
            to.print(Text("\n".join(each.rstrip() for each in picture)))


def _titled(title: str, columns: int) -> str:
    return " " * (LABEL + 1) + words(f"{title:^{columns}}").plain


def _draw_table(to: Console, ruler: Ruler, units: _Units, found: MotionFigures) -> None:
    """The way down row by row; on the way up the same places come again."""
    listing = table(("down", "right"), ("up", "right"), ("below top", "right"))
    if found.speed is not None:
        for title in (units.speed.name, _plainly(units.acceleration.name), "g", "two terms"):
            listing.add_column(title, justify="right", no_wrap=True)
    for moment in found.table:
        if moment.angle > 180:
            break
        cells: list[object] = [words(f"{moment.angle:g}", BOLD), words(f"{360 - moment.angle:g}", DIM)]
        cells.append(words(ruler.text(moment.travel, 2), BOLD))
        if moment.speed is not None and moment.acceleration is not None and moment.two_term is not None:
            cells += [units.speed.text(moment.speed), words(units.acceleration.text(moment.acceleration), BOLD)]
            cells += [fixed(in_gravities(moment.acceleration), 0)]
            cells += [words(units.acceleration.text(moment.two_term), DIM)]
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


def _draw_rod_bolt(to: Console, force: _Unit, found: MotionFigures) -> None:
    to.print()
    bolt = found.rod_bolt
    if bolt is None:
        to.print(line(("Load on a rod bolt", BOLD), (f"  not known: {found.no_rod_bolt}", DOUBT)))
        return
    whose = f"cylinder {bolt.cylinder}, the heaviest of {bolt.of}" if bolt.cylinder else "by the mean of each kind"
    to.print(line(("Load on a rod bolt", BOLD), (f"  {whose}; each of {BOLTS} bolts, by inertia", DIM)))
    listing = table(("", "left"), (force.name, "right"), ("", "left"), ("", "left"))
    most = bolt.at_most or bolt.at_least
    parts = f"{fixed(bolt.reciprocating, 1)} g go up and down"
    row(listing, "at least", words(force.text(bolt.at_least), BOLD), bar(bolt.at_least / most, 20), parts)
    if bolt.at_most is not None and bolt.big_end is not None:
        whole = f"with all {fixed(bolt.big_end, 1)} g of the big end"
        row(listing, "at most", words(force.text(bolt.at_most), BOLD), bar(1.0, 20), whole)
    to.print(listing)
    if bolt.at_most is None:
        to.print(words("At most: not known, for the big end is not weighed.", DOUBT))
    left_out = (
        "Left out: gas pressure, friction, how the joint is stretched when it is tightened, and the bending of the big "
        "end. It is a load to compare builds by; the bolt maker's figures come first."
    )
    to.print(words(left_out, DIM))
