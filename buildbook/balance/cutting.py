"""What one bit does in one window: how deep a hole or how long a plug must be, how far from the next it must stand, and
how much of the arc it takes up.

Angles are in degrees in the crankshaft's own frame, lengths in mm, densities in g/cm³, unbalance in g·mm.
"""

from cmath import rect
from collections.abc import Iterator
from dataclasses import dataclass
from math import asin, atan2, ceil, cos, degrees, floor, hypot, inf, radians
from typing import ClassVar, Literal

from buildbook.balance.holes import Plug, RadialHole, arc_along_the_axis, arc_from_the_rim, depth_for, point_length

_TURN = 0.5  # [deg] steps in which holes are spread, or moved in from the end of a window


@dataclass(frozen=True, slots=True)
class Bit:
    """A drill of the shop: its diameter [mm] and the included angle of its point [deg], 180 for a flat end."""

    diameter: float
    point: float = 118


@dataclass(frozen=True, slots=True)
class Window:
    """Where metal may be taken: the arc of a counterweight from `start` to `end` [deg], going positive.

    The whole hole stays within the arc, not just its mouth, and no deeper than `depth` [mm] at its tip; its diameter
    stays within `width` [mm], the counterweight's thickness along the crankshaft. `radius` [mm] is the rim's and
    `position` [mm] the middle of the counterweight.
    """

    start: float
    end: float
    radius: float
    position: float
    depth: float | None = None
    width: float | None = None

    @property
    def span(self) -> float:
        """How far the arc goes [deg], up to 360."""
        return (self.end - self.start) % 360 or 360.0

    def holds(self, angle: float, half_arc: float) -> bool:
        """Whether what reaches `half_arc` to either side of `angle` [deg] lies within the window."""
        from_start = (angle - self.start) % 360
        return self.span == 360 or half_arc <= from_start <= self.span - half_arc


@dataclass(frozen=True, slots=True)
class Shop:
    """What there is to cut with, and how: densities of crankshaft and plugs [g/cm³], the metal `web` kept between holes
    and the `step` that depths are set in [mm]."""

    bits: tuple[Bit, ...]
    density: float
    plug_density: float | None
    most_holes: int
    web: float
    step: float


class Cannot(Exception):
    """One attempt that came to nothing: the sentence of its reason, the lengths in it, and the bit it was for."""

    def __init__(self, sentence: str, bit: Bit, **lengths: float) -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.bit = bit
        self.lengths = lengths | {"bit": bit.diameter}


@dataclass(frozen=True, slots=True)
class Drilling:
    """Holes of one bit, drilled from the rim of one window."""

    window: Window
    bit: Bit
    shop: Shop

    kind: ClassVar[Literal["hole", "plug"]] = "hole"

    @property
    def room(self) -> float:
        """The deepest the bit may be at full diameter [mm]: its tip at the limit, or at the crank axis."""
        limit = self.window.radius if self.window.depth is None else min(self.window.depth, self.window.radius)
        return limit - point_length(self.bit.diameter, self.bit.point)

    def hole(self, depth: float) -> RadialHole:
        window, bit = self.window, self.bit
        return RadialHole(window.radius, bit.diameter, depth, bit.point, self.shop.density)

    def taken(self, depth: float) -> float:
        """What one hole of this depth takes out [g·mm]."""
        return self.hole(depth).unbalance

    def check_fit(self) -> None:
        """Raises Cannot where the bit does not fit the window at all."""
        bit, width = self.bit, self.window.width
        if bit.diameter >= 2 * self.window.radius:
            raise Cannot("a {bit} bit is as wide as the crankshaft", bit)
        if width is not None and bit.diameter > width:
            raise Cannot("a {bit} bit is wider than the counterweight, {width}", bit, width=width)
        if self.room < self.shop.step:
            raise Cannot("the point alone of a {bit} bit is longer than the limit", bit)

    def depth(self, amount: float, count: int) -> float:
        """Depth [mm] to set for one of `count` holes that is to take `amount` [g·mm]."""
        window, bit = self.window, self.bit
        holes = counted(count, self.kind)
        exact = depth_for(
            amount, radius=window.radius, diameter=bit.diameter, point=bit.point, density=self.shop.density
        )
        if exact is None and amount > self.taken(0):
            raise Cannot(f"{holes} cannot take that much, however deep", bit)
        if exact is not None and exact > self.room:
            point = point_length(bit.diameter, bit.point)
            raise Cannot(
                f"{holes} would have to go {{depth}} deep at the tip; the limit is {{limit}}",
                bit,
                depth=exact + point,
                limit=self.room + point,
            )
        return _rounded_down(exact or 0.0, self.shop.step, holes, bit)

    def spacing(self, depth: float) -> float:
        """Least angle between two holes [deg]: holes lean towards each other, and are nearest at shoulder or tip."""
        bore, half_web = self.bit.diameter / 2, self.shop.web / 2
        shoulder = self.window.radius - depth
        tip = shoulder - point_length(self.bit.diameter, self.bit.point)
        if half_web >= tip:
            return inf
        return 2 * degrees(max(asin(half_web / tip), atan2(bore, shoulder) + asin(half_web / hypot(shoulder, bore))))

    def half_arc(self, depth: float) -> float:
        """Half the arc that the hole takes up [deg], at its shoulder, where it is widest seen from the crank axis."""
        return arc_from_the_rim(self.window.radius, self.bit.diameter, depth)


