"""Holes and plugs: what a hole of a given bit really takes from a crankshaft, and where that weight stood.

The geometry is exact: the rim is round about the crank axis (and flat along it), the drill's point is a cone of any
included angle, and the deeper a hole goes the further in its centre of mass lies. Lengths are in mm, densities in
g/cm³, weights in g, unbalance in g·mm, angles in degrees. A twist drill's chisel edge is not modelled: it makes the
cone a little blunter than counted here.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import asin, atan2, cosh, degrees, hypot, inf, isfinite, pi, radians, sin, sinh, sqrt, tan, tanh
from typing import Literal, NamedTuple

from buildbook.balance.unbalance import BalancingError

DepthTo = Literal["shoulder", "tip"]

_PER_CUBIC_MM = 1e-3  # [g/mm³ in 1 g/cm³]


class CannotCut(BalancingError):
    """Something that cannot be cut as asked: `what` is wrong, and the `remedy`."""


class Estimate(NamedTuple):
    """A weight [g] and its unbalance [g·mm]."""

    weight: float
    unbalance: float


@dataclass(frozen=True, slots=True)
class RadialHole:
    """A hole drilled from the rim of `radius` [mm] straight towards the crank axis.

    `depth` [mm] is measured along the hole's axis, from the rim to where the bit is at its full diameter or, with
    `depth_to` "tip", to the tip. Raises CannotCut for a hole that cannot be.
    """

    radius: float
    diameter: float
    depth: float
    point: float
    density: float
    depth_to: DepthTo = "shoulder"

    def __post_init__(self) -> None:
        _check(self.radius, self.diameter, self.depth, self.point, self.density)
        if self.diameter >= 2 * self.radius:
            raise CannotCut(
                f"a {self.diameter:g} mm bit is as wide as the rim of radius {self.radius:g} mm",
                "give the bit's diameter, and the rim's radius from the crank axis, in the same unit",
            )
        if self.tip_depth > self.radius * (1 + 1e-12):
            raise CannotCut(
                f"{self.tip_depth:.4g} mm deep at the tip passes the crank axis, {self.radius:g} mm below the rim",
                "make the hole shallower, or look whether depth and radius are in the same unit",
            )

    @property
    def full_depth(self) -> float:
        """Depth at full diameter [mm]; below zero while only part of the point has gone in."""
        return self.depth - (point_length(self.diameter, self.point) if self.depth_to == "tip" else 0)

    @property
    def tip_depth(self) -> float:
        """Depth at the tip [mm]: at full diameter, plus the length of the point."""
        return self.depth + (0 if self.depth_to == "tip" else point_length(self.diameter, self.point))

    @property
    def volume(self) -> float:
        """What the bit and the round rim have in common [mm³]: ∫∫ (√(R² − y²) − f) dA over the bit's disc.

        R is the rim's radius, y runs across the hole and the crank axis, and f is the height of the hole's bottom
        above the crank axis; where f stands above the rim nothing is cut.
        """
        return _common(self.radius, self.diameter / 2, self.radius - self.tip_depth, self._cone).weight

    @property
    def weight(self) -> float:
        """Weight taken out [g]: density × volume."""
        return self.density * _PER_CUBIC_MM * self.volume

    @property
    def unbalance(self) -> float:
        """Unbalance taken out [g·mm]: density × ∫∫ (R² − y² − f²)/2 dA; letters as in `volume`."""
        moment = _moment(self.radius, self.diameter / 2, self.radius - self.tip_depth, self._cone)
        return self.density * _PER_CUBIC_MM * moment

    @property
    def simple(self) -> Estimate:
        """The simple estimate of the same hole, from its depth at full diameter."""
        return simple_estimate(self.radius, self.diameter, max(self.full_depth, 0.0), self.density)

    @property
    def _cone(self) -> float:
        return point_length(self.diameter, self.point)


@dataclass(frozen=True, slots=True)
class AxialHole:
    """A hole drilled along the crankshaft, its axis at `radius` [mm] from the crank axis, from a flat face.

    `depth` [mm] as for a radial hole. Raises CannotCut for a hole that cannot be.
    """

    radius: float
    diameter: float
    depth: float
    point: float
    density: float
    depth_to: DepthTo = "shoulder"

    def __post_init__(self) -> None:
        _check(self.radius, self.diameter, self.depth, self.point, self.density)

    @property
    def volume(self) -> float:
        """π/4 D² L + π/12 D² h [mm³]: the full diameter to depth L and the point of length h.

        Where only the first t of the point has gone in: π/12 (D t/h)² t.
        """
        area, cone = _area(self.diameter), point_length(self.diameter, self.point)
        full = self.depth - (cone if self.depth_to == "tip" else 0)
        return area * (full + cone / 3) if full >= 0 else area * (self.depth / cone) ** 2 * self.depth / 3

    @property
    def weight(self) -> float:
        """Weight taken out [g]: density × volume."""
        return self.density * _PER_CUBIC_MM * self.volume

    @property
    def unbalance(self) -> float:
        """Unbalance taken out [g·mm]: weight × radius, for the hole is the same all round its own axis."""
        return self.weight * self.radius


@dataclass(frozen=True, slots=True)
class Plug:
    """A plug of heavy metal: a plain cylinder of `length` [mm] and `density` in a crankshaft of density `metal`.

    An axial plug lies along the crankshaft, its axis at `radius` [mm]. A radial one stands in a hole drilled from the
    rim of `radius`, its outer end flush with the round rim. `point` is the point of the bit that bored its hole (180:
    a flat bottom, or bored right through): the cone below the plug stays empty, or is filled if `fills_point`. Raises
    CannotCut for a plug that cannot be.
    """

    direction: Literal["axial", "radial"]
    radius: float
    diameter: float
    length: float
    density: float
    metal: float
    point: float = 180
    fills_point: bool = False

    def __post_init__(self) -> None:
        self._hole(self.metal)
        if not (isfinite(self.density) and self.density > self.metal):
            raise CannotCut(
                f"a plug of {self.density:g} g/cm³ is no heavier than the crankshaft's {self.metal:g} g/cm³",
                "give the density of the heavy metal (17 to 18.5 g/cm³ for tungsten alloys), or drill the other side",
            )

    @property
    def weight(self) -> float:
        """Weight the crankshaft gains [g]: the plug, less the metal bored out for it."""
        return self._filling.weight - self._hole(self.metal).weight

    @property
    def unbalance(self) -> float:
        """Unbalance gained on the plug's side [g·mm]: the plug's, less that of the metal bored out for it."""
        return self._filling.unbalance - self._hole(self.metal).unbalance

    @property
    def simple(self) -> Estimate:
        """The simple estimate of the gain: the difference of densities, at `radius`, flat bottom."""
        return simple_estimate(self.radius, self.diameter, self.length, self.density - self.metal)

    @property
    def _filling(self) -> RadialHole | AxialHole:
        return self._hole(self.density, self.point if self.fills_point else 180)

    def _hole(self, density: float, point: float | None = None) -> RadialHole | AxialHole:
        shape = AxialHole if self.direction == "axial" else RadialHole
        return shape(self.radius, self.diameter, self.length, self.point if point is None else point, density)


def point_length(diameter: float, point: float) -> float:
    """Length of a drill's point [mm]: (D/2)/tan(point/2); nothing for a flat end, 180°."""
    return 0.0 if point == 180 else diameter / 2 / tan(radians(point) / 2)


