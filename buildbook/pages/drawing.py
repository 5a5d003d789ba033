"""Line drawings for paper, as SVG in mm: the engine from the front, and where an unbalance went from spin to spin."""

from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from math import atan2, cos, degrees, hypot, radians, sin, sqrt
from typing import NamedTuple

from buildbook.balance.layouts import Layout
from buildbook.balance.unbalance import Reading
from buildbook.figures.cylinders import kind_words
from buildbook.pages.html import Markup, element
from buildbook.quantities import fixed

WIDTH = 188.0
"""Of a drawing as wide as the page [mm]."""

_TEXT = 3.6  # ten points [mm]
_LETTER = 0.58  # how wide a letter is, as a share of its height


def drawing(title: str, description: str, width: float, height: float, *lines: Markup, class_: str) -> Markup:
    """An SVG that says in words what it shows."""
    return element(
        "svg",
        element("title", title),
        element("desc", description),
        *lines,
        role="img",
        aria_label=f"{title}: {description}",
        viewBox=f"0 0 {width:g} {height:g}",
        class_=class_,
    )


def label(x: float, y: float, said: str, *, size: float = _TEXT, anchor: str = "middle", bold: bool = False) -> Markup:
    weight = "bold" if bold else None
    return element("text", said, x=x, y=y, font_size=size, text_anchor=anchor, font_weight=weight)


def _towards(x: float, y: float, angle: float, distance: float) -> tuple[float, float]:
    """The place at a distance from (x, y), at an angle [deg] clockwise from straight up."""
    return x + distance * sin(radians(angle)), y - distance * cos(radians(angle))


# Of the engine seen from the front [mm]: how far the decks, the foot of the bores and the crankpins are from the
# crankshaft, half a bore, the crankcase, and the head of a pin with the number of its throw in it.
_DECK, _FOOT, _PIN, _HALF_BORE, _CASE, _PIN_HEAD = 33.0, 15.0, 8.0, 8.5, 13.5, 4.2


def banks_from_left(layout: Layout) -> list[str]:
    """The banks as they stand from left to right, seen from the front."""
    return sorted(layout.banks, key=lambda bank: layout.banks[bank])


def engine_from_the_front(layout: Layout, height: float | None = None) -> Markup:
    """The banks at their angles, and the crankpins as throw 1 stands; each bank is led to the middle of its own column
    in the map, which stands above the drawing. It is drawn into a height [mm] where one is given."""
    banks = banks_from_left(layout)
    angles = [_within_half_a_turn(layout.banks[bank]) for bank in banks]
    up = [cos(radians(angle)) for angle in angles]
    above = max(_DECK * max(up), _CASE) + 10
    below = max(-_DECK * min(up), _CASE) + 1
    scale = height / (above + below) if height else 1.0
    x, y = WIDTH / 2, above * scale
    lines: list[Markup] = []
    leads_up = all(abs(angle) <= 90 for angle in angles) and len(set(angles)) == len(angles)
    for place, (bank, angle) in enumerate(zip(banks, angles, strict=True)):
        if leads_up:
            deck_x, deck_y = _towards(x, y, angle, _DECK * scale + 1)
            column = WIDTH * (place + 0.5) / len(banks)
            points = f"{deck_x:.1f},{deck_y:.1f} {column:.1f},4 {column:.1f},0"
            lines.append(element("polyline", points=points, class_="thin dashed"))
        lines.append(_barrel(x, y, angle, scale, kind_words(bank)))
    lines.append(element("circle", cx=x, cy=y, r=_CASE * scale, class_="paper"))
    pins: dict[float, list[str]] = {}
    for throw in layout.throws:
        for pin in layout.pins(throw):
            pins.setdefault(round(pin.angle % 360, 3), []).append(throw)
    for angle in pins:
        pin_x, pin_y = _towards(x, y, angle, _PIN * scale)
        lines.append(element("line", x1=x, y1=y, x2=pin_x, y2=pin_y, class_="bore"))
    lines.append(element("circle", cx=x, cy=y, r=1.6, class_="ink"))
    in_order = sorted(pins)
    gaps = [after - before for before, after in pairwise([*in_order, in_order[0] + 360])]
    radius = min(_PIN_HEAD, 0.95 * _PIN * sin(radians(min(*gaps, 120) / 2))) * scale
    for angle, throws in pins.items():
        pin_x, pin_y = _towards(x, y, angle, _PIN * scale)
        lines.append(element("circle", cx=pin_x, cy=pin_y, r=radius, class_="paper"))
        said = "·".join(throws)
        size = min(_TEXT, 1.75 * radius / max(len(said) * _LETTER, 1))
        lines.append(label(pin_x, pin_y + size * 0.36, said, size=size, bold=True))
    where = ", ".join(f"{kind_words(bank)} at {angle:g}°" for bank, angle in zip(banks, angles, strict=True))
    pinned = ", ".join(f"throw {' and '.join(throws)} at {angle:g}°" for angle, throws in pins.items())
    said = f"banks from the vertical: {where}; crankpins by throw: {pinned}"
    return drawing("The engine from the front", said, WIDTH, (above + below) * scale, *lines, class_="front")


