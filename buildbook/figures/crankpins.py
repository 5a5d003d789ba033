"""What the sets in their cylinders put on each crankpin, and what that leaves on the assembled crankshaft.

The crankshaft is balanced with bobweights that are equal; the parts that it carries are not. What a crankpin carries
beyond its bobweight is δ = Σ (big ends and bearings + factor × what goes up and down) + oil − bobweight [g], over the
cylinders on that pin, and what all of them leave is Σ δ r e^(iφ) [g·mm], each carried from its place along the
crankshaft to both planes by the lever rule (`balance.unbalance.carry`).

Two things are left out. What the last spin left at the crankshaft itself comes on top, and no placing changes it. And a
bobweight's factor is a choice, while of what goes up and down unequally exactly half turns with the crankshaft and half
against it (`balance.shaking`): the rest of it is a matter of shaking, not of this balance.
"""

from cmath import rect
from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from functools import cached_property
from math import hypot, radians
from typing import TYPE_CHECKING, Literal, NamedTuple

from buildbook.balance.bobweights import ThrowBobweight, bobweight
from buildbook.balance.layouts import Pin
from buildbook.balance.proving import COVERAGE
from buildbook.balance.unbalance import NOTHING, Unbalance, carry
from buildbook.figures.balance import PLANES, NoBalance, mm
from buildbook.figures.cylinders import cylinder_weights, reading_name
from buildbook.figures.match import Incomplete
from buildbook.figures.standing import PARTS_LINE, WEIGHED_LINE, FloorLine, Standing
from buildbook.figures.throws import cylinders_along, unstated_sizes
from buildbook.records.model import WEIGHING_KINDS

if TYPE_CHECKING:
    from buildbook.figures import Figures

# Half of what goes up and down turns with the crankshaft: what counts where nobody chose a factor, since the crankshaft
# is spun without bobweights.
HALF = Fraction(50)

JudgedBy = Literal["permissible", "shop", "grams"]


class Left(NamedTuple):
    """What the parts in their cylinders leave on the crankshaft: vectors at the spin planes [g·mm], and that against
    the limits. `worst` is the larger of the planes, as `JudgedBy` says: a share of its limit, or grams."""

    unbalance: Unbalance
    standing: Standing
    worst: float

    @property
    def over(self) -> bool:
        """Whether it is more than a limit allows at either plane."""
        standing = self.standing
        return any(standing.carried[plane] > standing.permissible[plane] for plane in standing.permissible) or any(
            standing.amounts[plane] > standing.shop[plane] for plane in standing.shop
        )


class OnThrow(NamedTuple):
    """What one throw carries [g], oil and all, and what that is more than the bobweight that stood in for it."""

    total: Fraction
    more: Fraction
    cylinders: tuple[str, ...]

    @property
    def half(self) -> Fraction:
        """Each of the two halves of a bobweight of its own [g]."""
        return self.total / 2


class ByThrow(NamedTuple):
    """What each throw carries, and what is left on the crankshaft with one bobweight for all (`common`) and with one of
    each throw's own (`own`: nothing but that rods of one pin stand beside one another). `floor`: grams at the planes'
    radii, at k = 2, that all of the job leaves uncertain, but for what is `unknown` yet.

    `worth`: `no`, they differ by no more than the job can tell; `yes`, one for all leaves more than a limit allows;
    `within_limits`, it does not.
    """

    throws: Mapping[str, OnThrow]
    common: Left
    own: Left
    floor: Mapping[str, float]
    unknown: tuple[str, ...]
    worth: Literal["no", "within_limits", "yes"]


def by_throw(figures: "Figures") -> ByThrow:
    """Whether bobweights of each throw's own are worth it with the sets as they are matched. Raises LayoutError,
    Incomplete, MatchingError, NoBalance."""
    return Crankpins(figures, sets_of(figures), against_set=False).by_throw


def sets_of(figures: "Figures") -> list[Mapping[str, str]]:
    """The pieces in each cylinder as decided, or, before that, as `match` finds them. Raises Incomplete, LayoutError
    and MatchingError."""
    pairing = figures.pairing
    if pairing is None:
        return [figures.match.cylinders[name].pieces for name in figures.layout.cylinders]
    empty = [name for name in figures.layout.cylinders if not pairing.cylinders[name].pieces]
    if empty:
        raise Incomplete(f"pairings.yaml names no set for cylinder {', '.join(empty)}")
    return [pairing.cylinders[name].pieces for name in figures.layout.cylinders]


