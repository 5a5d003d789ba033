"""What an engine shakes with: free inertia forces and moments of its pistons, and what counterweights take off them.

A vector across the engine is a complex number, its real part up and its imaginary part to the side that bank angles
count towards. With the crankshaft turned by θ, a pin at φ and a bank at β, a piston of mass m pushes along its bank by
m r ω² Σₖ Aₖ cos k(θ + φ − β), A₁ = 1 and A₂ close to λ = r/l. A push to and fro is two that go round, half each:

    cos k(θ + φ − β) e^(iβ) = ½ e^(ikθ) e^(i(kφ − kβ + β)) + ½ e^(−ikθ) e^(i(β + kβ − kφ))

The first turns with the crankshaft, at k times its speed, the second against it. In the first order the half that
turns with it is ½ m r ω² e^(i(θ + φ)) in any engine: half of each piston acts as if it were bolted to its own crankpin.
That half a counterweight can cancel; nothing on the crankshaft can touch the other half, nor the second order.

Masses in g, lengths in mm, angles in deg; unbalances in g·mm and g·mm². Left out: gas forces and the torque about the
crankshaft's axis, pin offset, and the rod's moment of inertia beyond its two weights. The formulas follow from geometry
(Taylor, The Internal-Combustion Engine, vol. 2, ch. 8, and the Bosch Automotive Handbook's table, both from memory).
"""

from cmath import rect
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import atan2, cos, degrees, pi, radians
from typing import NamedTuple

from buildbook.balance.layouts import Layout
from buildbook.fits.motion import piston_acceleration

# A crank that turns at 1 rad/s [rpm], so that accelerations come out as multiples of ω².
_ONE_RADIAN_A_SECOND = 30 / pi

_A_TURN = 360  # places looked at in one turn


class Piston(NamedTuple):
    """What goes up and down in one cylinder [g], its pin's and its bank's angle [deg], and where it is [mm]."""

    weight: float
    pin_angle: float
    bank_angle: float
    position: float


class Turning(NamedTuple):
    """A mass that goes round with a crankpin [g] (below zero for a counterweight opposite it), and where it is."""

    weight: float
    pin_angle: float
    position: float


def _turned(vector: complex) -> float:
    """The angle of a vector [rad]; `cmath.phase` does not take one so short that a float can hardly hold it."""
    return atan2(vector.imag, vector.real)


class Circles(NamedTuple):
    """Something that goes round as an ellipse: `with_crank` e^(ikθ) + `against_crank` e^(−ikθ)."""

    with_crank: complex
    against_crank: complex

    @property
    def largest(self) -> float:
        """Half the long axis of the ellipse: |W| + |G|."""
        return abs(self.with_crank) + abs(self.against_crank)

    @property
    def smallest(self) -> float:
        """Half the short axis: ||W| − |G||."""
        return abs(abs(self.with_crank) - abs(self.against_crank))

    @property
    def direction(self) -> float:
        """Where the long axis points [deg from vertical], 0 to below 180: the two circles meet midway between them."""
        midway = (_turned(self.with_crank) + _turned(self.against_crank)) / 2
        return degrees(midway) % 180

    def at(self, turned: complex) -> complex:
        """The vector once it has turned by e^(ikθ)."""
        return self.with_crank * turned + self.against_crank * turned.conjugate()

    def times(self, factor: float) -> "Circles":
        return Circles(self.with_crank * factor, self.against_crank * factor)


class Order(NamedTuple):
    """The free force and the free moment of one order."""

    force: Circles
    moment: Circles

    def times(self, force: float, moment: float) -> "Order":
        return Order(self.force.times(force), self.moment.times(moment))


def positions(layout: Layout, bore_spacing: float, bank_offset: float | None) -> dict[str, float]:
    """Where each cylinder is along the crankshaft [mm], rearward from the middle of throw 1.

    In its own bank a cylinder stands `bore_spacing` behind the one before it. A bank stands `bank_offset` behind the
    bank whose first cylinder comes before its own. Where that is not known, rods that share a throw are taken as in one
    plane, and throws with one cylinder each as evenly spaced; so are these where their banks do not take turns.
    """
    order = {throw: place for place, throw in enumerate(layout.throws)}
    in_order = sorted(layout.cylinders.values(), key=lambda each: order[each.throw])  # keeps the cylinders' own order
    banks = list(dict.fromkeys(each.bank for each in in_order))
    if bank_offset is None:
        bank_offset = bore_spacing / len(banks) if one_cylinder_a_throw(layout) else 0.0
    seen = dict.fromkeys(banks, 0)
    found = {}
    for each in in_order:
        found[each.name] = seen[each.bank] * bore_spacing + banks.index(each.bank) * bank_offset
        seen[each.bank] += 1
    along = [found[each.name] for each in in_order]
    if one_cylinder_a_throw(layout) and along != sorted(along):
        found = {each.name: place * bore_spacing / len(banks) for place, each in enumerate(in_order)}
    on_first = [found[each.name] for each in in_order if each.throw == in_order[0].throw]
    zero = sum(on_first) / len(on_first)
    return {name: found[name] - zero for name in layout.cylinders}


