"""What the engine shakes with, on paper: what is left by order, over a turn, and as a path."""

from collections.abc import Callable, Sequence

from buildbook.balance.layouts import LayoutError
from buildbook.figures import Figures
from buildbook.figures.shaking import NEGLIGIBLE, Shaking
from buildbook.pages.drawing import drawing, label
from buildbook.pages.html import Child, Markup, element, section, table
from buildbook.quantities import fixed
from buildbook.views.shaking import quarter_turns

_WIDTH, _HEIGHT = 112.0, 65.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 16.0, 110.0, 6.0, 54.0
_PATH, _RIM = 62.0, 24.0


def shaking(figures: Figures) -> Markup:
    """Nothing where the masses or the speed are not known."""
    try:
        found = Shaking(figures, None)
    except LayoutError:
        return Markup()
    build = found.build
    if build is None:
        return Markup()
    force, moment = build.largest_force.amount, build.largest_moment.amount
    rows: list[list[Child]] = [
        [f"{name} order", f"{fixed(order.force.largest, 0)} N", f"{fixed(order.moment.largest, 0)} N·m"]
        for name, order in (("first", build.balanced.first), ("second", build.balanced.second))
    ]
    rows.append(["all together", f"{fixed(force, 0)} N", f"{fixed(moment, 0)} N·m"])
    pictures = [
        _pictures(name, unit, turn)
        for name, unit, turn, most, uncancelled in (
            ("force", "N", build.force, force, build.uncancelled[0]),
            ("moment", "N·m", build.moment, moment, build.uncancelled[1]),
        )
        if most > NEGLIGIBLE * uncancelled
    ]
    by = "; ".join(filter(None, [f"{build.masses.whose}, {build.masses.counterweights}", found.assumed]))
    means = f"Inertia of rods and pistons at {build.speed:g} rpm, by {by}. Gas pressure is not in it."
    means += " On the paths, 0 to 3 are quarter turns." if pictures else ""
    return section(
        "What it shakes with", table(["", "force>", "moment about mid-length>"], rows), *pictures, means=means
    )


def _pictures(name: str, unit: str, turn: Sequence[complex]) -> Markup:
    return element("div", _over_a_turn(name, unit, turn), _path(name, unit, turn), class_="shaken together")


def _over_a_turn(name: str, unit: str, turn: Sequence[complex]) -> Markup:
    """Up and down as a line, sideways dashed, against the angle of the crankshaft."""
    most = max(abs(each) for each in turn) or 1.0
    middle, reach = (_TOP + _BOTTOM) / 2, (_BOTTOM - _TOP) / 2

    def line(part: Callable[[complex], float], class_: str) -> Markup:
        points = [
            f"{_LEFT + (_RIGHT - _LEFT) * angle / 360:.2f},{middle - reach * part(turn[angle % 360]) / most:.2f}"
            for angle in range(361)
        ]
        return element("polyline", points=" ".join(points), class_=class_)

    lines = [element("rect", x=_LEFT, y=_TOP, width=_RIGHT - _LEFT, height=_BOTTOM - _TOP, class_="faint")]
    lines.append(element("line", x1=_LEFT, y1=middle, x2=_RIGHT, y2=middle, class_="faint"))
    for amount, y in ((most, _TOP + 1.3), (0.0, middle + 1.3), (-most, _BOTTOM + 1.3)):
        lines.append(label(_LEFT - 1, y, fixed(amount, 0), anchor="end"))
    for angle in (0, 90, 180, 270, 360):
        x = _LEFT + (_RIGHT - _LEFT) * angle / 360
        lines.append(element("line", x1=x, y1=_TOP, x2=x, y2=_BOTTOM, class_="faint"))
        lines.append(label(x, _BOTTOM + 4.5, f"{angle}°", anchor="end" if angle == 360 else "middle"))
    lines.append(line(lambda vector: vector.real, "thin"))
    lines.append(line(lambda vector: vector.imag, "thin dashed"))
    said = f"{name} in {unit} over a turn of the crankshaft: up and down drawn out, sideways dashed"
    lines.append(label((_LEFT + _RIGHT) / 2, _HEIGHT - 1.6, f"{name}, {unit}: up and down; sideways dashed"))
    return drawing(f"The {name} over a turn", said, _WIDTH, _HEIGHT, *lines, class_="turn")


def _path(name: str, unit: str, turn: Sequence[complex]) -> Markup:
    """The end of the vector over a turn, as seen from the front; quarter turns are numbered."""
    most = max(abs(each) for each in turn) or 1.0
    x, y = _PATH / 2, (_TOP + _BOTTOM) / 2

    def spot(share: complex) -> tuple[float, float]:
        return x + _RIM * share.imag, y - _RIM * share.real

    path = " ".join(f"{a:.2f},{b:.2f}" for a, b in (spot(each / most) for each in (*turn, turn[0])))
    lines = [
        element("circle", cx=x, cy=y, r=_RIM, class_="faint"),
        element("line", x1=x - _RIM, y1=y, x2=x + _RIM, y2=y, class_="faint"),
        element("line", x1=x, y1=y - _RIM, x2=x, y2=y + _RIM, class_="faint"),
        element("polyline", points=path, class_="thin"),
    ]
    for share, numbers in quarter_turns(turn, most):
        at_x, at_y = spot(share)
        lines.append(element("circle", cx=at_x, cy=at_y, r=1.0, class_="ink"))
        lines.append(label(at_x + 2.4, at_y - 1.2, numbers, anchor="start", bold=True))
    rim = f"rim {fixed(most, 0)} {unit}"
    lines.append(label(x, _HEIGHT - 1.6, f"path from the front, {rim}"))
    said = f"the end of the {name}'s arrow over a turn, numbered by quarter turns; {rim}"
    return drawing(f"The path of the {name}", said, _PATH, _HEIGHT, *lines, class_="polar")