class Crankpins:
    """The sets as they are in their cylinders, numbered from 0 in the order of the layout. Raises Incomplete,
    LayoutError and NoBalance.

    `against_set`: held against the bobweights as they were set, where that is known; else against equal ones, which are
    the common target wherever there is one.
    """

    def __init__(self, figures: "Figures", sets: Sequence[Mapping[str, str]], *, against_set: bool = True) -> None:
        self.figures = figures
        self.layout = figures.layout
        self.names = list(self.layout.cylinders)
        self.yardsticks = figures.yardsticks
        self.planes = figures.balance.planes
        self.sets = sets
        choice = figures.build.balance.factor
        self.factor = HALF if choice is None else Fraction(choice)
        self.carried, self.not_weighed = self._carried()
        self.mean = sum((each.total for each in self.carried), Fraction(0)) / len(self.names)
        known = figures.bobweights.wanted and choice is not None and not self.not_weighed
        self.as_set = against_set and known and all(throw in figures.bobweights.set for throw in self.layout.throws)

    # ---- what turns

    def _carried(self) -> tuple[list[ThrowBobweight], tuple[str, ...]]:
        """What each set puts on its crankpin, as a bobweight without oil; and what nobody weighed: small things, which
        count as equal."""
        kinds, weighings = self.figures.kinds, self.figures.weighings
        carried, lacking = [], dict[str, list[str]]()
        for name, pieces in zip(self.names, self.sets, strict=True):
            weights, missing = cylinder_weights(kinds, weighings, pieces)
            carried.append(bobweight(name, (Pin(0.0, (name,)),), {name: weights}, self.factor, Fraction(0)))
            for what in missing:
                lacking.setdefault(what, []).append(name)
        needed = {what: names for what, names in lacking.items() if WEIGHING_KINDS[what].each or what in weighings}
        if needed:
            said = (f"{WEIGHING_KINDS[what].title} of cylinder {', '.join(names)}" for what, names in needed.items())
            raise Incomplete(f"not weighed: {'; '.join(said)}")
        return carried, tuple(WEIGHING_KINDS[what].title for what in lacking)

    @property
    def sessions(self) -> tuple[str, ...]:
        """The weighings that it rests on."""
        used = (
            summary.pieces[name].session.id
            for what in self.figures.kinds
            if (summary := self.figures.weighings.get(what)) is not None
            for pieces in self.sets
            if (name := reading_name(what, pieces)) is not None and name in summary.pieces
        )
        return tuple(dict.fromkeys(session for session in used if session is not None))

    def _pins(self) -> Iterator[tuple[str, Pin, int]]:
        """Every crankpin, with its throw and how many that throw has."""
        for throw in self.layout.throws:
            pins = self.layout.pins(throw)
            for pin in pins:
                yield throw, pin, len(pins)

    @cached_property
    def _hung(self) -> dict[tuple[str, float], Fraction]:
        """What stood in for the parts at each crankpin [g]: its share of the bobweight as set on its throw, or as many
        mean sets as it carries rods, and its share of the oil."""
        oil, stood = self.figures.bobweights.oil, self.figures.bobweights.set
        return {
            (throw, pin.angle): stood[throw].weight / pins
            if self.as_set
            else len(pin.cylinders) * self.mean + oil / pins
            for throw, pin, pins in self._pins()
        }

    @cached_property
    def throws(self) -> dict[str, OnThrow]:
        at = dict(zip(self.names, self.carried, strict=True))
        result = {}
        for throw in self.layout.throws:
            pins = self.layout.pins(throw)
            cylinders = tuple(name for pin in pins for name in pin.cylinders)
            total = sum((at[name].total for name in cylinders), self.figures.bobweights.oil)
            result[throw] = OnThrow(total, total - sum(self._hung[throw, pin.angle] for pin in pins), cylinders)
        return result

    @cached_property
    def acts(self) -> list[Unbalance]:
        """What one gram on the crankpin of each cylinder is worth at the spin planes [g·mm]."""
        engine = self.figures.build.engine
        if lacking := unstated_sizes(engine, self.layout):
            what = f"engine.yaml states no {' and no '.join(lacking)}"
            raise NoBalance(engine.where, what, "add it: it says where along the crankshaft a weight acts")
        along = cylinders_along(engine, self.layout)
        radius, zero = mm(engine.stroke) / 2, next(iter(self.layout.throws.values()))
        return [
            self.planes.carry(rect(radius, radians(each.pin_angle - zero)), along[name])
            for name, each in self.layout.cylinders.items()
        ]

    @cached_property
    def rest(self) -> Unbalance:
        """What there is with a mean set in every cylinder [g·mm]: a bobweight acts midway between the rods that it
        stands for, and its own share of the oil is in the engine as well."""
        oil, total = self.figures.bobweights.oil, NOTHING
        for throw, pin, pins in self._pins():
            each = (self._hung[throw, pin.angle] - oil / pins) / len(pin.cylinders)
            for name in pin.cylinders:
                total += self.acts[self.names.index(name)] * float(self.mean - each)
        return total

    @property
    def more(self) -> list[float]:
        """What each cylinder puts on its crankpin more than a mean set [g]."""
        return [float(each.total - self.mean) for each in self.carried]

    @cached_property
    def left(self) -> Left:
        """What is left on the crankshaft."""
        return self._left(sum((acts * more for acts, more in zip(self.acts, self.more, strict=True)), start=self.rest))

    @cached_property
    def by_throw(self) -> ByThrow:
        common, own, floor = self.left, self._left(self._own()), self.floor
        gains = (common.standing.amounts[plane] - own.standing.amounts[plane] > floor[plane] for plane in PLANES)
        worth: Literal["no", "within_limits", "yes"] = "no"
        if any(gains):
            worth = "yes" if common.over else "within_limits"
        unknown = tuple(each.what for each in self.floor_lines if each.unknown is not None)
        return ByThrow(self.throws, common, own, floor, unknown, worth)

    def _own(self) -> Unbalance:
        """What is left where every crankpin had the bobweight of its own rods, midway between them [g·mm]."""
        left = NOTHING
        for _, pin, _ in self._pins():
            on = [self.names.index(name) for name in pin.cylinders]
            mean = sum((self.carried[each].total for each in on), Fraction(0)) / len(on)
            for each in on:
                left += self.acts[each] * float(self.carried[each].total - mean)
        return left

    # ---- how it is judged

    @property
    def judged_by(self) -> JudgedBy:
        if self.yardsticks.tolerance is not None:
            return "permissible"
        return "shop" if set(self.yardsticks.of(NOTHING).shop) == set(PLANES) else "grams"

    def judged(self, unbalance: Unbalance) -> tuple[complex, complex]:
        """An unbalance in the unit that the planes are judged by."""
        tolerance, planes = self.yardsticks.tolerance, self.planes
        if tolerance is not None:
            held = carry(unbalance.front, planes.front.position, *tolerance.places)
            held += carry(unbalance.rear, planes.rear.position, *tolerance.places)
            return held.front / tolerance.shares.front, held.rear / tolerance.shares.rear
        shop = self.yardsticks.of(NOTHING).shop if self.judged_by == "shop" else dict.fromkeys(PLANES, 1.0)
        grams = self.figures.balance.grams(unbalance)
        return grams["front"] / shop["front"], grams["rear"] / shop["rear"]

    def _left(self, unbalance: Unbalance) -> Left:
        return Left(unbalance, self.yardsticks.of(unbalance), max(map(abs, self.judged(unbalance))))

    # ---- what can be told

    def told(self, other: "Crankpins") -> dict[str, float]:
        """The smallest difference [g] at each plane that the weighings can tell between the pieces here and there:
        2 √(Σ |wᵢ − wᵢ'|² uᵢ²), uᵢ being what is uncertain of piece i by itself, and w what one gram of it is worth
        where it is."""
        nowhere = 0.0, NOTHING
        here, there = self._spots(), other._spots()
        both = ((here.get(piece, nowhere), there.get(piece, nowhere)) for piece in here | there)
        return self._uncertain((max(one[0], two[0]), one[1] - two[1]) for one, two in both)

    def _spots(self) -> dict[tuple[str, str], tuple[float, Unbalance]]:
        """Every piece that was weighed by itself: its own uncertainty on the crankpin [g], and what a gram is worth."""
        return {
            (line.what, line.piece): (float(line.count * line.factor) * line.uncertainty, acts)
            for each, acts in zip(self.carried, self.acts, strict=True)
            for line in each.lines
            if line.piece
        }

    def _uncertain(self, terms: Iterator[tuple[float, Unbalance]]) -> dict[str, float]:
        at = [(abs(worth.front) * u, abs(worth.rear) * u) for u, worth in terms]
        front, rear = (COVERAGE * hypot(*each) for each in zip(*at, strict=True))
        return {"front": front / self.planes.front.radius, "rear": rear / self.planes.rear.radius}

    @cached_property
    def floor_lines(self) -> tuple[FloorLine, ...]:
        """What the job leaves uncertain, but for what is worked out here: the parts against their bobweights. What all
        pieces have in common, as the drift of the scale, raises them all alike, and cancels against their mean."""
        mean = sum(self.acts, start=NOTHING) * (0.0 if self.as_set else 1 / len(self.names))
        weighed = self._uncertain((u, acts - mean) for u, acts in self._spots().values())
        others = [line for line in self.yardsticks.floor.lines if line.what not in {PARTS_LINE, WEIGHED_LINE}]
        return (FloorLine("the weighings of the sets", weighed["front"], weighed["rear"]), *others)

    @property
    def floor(self) -> dict[str, float]:
        return {plane: hypot(*(getattr(line, plane) or 0.0 for line in self.floor_lines)) for plane in PLANES}