def _within_half_a_turn(angle: float) -> float:
    """An angle [deg] from above -180 to 180."""
    return 180 - (180 - angle) % 360


def _barrel(x: float, y: float, angle: float, scale: float, name: str) -> Markup:
    """A bank from its end: two walls and the deck, with its name along it."""
    half, deck, foot = _HALF_BORE * scale, _DECK * scale, _FOOT * scale
    walls = f"M{-half:.2f} {-foot:.2f}V{-deck:.2f}H{half:.2f}V{-foot:.2f}"
    name = name[:12]
    size = min(4.2, (2 * half - 1.5) / max(len(name) * _LETTER, 1))
    upright = 0 if abs(angle) <= 90 else 180
    said = element(
        "text", name, x=0, y=size * 0.36, font_size=size, text_anchor="middle",
        transform=f"translate(0 {-(deck + foot) / 2:.2f}) rotate({upright})",
    )  # fmt: skip
    turned = f"translate({x:.2f} {y:.2f}) rotate({angle:.2f})"
    return element("g", element("path", d=walls, class_="bore"), said, transform=turned)


class Spun(NamedTuple):
    """One spin at one plane: what was read and, where a correction came before it, what it should have read."""

    step: str
    reading: Reading
    predicted: Reading | None


class Mark(NamedTuple):
    """A correction at its angle [deg] as the machine counts: metal taken away, or put on."""

    step: str
    angle: float
    taken: bool


_SIZE, _RADIUS = 92.0, 32.0


def polar_plot(plane: str, spins: Sequence[Spun], marks: Sequence[Mark], limits: Mapping[str, float]) -> Markup:
    """Where the unbalance of a plane went from the first spin to the last: zero on top, angles clockwise as the machine
    counts them. The distance from the middle is the square root of the amount [g], so that the last spins can still be
    told apart beside the first. `limits` are circles by name [g].
    """
    readings = [each for spin in spins for each in (spin.reading, spin.predicted) if each is not None]
    most = max([*(each.amount for each in readings), *(1.5 * limit for limit in limits.values()), 1e-9])
    x, y = _SIZE / 2, 42.0

    def place(reading: Reading) -> tuple[float, float]:
        return _towards(x, y, reading.angle, _RADIUS * sqrt(reading.amount / most))

    lines = [
        element("line", x1=x - _RADIUS, y1=y, x2=x + _RADIUS, y2=y, class_="faint"),
        element("line", x1=x, y1=y - _RADIUS, x2=x, y2=y + _RADIUS, class_="faint"),
        element("circle", cx=x, cy=y, r=_RADIUS, class_="thin"),
    ]
    for angle, dx, dy, anchor in (
        (0, 0, -5, "middle"),
        (90, 6, 1.2, "start"),
        (180, 0, 7.6, "middle"),
        (270, -6, 1.2, "end"),
    ):
        edge_x, edge_y = _towards(x, y, angle, _RADIUS)
        lines.append(label(edge_x + dx, edge_y + dy, f"{angle}°", anchor=anchor))
    for share in (0.25, 0.5, 0.75):
        lines.append(element("circle", cx=x, cy=y, r=_RADIUS * share, class_="faint"))
    for limit in limits.values():
        lines.append(element("circle", cx=x, cy=y, r=_RADIUS * sqrt(limit / most), class_="limit"))
    for mark in marks:
        lines.append(_mark(x, y, mark))
    spots = [place(spin.reading) for spin in spins]
    for (from_x, from_y), (to_x, to_y) in pairwise(spots):
        lines.append(element("line", x1=from_x, y1=from_y, x2=to_x, y2=to_y, class_="path"))
        lines += _arrow(from_x, from_y, to_x, to_y)
    for spin in spins:
        if spin.predicted is not None:
            at_x, at_y = place(spin.predicted)
            lines.append(element("circle", cx=at_x, cy=at_y, r=1.5, class_="open"))
    labels = _Labels([*spots, *(_towards(x, y, mark.angle, _RADIUS + 2) for mark in marks)])
    for number, (at_x, at_y) in enumerate(spots):
        last = number == len(spots) - 1
        lines.append(element("circle", cx=at_x, cy=at_y, r=1.7 if last else 1.0, class_="ink"))
    for number, (spin, (at_x, at_y)) in enumerate(zip(spins, spots, strict=True)):
        lines += labels.beside(at_x, at_y, spin.step, bold=number in {0, len(spins) - 1})
    lines.append(label(2, 5.5, plane.upper(), size=5.0, anchor="start", bold=True))
    circles = [f"rim {fixed(most, 1)} g", *(f"{name} {fixed(limit, 2)} g" for name, limit in limits.items())]
    lines.append(label(x, _SIZE - 4, "; dashed: ".join(circles)))
    read = ", ".join(
        f"{spin.step} {fixed(spin.reading.amount, 1)} g at {fixed(spin.reading.angle, 0)}°" for spin in spins
    )
    return drawing(f"{plane.capitalize()} plane", f"{read}; {', '.join(circles)}", _SIZE, _SIZE, *lines, class_="polar")