@dataclass(frozen=True, slots=True)
class Plugging:
    """Plugs of heavy metal of one bit's diameter, set along the crankshaft in one window."""

    window: Window
    bit: Bit
    shop: Shop
    plug_density: float

    kind: ClassVar[Literal["hole", "plug"]] = "plug"

    @property
    def room(self) -> float:
        """The longest plug the width takes [mm], with the point of the bit that bores for it."""
        return (self.window.width or 0.0) - point_length(self.bit.diameter, self.bit.point)

    @property
    def radius(self) -> float:
        """Where the plug's axis lies [mm]: as far out as leaves a web of metal to the rim."""
        return self.window.radius - self.shop.web - self.bit.diameter / 2

    def hole(self, depth: float) -> Plug:
        bit, shop = self.bit, self.shop
        return Plug("axial", self.radius, bit.diameter, depth, self.plug_density, shop.density, bit.point)

    def taken(self, depth: float) -> float:
        """What one plug of this length adds [g·mm]."""
        return self.hole(depth).unbalance

    def check_fit(self) -> None:
        """Raises Cannot where the plug does not fit the window at all."""
        window, bit = self.window, self.bit
        if window.width is None:
            raise Cannot("whether a {bit} plug fits takes the counterweight's width to tell", bit)
        if self.radius <= bit.diameter / 2 or (
            window.depth is not None and self.shop.web + bit.diameter > window.depth
        ):
            raise Cannot("a {bit} plug with {web} of metal to the rim is deeper than the limit", bit, web=self.shop.web)

    def depth(self, amount: float, count: int) -> float:
        """Length [mm] to cut one of `count` plugs to that is to add `amount` [g·mm]."""
        bit, plugs = self.bit, counted(count, self.kind)
        void = self.taken(0)
        exact = (amount - void) / (self.taken(1) - void)
        if exact > self.room:
            point = point_length(bit.diameter, bit.point)
            raise Cannot(
                f"{plugs} would need to be bored {{depth}} deep at the tip; the counterweight is {{limit}} wide",
                bit,
                depth=exact + point,
                limit=self.room + point,
            )
        return _rounded_down(exact, self.shop.step, plugs, bit)

    def spacing(self, depth: float) -> float:
        """Least angle between two plugs [deg]; they lie side by side, however long."""
        return 2 * degrees(asin(min(1.0, (self.bit.diameter + self.shop.web) / 2 / self.radius)))

    def half_arc(self, depth: float) -> float:
        """Half the arc that the plug takes up [deg], seen from the crank axis."""
        return arc_along_the_axis(self.radius, self.bit.diameter)


Tool = Drilling | Plugging


@dataclass(frozen=True, slots=True)
class Row:
    """So many equal holes, evenly spread: `depth` [mm] of each and `spacing` [deg] from one to the next."""

    tool: Tool
    count: int
    depth: float
    spacing: float

    def angles(self, middle: float) -> Iterator[float]:
        for number in range(self.count):
            yield middle + (number - (self.count - 1) / 2) * self.spacing

    @property
    def half_arc(self) -> float:
        """From the middle of the row to where its last hole ends [deg]."""
        return (self.count - 1) / 2 * self.spacing + self.tool.half_arc(self.depth)

    def taken(self, middle: float) -> complex:
        """What the whole row takes from the heavy side [g·mm]; a plug adds on its own side."""
        sign = 1 if self.tool.kind == "hole" else -1
        return sign * self.tool.taken(self.depth) * sum(rect(1, radians(angle)) for angle in self.angles(middle))


def row_of(tool: Tool, amount: float, count: int) -> Row:
    """The row that takes `amount` [g·mm]: the deeper its holes, the wider they are spread, and the less they count."""
    tool.check_fit()
    spacing = step_up(tool.spacing(tool.shop.step)) if count > 1 else 0.0
    while (count - 1) * spacing < 180:
        along = sum(cos(radians(angle)) for angle in Row(tool, count, 0.0, spacing).angles(0.0))
        row = Row(tool, count, tool.depth(amount / along, count), spacing)
        needed = tool.spacing(row.depth) if count > 1 else 0.0
        if needed <= spacing:
            return row
        spacing = step_up(needed)
    raise Cannot(f"{counted(count, tool.kind)} would run into each other", tool.bit)


def step_up(angle: float) -> float:
    return ceil(angle / _TURN - 1e-9) * _TURN if angle < 180 else inf


def _rounded_down(depth: float, step: float, holes: str, bit: Bit) -> float:
    """The depth to set: never beyond what is wanted, for metal does not go back."""
    steps = floor(depth / step + 1e-6)
    if steps < 1:
        raise Cannot(f"{holes} would take more than is wanted, at the shallowest", bit)
    return round(steps * step, 9)


def number_words(count: int) -> str:
    words = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
    return words[count] if count < len(words) else str(count)


def counted(count: int, kind: str) -> str:
    return f"{number_words(count)} {{bit}} {kind}{'s' if count > 1 else ''}"