def one_cylinder_a_throw(layout: Layout) -> bool:
    """Whether each cylinder has a throw of its own though there are several banks, as in a boxer engine."""
    return len(layout.banks) > 1 and len(layout.throws) == len(layout.cylinders)


def middle(positions: Mapping[str, float]) -> float:
    """The place [mm] that moments are taken about: midway between the first and the last cylinder."""
    return (min(positions.values()) + max(positions.values())) / 2


def nominal_pistons(layout: Layout) -> list[Piston]:
    """Pistons of 1 g in an engine whose throws stand 1 mm apart, about mid-length: the engine of handbook tables."""
    spacing = float(len(layout.banks)) if one_cylinder_a_throw(layout) else 1.0
    return pistons(layout, positions(layout, spacing, None), dict.fromkeys(layout.cylinders, 1.0))


def pistons(layout: Layout, positions: Mapping[str, float], weights: Mapping[str, float]) -> list[Piston]:
    """The pistons of an engine by the weight that goes up and down in each cylinder [g], about mid-length."""
    zero = middle(positions)
    return [
        Piston(weights[name], each.pin_angle, each.bank_angle, positions[name] - zero)
        for name, each in layout.cylinders.items()
    ]


@lru_cache
def order_coefficient(order: int, crank_to_rod: float) -> float:
    """Aₖ of the exact slider-crank's acceleration, in r ω²: A₁ = 1, A₂ = λ + λ³/4 + 15 λ⁵/128 + …

    The Fourier coefficient of cos kt, by equal steps round one turn, which for so smooth a curve is exact to the last
    digits of a float. Raises ValueError for a rod no longer than the crank radius (λ of 1 or more).
    """
    steps = 1024
    turn = range(steps)
    return (2 / steps) * sum(
        _acceleration(360 * at / steps, crank_to_rod) * cos(2 * pi * order * at / steps) for at in turn
    )


def _acceleration(angle: float, crank_to_rod: float) -> float:
    """A piston's acceleration towards the crankshaft, in r ω²."""
    return piston_acceleration(angle, 2000.0, 1000.0 / crank_to_rod, _ONE_RADIAN_A_SECOND)


def order(number: int, pistons: Sequence[Piston], turning: Sequence[Turning] = (), coefficient: float = 1.0) -> Order:
    """The free force [g] and moment [g·mm] of one order, per crank radius and ω², by the formula above.

    Pistons count with Aₖ = `coefficient`; what turns with the crankpins only in the first order.
    """
    circles = []
    for each in pistons:
        half = coefficient * each.weight / 2
        pin, bank = radians(each.pin_angle), radians(each.bank_angle)
        ahead = number * (pin - bank)
        circles.append((rect(half, bank + ahead), rect(half, bank - ahead), each.position))
    if number == 1:
        circles += [(rect(mass.weight, radians(mass.pin_angle)), 0j, mass.position) for mass in turning]
    return Order(
        Circles(sum(forward for forward, _, _ in circles), sum(backward for _, backward, _ in circles)),
        Circles(
            sum(position * forward for forward, _, position in circles),
            sum(position * backward for _, backward, position in circles),
        ),
    )


class Turn(NamedTuple):
    """The free force [g] and moment [g·mm] at each degree of one turn, all orders together, per crank radius and ω²."""

    force: tuple[complex, ...]
    moment: tuple[complex, ...]


def turn(pistons: Sequence[Piston], turning: Sequence[Turning], crank_to_rod: float) -> Turn:
    """One turn of the exact slider-crank: Σ m a(θ + φ − β) e^(iβ) + Σ m e^(i(θ + φ)), a in r ω².

    Raises ValueError for a rod no longer than the crank radius.
    """
    force, moment = zip(*(at_angle(angle, pistons, turning, crank_to_rod) for angle in range(_A_TURN)), strict=True)
    return Turn(force, moment)


def two_terms(first: Order, second: Order) -> Turn:
    """One turn of the first and second order alone, at each degree: W₁ e^(iθ) + G₁ e^(−iθ) + W₂ e^(2iθ) + G₂ e^(−2iθ).

    With A₂ = λ it is the usual series for the slider-crank, r ω² (cos t + λ cos 2t).
    """
    forces, moments = [], []
    for angle in range(_A_TURN):
        once, twice = rect(1, radians(angle)), rect(1, radians(2 * angle))
        forces.append(first.force.at(once) + second.force.at(twice))
        moments.append(first.moment.at(once) + second.moment.at(twice))
    return Turn(tuple(forces), tuple(moments))