def arc_from_the_rim(radius: float, diameter: float, depth: float, web: float = 0.0) -> float:
    """Half the arc [deg] that a hole from the rim of `radius` [mm] takes up, seen from the crank axis, with so much
    metal `web` [mm] beside it: at its shoulder, `depth` [mm] below the rim, where it is widest."""
    return degrees(atan2(diameter / 2 + web, radius - depth))


def arc_along_the_axis(radius: float, diameter: float, web: float = 0.0) -> float:
    """The same for a hole along the crankshaft, its axis at `radius` [mm]."""
    return degrees(asin(min((diameter / 2 + web) / radius, 1.0)))


def simple_estimate(radius: float, diameter: float, depth: float, density: float) -> Estimate:
    """The hole as it is reckoned by hand: π/4 D² × depth × density, flat bottom, all of it at `radius` [mm]."""
    weight = density * _PER_CUBIC_MM * _area(diameter) * depth
    return Estimate(weight, weight * radius)


def depth_for(
    unbalance: float, *, radius: float, diameter: float, point: float, density: float, limit: float = inf
) -> float | None:
    """Depth at full diameter [mm] of the radial hole that takes out `unbalance` [g·mm].

    None where the point alone takes more, and where the tip would have to go deeper than `limit` [mm] or than the
    crank axis. Where the full diameter is in all round the rim, the unbalance is a quadratic of the depth.
    """
    bore, cone = diameter / 2, RadialHole(radius, diameter, 0, point, density)._cone
    wanted = unbalance / (density * _PER_CUBIC_MM)
    limit = min(limit, radius)

    square = radius**2 - bore**2 / 4 - cone**2 / 18 - 2 * wanted / _area(diameter)
    tip = sqrt(max(square, 0.0)) - 2 * cone / 3
    if square < 0 or radius - tip > limit:
        return None
    if hypot(tip + cone, bore) <= radius:
        return radius - tip - cone

    shallow = 0.0
    deep = radius - sqrt(radius**2 - bore**2)

    def short_by(depth: float) -> float:
        return wanted - _moment(radius, bore, radius - depth - cone, cone)

    if short_by(shallow) < 0 or deep + cone > radius:
        return None
    depth = _root(short_by, shallow, deep)
    return depth if depth + cone <= limit else None