def _mark(x: float, y: float, mark: Mark) -> Markup:
    """A triangle on the rim: pointing out where metal went, in where it was put on."""
    tip, base = (3.4, 0.4) if mark.taken else (0.4, 3.4)
    corners = [
        _towards(x, y, mark.angle, _RADIUS + tip),
        _towards(x, y, mark.angle - 2.6, _RADIUS + base),
        _towards(x, y, mark.angle + 2.6, _RADIUS + base),
    ]
    points = "M" + "L".join(f"{corner_x:.2f} {corner_y:.2f}" for corner_x, corner_y in corners) + "Z"
    return element("path", element("title", mark.step), d=points, class_="ink" if mark.taken else "open")


def _arrow(from_x: float, from_y: float, to_x: float, to_y: float) -> Iterable[Markup]:
    """An arrowhead halfway along a line; none on a line too short to see one on."""
    length = hypot(to_x - from_x, to_y - from_y)
    if length < 6:
        return
    way = degrees(atan2(to_x - from_x, from_y - to_y))
    x, y = (from_x + to_x) / 2, (from_y + to_y) / 2
    corners = [_towards(x, y, way, 1.4), _towards(x, y, way + 140, 1.4), _towards(x, y, way - 140, 1.4)]
    yield element("path", d="M" + "L".join(f"{a:.2f} {b:.2f}" for a, b in corners) + "Z", class_="ink")


class _Labels:
    """Puts names beside spots so that they lie on no spot and on no other name; a thin line leads to one far off."""

    def __init__(self, spots: Sequence[tuple[float, float]]) -> None:
        self.taken = [(x - 1.5, y - 1.5, x + 1.5, y + 1.5) for x, y in spots]

    def beside(self, x: float, y: float, said: str, *, bold: bool) -> Iterable[Markup]:
        said = said[:8]
        width, height = len(said) * _TEXT * _LETTER + 0.8, _TEXT
        for distance in (3.0, 5.0, 7.5, 10.0, 13.0, 16.0, 20.0, 24.0):
            for angle in range(45, 405, 30):
                middle_x, middle_y = _towards(x, y, angle, distance)
                middle_x += width / 2 * sin(radians(angle))
                box = (middle_x - width / 2, middle_y - height / 2, middle_x + width / 2, middle_y + height / 2)
                if self._free(box):
                    self.taken.append(box)
                    if distance > 5:
                        yield element("line", x1=x, y1=y, x2=middle_x, y2=middle_y, class_="faint")
                        yield element("rect", x=box[0], y=box[1], width=width, height=height, class_="blank")
                    yield label(middle_x, middle_y + _TEXT * 0.36, said, bold=bold)
                    return

    def _free(self, box: tuple[float, float, float, float]) -> bool:
        left, top, right, bottom = box
        inside = left > 0 and top > 0 and right < _SIZE and bottom < _SIZE - 9
        return inside and all(
            right < other[0] or left > other[2] or bottom < other[1] or top > other[3] for other in self.taken
        )
