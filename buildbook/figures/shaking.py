"""What this engine shakes with, and the balance factor that leaves the least."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from math import pi
from typing import TYPE_CHECKING, NamedTuple

from buildbook.balance import shaking
from buildbook.balance.bobweights import ThrowBobweight, as_one_weight
from buildbook.balance.shaking import Order, Piston, Turn, Turning
from buildbook.figures.cylinders import cylinder_weights
from buildbook.figures.throws import assumed_of_banks, cylinders_along, unstated_distance
from buildbook.quantities import Quantity

if TYPE_CHECKING:
    from buildbook.figures import Figures

# What the trade uses where nobody has worked it out: common practice, no source.
COMMON_PRACTICE = 50.0

# Below this share of what all pistons would do if nothing cancelled it is next to nothing, and not drawn.
NEGLIGIBLE = 0.002


class Orders(NamedTuple):
    """The free force and moment of the first and of the second order."""

    first: Order
    second: Order


class Masses(NamedTuple):
    """What moves in this build: the pistons about mid-length, what turns with the crankpins beyond what the
    counterweights answer for, and in words whose weights and which counterweights those are."""

    pistons: tuple[Piston, ...]
    turning: tuple[Turning, ...]
    whose: str
    counterweights: str


class Peak(NamedTuple):
    """The largest value in a turn, and the crank angle [deg] at which it is reached."""

    amount: float
    angle: int


@dataclass(frozen=True)
class BuildShaking:
    """This build at a speed [rpm]: forces in N, moments about mid-length in N·m.

    `pistons` by what goes up and down alone, as tables have it; `balanced` with the crankshaft's counterweights.
    """

    speed: float
    newton: float  # what 1 g at the crank radius pulls with [N]
    masses: Masses
    pistons: Orders
    balanced: Orders
    force: tuple[complex, ...]  # balanced, exactly, at each degree of a turn
    moment: tuple[complex, ...]
    two_terms: Turn  # the same by the usual series, r ω² (cos t + λ cos 2t)

    @property
    def uncancelled(self) -> tuple[float, float]:
        """The force and the moment that all pistons would make of the first order if nothing cancelled: against that,
        what the few grams between pieces make is next to nothing."""
        newton = self.newton * sum(each.weight for each in self.masses.pistons)
        reach = self.newton * sum(each.weight * abs(each.position) for each in self.masses.pistons)
        return newton, reach / 1000

    @property
    def largest_force(self) -> Peak:
        return peak(self.force)

    @property
    def largest_moment(self) -> Peak:
        return peak(self.moment)


def peak(turn: Sequence[complex]) -> Peak:
    angle = max(range(len(turn)), key=lambda at: abs(turn[at]))
    return Peak(abs(turn[angle]), angle)


class SplitThrow(NamedTuple):
    """A throw with split pins: what belongs on each pin, and the one weight that would stand for both [g]."""

    throw: ThrowBobweight
    as_one: complex


class Factor(NamedTuple):
    """What one factor [per cent] leaves: the largest value in a turn, and, where only one direction counts, the largest
    across it."""

    factor: float
    left: float
    across: float | None = None


@dataclass(frozen=True)
class FactorFigures:
    """What counterweights leave by their factor, of what the builder wants `least` of.

    In `unit`: N or N·m for the masses of this build at a speed, or else F1, what one piston pulls, and F1 a or F1 b, a
    being from one throw to the next and b from one bank to the other where there is one throw. What goes round is taken
    as answered for in full. `best` is None where what turns with the crankpins cancels, so that no factor changes
    anything.
    """

    least: str
    unit: str
    best: Factor | None
    chosen: Factor | None
    common_practice: Factor
    curve: tuple[Factor, ...]
    against_crank: float  # of the first order without counterweights, as a share of what turns with the crankshaft
    first_order_only: bool  # where no rod length is known
    has_length: bool  # whether cylinders stand one behind the other, so that there can be a moment
    split: tuple[SplitThrow, ...]


class Shaking:
    """The shaking of one build. Raises LayoutError where the layout is not known."""

    def __init__(self, figures: "Figures", speed: float | None) -> None:
        self.figures = figures
        self.layout = figures.layout
        stated = figures.build.balance.max_speed
        self.speed = speed if speed is not None else float(stated.worth("rpm")) if stated else None

    @cached_property
    def crank_to_rod(self) -> float | None:
        """λ, crank radius over rod length; None where engine.yaml gives no two sizes that can turn."""
        radius, rod = self._radius, _mm(self.figures.build.engine.rod_length)
        return radius / rod if radius and rod and radius < rod else None

    @cached_property
    def nominal(self) -> Orders:
        """Of the layout alone, without counterweights, in the units of handbooks: forces as multiples of one piston's,
        F₁ = m r ω² in the first order and F₂ = λ m r ω² in the second; moments as multiples of these times the distance
        from one throw to the next."""
        nominal = shaking.nominal_pistons(self.layout)
        return Orders(shaking.order(1, nominal), shaking.order(2, nominal))

    @cached_property
    def missing(self) -> tuple[str, ...]:
        """What this build lacks for figures in N and N·m."""
        engine = self.figures.build.engine
        said = []
        if engine.stroke is None or engine.rod_length is None:
            said.append("engine.yaml gives no stroke or no rod_length")
        elif self.crank_to_rod is None:
            said.append("engine.yaml gives a rod no longer than half the stroke, which cannot turn")
        if apart := unstated_distance(engine, self.layout):
            said.append(f"engine.yaml gives no {apart}")
        if self.speed is None:
            said.append("no speed: give --speed RPM, or balance: {max_speed: …} in build.yaml")
        return (*said, *self._not_weighed)

    @property
    def assumed(self) -> str | None:
        """What is taken for granted of where the banks stand, in words."""
        return assumed_of_banks(self.figures.build.engine, self.layout)

    @cached_property
    def build(self) -> BuildShaking | None:
        """In N and N·m; None where something is `missing`."""
        if self.missing or self.speed is None or self.crank_to_rod is None:
            return None
        masses, newton = self._masses, self._newton
        first, alone = shaking.order(1, masses.pistons, masses.turning), shaking.order(1, masses.pistons)
        second = shaking.order(2, masses.pistons)
        exact_second = second.times(*[shaking.order_coefficient(2, self.crank_to_rod)] * 2)
        turn = shaking.turn(masses.pistons, masses.turning, self.crank_to_rod)
        return BuildShaking(
            speed=self.speed,
            newton=newton,
            masses=masses,
            pistons=Orders(_in_newton(alone, newton), _in_newton(exact_second, newton)),
            balanced=Orders(_in_newton(first, newton), _in_newton(exact_second, newton)),
            force=tuple(newton * each for each in turn.force),
            moment=tuple(newton / 1000 * each for each in turn.moment),
            two_terms=shaking.two_terms(
                _in_newton(first, newton), _in_newton(second.times(self.crank_to_rod, self.crank_to_rod), newton)
            ),
        )

    def factor(self, least: str | None) -> FactorFigures:
        """The factor that leaves the least of something in `balance.shaking.SIDES`; the force unless a factor changes
        only the moment. Without a rod length the second order and above are left out."""
        exact = self.build is not None
        alike, a = self._alike
        matters = [what for what in shaking.SIDES if shaking.can_be_changed(alike, what)]
        if least is None:
            least = "moment" if "force" not in matters and "moment" in matters else "force"
        moment = shaking.SIDES[least].of_moment
        pistons, ratio = self._masses.pistons if exact else alike, self.crank_to_rod or _NO_SECOND_ORDER
        left = shaking.left(pistons, ratio, least)
        across = replace(left, counts=shaking.SIDES[shaking.ACROSS[least]].counts) if least in shaking.ACROSS else None
        scale = self._newton / (1000 if moment else 1) if exact else 1.0
        choice = self.figures.build.balance.factor

        def leaves(factor: float) -> Factor:
            return Factor(factor, scale * left.at(factor), scale * across.at(factor) if across else None)

        first = shaking.order(1, alike).moment if moment else shaking.order(1, alike).force
        return FactorFigures(
            least=least,
            unit=("N·m" if moment else "N") if exact else (f"F1 {a}" if moment else "F1"),
            best=leaves(left.best()) if least in matters else None,
            chosen=leaves(float(choice)) if choice is not None else None,
            common_practice=leaves(COMMON_PRACTICE),
            curve=tuple(leaves(float(factor)) for factor in range(0, 101, 5)),
            against_crank=abs(first.against_crank) / abs(first.with_crank) if least in matters else 0.0,
            first_order_only=self.crank_to_rod is None,
            has_length=any(each.position for each in alike),
            split=tuple(
                SplitThrow(throw, as_one_weight(throw))
                for throw in self.figures.bobweights.throws.values()
                if len(throw.pins) > 1
            ),
        )

    @property
    def _radius(self) -> float | None:
        stroke = _mm(self.figures.build.engine.stroke)
        return stroke / 2 if stroke else None

    @property
    def _newton(self) -> float:
        """What 1 g at the crank radius pulls with [N] at the speed: r ω², in kg and m."""
        assert self._radius is not None
        assert self.speed is not None
        return self._radius * 1e-6 * (2 * pi * self.speed / 60) ** 2

    @property
    def _has_length(self) -> bool:
        """Whether any two cylinders of a bank stand one behind the other."""
        return len({each.bank for each in self.layout.cylinders.values()}) < len(self.layout.cylinders)

    @property
    def _matched(self) -> bool:
        pairing = self.figures.pairing
        return pairing is not None and pairing.complete

    @cached_property
    def _weighed(self) -> Mapping[str, tuple[Fraction, Fraction, tuple[str, ...]]]:
        """Cylinder → what goes up and down, what goes round [g], and the kinds of weighing that are missing."""
        pairing, found = self.figures.pairing, {}
        for cylinder in self.layout.cylinders:
            pieces = pairing.cylinders[cylinder].pieces if pairing is not None and self._matched else None
            weights, missing = cylinder_weights(self.figures.kinds, self.figures.weighings, pieces)
            up_and_down, around = (sum((each.weight * each.count for each in part), Fraction(0)) for part in weights)
            found[cylinder] = up_and_down, around, missing
        return found

    @property
    def _not_weighed(self) -> tuple[str, ...]:
        from buildbook.records.model import WEIGHING_KINDS

        kinds = dict.fromkeys(what for _, _, missing in self._weighed.values() for what in missing)
        return (f"not weighed: {', '.join(WEIGHING_KINDS[what].title for what in kinds)}",) if kinds else ()

    @cached_property
    def _masses(self) -> Masses:
        places = cylinders_along(self.figures.build.engine, self.layout)
        weights = {cylinder: float(up_and_down) for cylinder, (up_and_down, _, _) in self._weighed.items()}
        turning = [
            Turning(float(self._weighed[cylinder.name][1]), cylinder.pin_angle, places[cylinder.name])
            for cylinder in self.layout.cylinders.values()
        ]
        hung, said = self._counterweights
        for throw in self.layout.throws if hung else ():
            for pin in self.layout.pins(throw):
                place = sum(places[cylinder] for cylinder in pin.cylinders) / len(pin.cylinders)
                turning.append(Turning(-hung[throw, pin.angle], pin.angle, place))
        zero = shaking.middle(places)
        return Masses(
            tuple(shaking.pistons(self.layout, places, weights)),
            tuple(each._replace(position=each.position - zero) for each in turning),
            "the matched pieces in their cylinders" if self._matched else "the mean of each kind: nothing is matched",
            said,
        )

    @property
    def _alike(self) -> tuple[Sequence[Piston], str]:
        """Pistons of 1 g each where they are in this engine, as multiples of the distance from one throw to the next
        (a), or of the bank offset where there is but one throw (b); where engine.yaml does not say, as in handbooks."""
        engine = self.figures.build.engine
        if not self._has_length and engine.bank_offset is not None:
            return self._in_multiples(0.0, 1.0), "b"
        spacing, offset = _mm(engine.bore_spacing), _mm(engine.bank_offset)
        if spacing is None:
            return shaking.nominal_pistons(self.layout), "a"
        a = spacing / (len(self.layout.banks) if shaking.one_cylinder_a_throw(self.layout) else 1)
        return self._in_multiples(spacing / a, offset / a if offset is not None else None), "a"

    def _in_multiples(self, spacing: float, offset: float | None) -> list[Piston]:
        places = shaking.positions(self.layout, spacing, offset)
        return shaking.pistons(self.layout, places, dict.fromkeys(places, 1.0))

    @cached_property
    def _counterweights(self) -> tuple[Mapping[tuple[str, float], float], str]:
        """What the crankshaft's counterweights answer for at each pin [g], the oil left out, since it is there in the
        engine as well: the bobweights that it was balanced with, each half on its own pin where pins are split."""
        bobweights = self.figures.bobweights
        pins = {throw: self.layout.pins(throw) for throw in self.layout.throws}
        whole: Mapping[str, Fraction] = {}  # by throw, where not every pin has its own
        if all(throw in bobweights.set for throw in pins):
            whole = {throw: bobweights.set[throw].weight for throw in pins}
            said = "balanced with the bobweights as set"
        elif not bobweights.wanted:
            return {}, "a crankshaft that is spun without bobweights"
        elif not bobweights.throws:
            return {}, "no counterweights: no bobweight is worked out yet"
        else:
            if bobweights.target is not None:
                whole = dict.fromkeys(pins, bobweights.target.total)
            said = "balanced with the bobweights as worked out"
        hung = {}
        for throw, on_throw in pins.items():
            for place, pin in enumerate(on_throw):
                own = whole[throw] / len(on_throw) if whole else bobweights.throws[throw].pins[place].total
                hung[throw, pin.angle] = float(own - bobweights.oil / len(on_throw))
        factor = f", {float(bobweights.factor):g} %" if bobweights.factor is not None else ""
        return hung, f"{said}{factor}"


def _in_newton(order: Order, newton: float) -> Order:
    """From g and g·mm per crank radius and ω² to N and N·m."""
    return order.times(newton, newton / 1000)


# So long a rod that only the first order is left.
_NO_SECOND_ORDER = 1e-6


def _mm(quantity: Quantity | None) -> float | None:
    return float(quantity.worth("mm")) if quantity is not None else None
