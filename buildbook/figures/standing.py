"""When to stop: each spin against the permissible residual, the shop's own limit, and the floor of what can be told."""

from cmath import rect
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from math import hypot, radians
from typing import TYPE_CHECKING, Literal, NamedTuple

from buildbook import uncertainty as gum
from buildbook.balance.proving import COVERAGE
from buildbook.balance.tolerance import Shares, grade_value, permissible_total, share
from buildbook.balance.unbalance import NOTHING, BalancingError, Unbalance, carry
from buildbook.figures.balance import PLANES, BalanceFigures, SpinFigure, mm
from buildbook.figures.throws import Throws, throws_of

if TYPE_CHECKING:
    from buildbook.figures import Figures

Verdict = Literal["over", "go_on", "stop"]

# The names of two lines of the floor, which `place` works out anew for every placing.
PARTS_LINE, WEIGHED_LINE = "parts against their bobweights", "the weighings behind the bobweights"


class FloorLine(NamedTuple):
    """One line of what stays uncertain: grams at each plane's radius, at k = 2; or why it is not known."""

    what: str
    front: float | None
    rear: float | None
    unknown: str | None = None


class Floor(NamedTuple):
    """What the rest of the job leaves uncertain, in grams at each plane's radius: √(Σ lines²)."""

    front: float
    rear: float
    lines: tuple[FloorLine, ...]


class Tolerance(NamedTuple):
    """The permissible residual by ISO 21940-11 [g·mm], its shares, the places [mm] they hold at, and what it is of."""

    total: float
    shares: Shares
    places: tuple[float, float]
    mass: float  # [kg] of what spins
    speed: float  # [rpm]
    grade: str


@dataclass(frozen=True, slots=True)
class Standing:
    """A spin against the three yardsticks, in grams at each plane's radius; a yardstick that is not known is empty.

    `carried` is the residual carried to the places where the permissible one holds, the bearings as a rule.
    """

    amounts: Mapping[str, float]
    carried: Mapping[str, float]
    permissible: Mapping[str, float]
    shop: Mapping[str, float]
    floor: Mapping[str, float]
    verdict: Verdict

    @property
    def limited(self) -> bool:
        """Whether there is any limit to be within."""
        return bool(self.permissible or self.shop)

    @property
    def beyond(self) -> tuple[str, ...]:
        """The limits that are missed at either plane, in words."""
        limits = {"shop's limit": (self.amounts, self.shop), "permissible residual": (self.carried, self.permissible)}
        return tuple(
            name for name, (found, most) in limits.items() if any(found[plane] > most[plane] for plane in most)
        )

    @property
    def too_fine(self) -> str:
        """Where to stop with a limit missed, in words which limit it is; else nothing."""
        if self.verdict != "stop" or not self.beyond:
            return ""
        are = "are" if len(self.beyond) > 1 else "is"
        return f"The {' and the '.join(self.beyond)} {are} finer than this job can tell"