def _check(radius: float, diameter: float, depth: float, point: float, density: float) -> None:
    for value, name, remedy in (
        (radius, "radius", "give the distance from the crank axis"),
        (diameter, "diameter", "give the bit's diameter"),
        (density, "density", "give the metal's density in g/cm³ (steel about 7.85, ductile iron 7.1 to 7.3)"),
    ):
        if not (isfinite(value) and value > 0):
            raise CannotCut(f"the {name} is {value:g}, not above zero", remedy)
    if not (isfinite(depth) and depth >= 0):
        raise CannotCut(f"the depth is {depth:g} mm, below zero", "give the depth from the surface inwards")
    if not 0 < point <= 180:
        raise CannotCut(
            f"a drill point of {point:g}° is not between 0 and 180",
            "give the included angle of the point: 118 or 135 for most twist drills, 180 for a flat end",
        )


def _area(diameter: float) -> float:
    return pi / 4 * diameter**2


def _moment(radius: float, bore: float, tip: float, cone: float) -> float:
    """∫∫ (R² − y² − f²)/2 dA [mm⁴], in closed form where the full diameter is in all round the rim."""
    if hypot(tip + cone, bore) <= radius:
        return pi * bore**2 / 2 * (radius**2 - bore**2 / 4 - tip**2 - 4 / 3 * tip * cone - cone**2 / 2)
    return _common(radius, bore, tip, cone).unbalance


@lru_cache(maxsize=1024)
def _common(radius: float, bore: float, tip: float, cone: float) -> Estimate:
    """Volume [mm³] and first moment [mm⁴] that a bit has in common with a round rim, as for metal of unit density.

    The bit has the radius `bore` and a point of length `cone`, its tip at height `tip` above the crank axis. In polar
    coordinates (ρ, ψ) about the hole's axis, ψ counted from the crankshaft's direction, the rim stands at
    √(R² − ρ² sin²ψ) and the bottom at tip + cone ρ/bore. The bottom meets the rim where a quadratic in ρ says, if that
    is inside the bit; up to there the integral over ρ is elementary, and the one over ψ is done numerically.
    """
    if tip >= radius:
        return Estimate(0.0, 0.0)
    slope = cone / bore

    def sector(angle: float) -> tuple[float, float]:
        across = sin(angle) ** 2
        height = radius**2 - tip**2
        meets = height / (tip * slope + sqrt((tip * slope) ** 2 + (across + slope**2) * height))
        reach = min(bore, meets)
        rim = sqrt(radius**2 - reach**2 * across)
        volume = reach**2 * ((radius**2 + radius * rim + rim**2) / (3 * (radius + rim)) - tip / 2 - slope * reach / 3)
        moment = reach**2 / 4 * (height - 4 / 3 * tip * slope * reach - (across + slope**2) * reach**2 / 2)
        return volume, moment

    shoulder = tip + cone
    kink = asin(min(sqrt(max(radius**2 - shoulder**2, 0.0)) / bore, 1.0))
    volume = moment = 0.0
    for start, end in ((0.0, kink), (kink, pi / 2)):
        for angle, share in _quadrature(start, end):
            more_volume, more_moment = sector(angle)
            volume += 4 * share * more_volume
            moment += 4 * share * more_moment
    return Estimate(volume, moment)


def _quadrature(start: float, end: float) -> Iterator[tuple[float, float]]:
    """Where to take a function, and with what share, to integrate it from start to end: the tanh-sinh rule."""
    middle, half = (start + end) / 2, (end - start) / 2
    if half > 0:
        for place, share in _TANH_SINH:
            yield middle + half * place, half * share


_STEP = 0.2
_TANH_SINH = [
    (tanh(pi / 2 * sinh(t)), _STEP * pi / 2 * cosh(t) / cosh(pi / 2 * sinh(t)) ** 2)
    for t in (_STEP * k for k in range(-15, 16))
]


def _root(falling: Callable[[float], float], low: float, high: float) -> float:
    """Where a falling function crosses zero between low and high: false position, with the Illinois halving."""
    at_low, at_high = falling(low), falling(high)
    if at_high >= 0:
        return high
    middle, before = low, inf
    while abs(middle - before) > 1e-9 and at_low > 0 > at_high:
        before, middle = middle, high - at_high * (high - low) / (at_high - at_low)
        at_middle = falling(middle)
        if at_middle > 0:
            low, at_low, at_high = middle, at_middle, at_high / 2
        else:
            high, at_high, at_low = middle, at_middle, at_low / 2
    return middle