def at_angle(
    crank: float, pistons: Sequence[Piston], turning: Sequence[Turning], crank_to_rod: float
) -> tuple[complex, complex]:
    """The free force and moment with the crankshaft turned to one angle [deg]; see `turn`."""
    acting = [
        (rect(each.weight * _acceleration(crank + each.pin_angle - each.bank_angle, crank_to_rod),
              radians(each.bank_angle)), each.position)
        for each in pistons
    ]  # fmt: skip
    acting += [(rect(mass.weight, radians(crank + mass.pin_angle)), mass.position) for mass in turning]
    return sum(vector for vector, _ in acting), sum(position * vector for vector, position in acting)


class Side(NamedTuple):
    """What a builder may want least of: the force or the moment, and what counts of its vector."""

    of_moment: bool
    counts: Callable[[complex], float]


def _up_and_down(vector: complex) -> float:
    return abs(vector.real)


def _sideways(vector: complex) -> float:
    return abs(vector.imag)


SIDES: Mapping[str, Side] = {
    "force": Side(False, abs),
    "vertical": Side(False, _up_and_down),
    "horizontal": Side(False, _sideways),
    "moment": Side(True, abs),
    "moment_vertical": Side(True, _up_and_down),
    "moment_horizontal": Side(True, _sideways),
}

# What a factor adds to as it takes from the other.
ACROSS: Mapping[str, str] = {
    "vertical": "horizontal",
    "horizontal": "vertical",
    "moment_vertical": "moment_horizontal",
    "moment_horizontal": "moment_vertical",
}


@dataclass(frozen=True)
class Left:
    """What counterweights of one factor leave over a turn: what the pistons do less factor/100 × what their weights
    would do if they turned with their crankpins; `counts` is what counts of it. Per crank radius [g or g·mm]."""

    pistons: tuple[complex, ...]
    as_if_turning: tuple[complex, ...]
    counts: Callable[[complex], float]
    scale: float  # what all of them would do if nothing cancelled

    def at(self, factor: float) -> float:
        """The largest value in a turn at a factor [per cent]."""
        share, counts = factor / 100, self.counts
        return max(counts(p - share * t) for p, t in zip(self.pistons, self.as_if_turning, strict=True))

    def best(self) -> float:
        """The factor, 0 to 100 per cent, that leaves the least.

        The largest of values that are each straight, or a V, in the factor has one valley: cutting the range by thirds
        finds its floor. Where the floor is flat, because another part of the turn decides, its middle is meant.
        """
        low, high = 0.0, 100.0
        while high - low > 1e-6:
            third = (high - low) / 3
            if self.at(low + third) <= self.at(high - third):
                high -= third
            else:
                low += third
        floor = self.at(low) + 1e-9 * self.scale
        return (self._edge(low, 0.0, floor) + self._edge(low, 100.0, floor)) / 2

    def _edge(self, inside: float, outside: float, floor: float) -> float:
        """Where the floor of the valley ends, between a factor on it and one that may not be."""
        if self.at(outside) <= floor:
            return outside
        while abs(outside - inside) > 1e-6:
            middle = (inside + outside) / 2
            inside, outside = (middle, outside) if self.at(middle) <= floor else (inside, middle)
        return inside


def left(pistons: Sequence[Piston], crank_to_rod: float, least: str) -> Left:
    """What is left of the pistons' shaking, by factor. Raises KeyError for a `least` that is not in SIDES, ValueError
    for a rod no longer than the crank radius."""
    side = SIDES[least]
    moving = turn(pistons, (), crank_to_rod)
    turned = turn((), [Turning(each.weight, each.pin_angle, each.position) for each in pistons], crank_to_rod)
    if side.of_moment:
        scale = sum(each.weight * abs(each.position) for each in pistons)
        return Left(moving.moment, turned.moment, side.counts, scale)
    return Left(moving.force, turned.force, side.counts, sum(each.weight for each in pistons))


def can_be_changed(pistons: Sequence[Piston], least: str) -> bool:
    """Whether counterweights can change the force, or the moment, at all: not where what turns with the crankpins
    cancels by itself. Raises KeyError for a `least` that is not in SIDES."""
    turned = order(1, (), [Turning(each.weight, each.pin_angle, each.position) for each in pistons])
    if SIDES[least].of_moment:
        return abs(turned.moment.with_crank) > 1e-9 * sum(each.weight * abs(each.position) for each in pistons)
    return abs(turned.force.with_crank) > 1e-9 * sum(each.weight for each in pistons)