class Yardsticks:
    """The yardsticks of one build; one that cannot be worked out is left out."""

    def __init__(self, balance: BalanceFigures, figures: "Figures") -> None:
        self.balance = balance
        self.figures = figures
        self.build = balance.build

    @cached_property
    def tolerance(self) -> Tolerance | None:
        """Permissible residual unbalance by ISO 21940-11; None without grade, highest speed and the crankshaft's mass.

        The mass is that of the crankshaft and of the carried parts that state one. What turns with the crankpins in
        the engine is left out, which makes the tolerance a little smaller than it need be.
        """
        choices, spins = self.build.balance, self.balance.spins
        carried = {"crankshaft"} | (set(spins[-1].carrying) if spins else set())
        masses = [
            (part.kind, float(part.mass.worth("kg")))
            for part in self.build.parts
            if part.mass is not None and (part.kind in carried or carried & set(part.pieces))
        ]
        if choices.grade is None or choices.max_speed is None or "crankshaft" not in dict(masses):
            return None
        mass, speed = sum(mass for _, mass in masses), float(choices.max_speed.worth("rpm"))
        bearings, planes = self.build.spins.bearings, self.balance.planes
        front = mm(bearings.get("front"), planes.front.position)
        rear = mm(bearings.get("rear"), planes.rear.position)
        try:
            total = permissible_total(grade_value(choices.grade), mass, speed)
            shares = share(total, front, rear, self.balance.mass_centre)
        except BalancingError:
            return None  # a grade that the standard does not have: found by its own rule
        return Tolerance(total, shares, (front, rear), mass, speed, choices.grade)

    @cached_property
    def floor(self) -> Floor:
        """What the rest of the job leaves uncertain at each plane: the root of the sum of squares of its lines."""
        lines: tuple[FloorLine, ...] = (self._machine(),)
        if not self.figures.has_layout or self.figures.bobweights.wanted:
            lines = (self._parts_against_bobweights(), self._bobweights_as_set(), self._weighed(), *lines)
        return Floor(hypot(*(line.front or 0.0 for line in lines)), hypot(*(line.rear or 0.0 for line in lines)), lines)

    def standing(self, spin: SpinFigure) -> Standing:
        """Where the crankshaft stood when it was spun."""
        return self.of(spin.measured)

    def of(self, unbalance: Unbalance) -> Standing:
        """`stop`: no more than the floor at both planes, where another spin cannot tell better from worse. `over`:
        more than a limit allows at either plane. `go_on`: within the limits, and worth another hole."""
        amounts = {plane: abs(vector) for plane, vector in self.balance.grams(unbalance).items()}
        limit = self.build.limits.get("residual")
        shop = {plane: float(limit.bounds[plane].worth("g")) for plane in PLANES if limit and plane in limit.bounds}
        floor = {"front": self.floor.front, "rear": self.floor.rear}
        carried: dict[str, float] = {}
        permissible: dict[str, float] = {}
        if self.tolerance is not None:
            planes, shares = self.balance.planes, self.tolerance.shares
            held = carry(unbalance.front, planes.front.position, *self.tolerance.places)
            held += carry(unbalance.rear, planes.rear.position, *self.tolerance.places)
            carried = {"front": abs(held.front) / planes.front.radius, "rear": abs(held.rear) / planes.rear.radius}
            permissible = {"front": shares.front / planes.front.radius, "rear": shares.rear / planes.rear.radius}
        found = Standing(amounts, carried, permissible, shop, floor, "stop")
        if all(amounts[plane] <= floor[plane] for plane in PLANES):
            return found
        return replace(found, verdict="over" if found.beyond else "go_on")

    def _parts_against_bobweights(self) -> FloorLine:
        """The actual pieces in their cylinders less the bobweights that stood in for them, through the layout to both
        planes: Σ (rotating + factor × reciprocating + oil − set) r e^(iφ) over the crankpins."""
        what = PARTS_LINE
        throws = self._throws
        if isinstance(throws, str):
            return FloorLine(what, None, None, throws)
        bobweights, left = self.figures.bobweights, NOTHING
        for name, throw in bobweights.throws.items():
            if name not in bobweights.set:
                return FloorLine(what, None, None, f"no bobweight is recorded as set on throw {name}")
            for pin in throw.pins:
                more = float(pin.total - bobweights.set[name].weight / len(throw.pins))
                left += throws.carry(self.balance.planes, name, more * rect(1, radians(pin.angle - throws.zero)))
        grams = self.balance.grams(left)
        return FloorLine(what, abs(grams["front"]), abs(grams["rear"]))

    def _bobweights_as_set(self) -> FloorLine:
        what = "bobweights as set on the scale"
        record = self.build.spins.bobweights
        scale = self.build.shop.instruments.get((record.with_ if record else None) or "")
        if scale is None or not scale.reads("mass") or not (scale.resolution or scale.repeatability):
            return FloorLine(what, None, None, "the record does not say on which scale they were set")
        step, deviation = (float(each.worth("g")) if each else 0.0 for each in (scale.resolution, scale.repeatability))
        uncertainty = gum.reading_uncertainty(step, deviation, drift=0.0)
        throws = self.figures.layout.throws if self.figures.has_layout else {}
        return self._by_throw(what, dict.fromkeys(throws, uncertainty))

    def _weighed(self) -> FloorLine:
        throws = self.figures.bobweights.throws if self.figures.has_layout else {}
        uncertainties = {name: throw.uncertainty for name, throw in throws.items()}
        return self._by_throw(WEIGHED_LINE, uncertainties)

    def _by_throw(self, what: str, uncertainty: Mapping[str, float]) -> FloorLine:
        """Independent standard uncertainties [g] at the crankpins, at k = 2 at both planes: 2 √(Σ (cᵢ uᵢ)²)."""
        throws = self._throws
        if isinstance(throws, str):
            return FloorLine(what, None, None, throws)
        planes = self.balance.planes
        shares = [throws.carry(planes, name, uncertainty[name]) for name in throws.positions]
        front = COVERAGE * hypot(*(abs(each.front) for each in shares)) / planes.front.radius
        rear = COVERAGE * hypot(*(abs(each.rear) for each in shares)) / planes.rear.radius
        return FloorLine(what, front, rear)

    def _machine(self) -> FloorLine:
        what = "the machine's own repeatability"
        if self.balance.repeatability is None:
            return FloorLine(what, None, None, "spin the same state twice, or state it in shop.yaml")
        front, rear = (COVERAGE * self.balance.repeatability / self.balance.plane(plane).radius for plane in PLANES)
        return FloorLine(what, front, rear)

    @cached_property
    def _throws(self) -> Throws | str:
        return throws_of(self.figures)
