"""Unbalance vectors: what a balancing machine reads, in the crankshaft's own frame.

An unbalance vector is a complex number in g·mm, weight × radius, that points to the heavy side. Its angle counts from
throw 1, positive in the direction the crankshaft turns. Positions along the crankshaft are in mm, rearward from
throw 1's centre. Terms are those of ISO 21940-2, from memory.
"""

from cmath import phase, rect
from collections.abc import Iterable
from dataclasses import dataclass
from math import degrees, isclose, isfinite, radians
from typing import Literal, NamedTuple, TypeVar

Amount = TypeVar("Amount", float, complex)


class BalancingError(ValueError):
    """Numbers that cannot be worked with: `what` is wrong with them, and the `remedy`."""

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(f"{what}; {remedy}")
        self.what = what
        self.remedy = remedy


class Reading(NamedTuple):
    """An amount, in any unit, at an angle [deg], 0 to below 360, as the machine counts it."""

    amount: float
    angle: float


@dataclass(frozen=True, slots=True)
class MachineAngles:
    """How a balancing machine counts angles.

    `zero` [deg] is where the machine's zero stands in the crankshaft's frame; angles laid out round the crankshaft
    grow in the direction it turns (`with_rotation`) or the other way; the angle shown is the heavy side's or the
    light side's.
    """

    zero: float = 0.0
    positive: Literal["with_rotation", "against_rotation"] = "with_rotation"
    reading: Literal["heavy_side", "light_side"] = "heavy_side"

    def to_shaft(self, amount: float, angle: float) -> complex:
        """The vector, in the unit of `amount`, of a reading at `angle` [deg] in the machine's way of counting."""
        return rect(amount, radians(self.zero + self._sense * angle + self._opposite))

    def to_machine(self, vector: complex) -> Reading:
        """What the machine would show for a vector; a vector of nothing stands at 0."""
        if vector == 0:
            return Reading(0.0, 0.0)
        angle = self._sense * (degrees(phase(vector)) - self._opposite - self.zero) % 360
        return Reading(abs(vector), angle if angle < 360 else 0.0)

    def mirrored(self, vector: complex) -> complex:
        """Where a vector lands when the machine counts the other way than `positive` says: mirrored about its zero."""
        return vector.conjugate() * rect(1, radians(2 * self.zero))

    @property
    def _sense(self) -> int:
        return 1 if self.positive == "with_rotation" else -1

    @property
    def _opposite(self) -> float:
        return 180.0 if self.reading == "light_side" else 0.0


@dataclass(frozen=True, slots=True)
class Unbalance:
    """The unbalance of one state, or a change of it, as it acts at both planes: vectors [g·mm]."""

    front: complex
    rear: complex

    @property
    def resultant(self) -> complex:
        """Resultant unbalance [g·mm]: the vector sum, wherever along the crankshaft its parts lie."""
        return self.front + self.rear

    def __add__(self, other: "Unbalance") -> "Unbalance":
        return Unbalance(self.front + other.front, self.rear + other.rear)

    def __sub__(self, other: "Unbalance") -> "Unbalance":
        return Unbalance(self.front - other.front, self.rear - other.rear)

    def __neg__(self) -> "Unbalance":
        return Unbalance(-self.front, -self.rear)

    def __mul__(self, factor: complex) -> "Unbalance":
        """Scaled, and turned where the factor is complex."""
        return Unbalance(self.front * factor, self.rear * factor)


NOTHING = Unbalance(0j, 0j)


def carry(vector: complex, position: float, front: float, rear: float) -> Unbalance:
    """What a vector [g·mm] at `position` [mm] is worth at two places [mm]: the same force and the same moment.

    The lever rule: front = U (rear − z)/(rear − front), rear = U (z − front)/(rear − front). Beyond a place the far
    one answers with the opposite sign. Raises BalancingError for two places that are one.
    """
    check_apart(front, rear)
    span = rear - front
    return Unbalance(vector * ((rear - position) / span), vector * ((position - front) / span))


def check_apart(front: float, rear: float) -> None:
    """Raises BalancingError for two planes [mm] at the same place."""
    if isclose(front, rear, rel_tol=0, abs_tol=1e-6):
        raise BalancingError(
            f"both planes are at {front:g} mm, and planes at the same place cannot tell one end from the other",
            "give each plane its own position along the crankshaft",
        )


@dataclass(frozen=True, slots=True)
class Plane:
    """A plane of the crankshaft: its `position` [mm], and the `radius` [mm] at which its grams act.

    Raises BalancingError for a radius that is not above zero: no weight there makes any unbalance.
    """

    position: float
    radius: float

    def __post_init__(self) -> None:
        if not isfinite(self.position):
            raise BalancingError(f"a position of {self.position} mm is nowhere", "measure it from throw 1's centre")
        if not (isfinite(self.radius) and self.radius > 0):
            raise BalancingError(
                f"weight at a radius of {self.radius:g} mm makes no unbalance",
                "give the radius from the crankshaft's axis to where the weight acts",
            )

    def unbalance(self, weight: Amount) -> Amount:
        """Unbalance [g·mm] of a weight [g], or of a reading as a vector [g], at the plane's radius: weight × radius."""
        return weight * self.radius

    def weight(self, unbalance: Amount) -> Amount:
        """Weight [g] at the plane's radius that makes an unbalance [g·mm]: unbalance/radius."""
        return unbalance / self.radius


@dataclass(frozen=True, slots=True)
class Planes:
    """The two planes that readings act in. Raises BalancingError where they are at the same place."""

    front: Plane
    rear: Plane

    def __post_init__(self) -> None:
        check_apart(self.front.position, self.rear.position)

    @property
    def span(self) -> float:
        """From the front plane to the rear one [mm]."""
        return self.rear.position - self.front.position

    def unbalance(self, front: complex, rear: complex) -> Unbalance:
        """What two readings, as vectors [g] at the planes' radii, make: weight × radius at each."""
        return Unbalance(self.front.unbalance(front), self.rear.unbalance(rear))

    def carry(self, vector: complex, position: float) -> Unbalance:
        """What a vector [g·mm] at `position` [mm] is worth at both planes; see `carry`."""
        return carry(vector, position, self.front.position, self.rear.position)

    def split(self, unbalance: Unbalance, mass_centre: float | None = None) -> "Split":
        """Static and couple parts of an unbalance, about the centre of mass [mm], or midway where it is not known.

        Resultant unbalance Uᵣ = Σ Uₖ [g·mm]; couple P = Σ (zₖ − z₀) Uₖ [g·mm²], z₀ being the place split about.
        Only about the centre of mass is the resultant a static unbalance in the strict sense; about any other
        place the couple is the resultant moment unbalance there (ISO 21940-2, from memory).
        """
        about = (self.front.position + self.rear.position) / 2 if mass_centre is None else mass_centre
        couple = (self.front.position - about) * unbalance.front + (self.rear.position - about) * unbalance.rear
        return Split(unbalance.resultant, couple, about, self)


@dataclass(frozen=True, slots=True)
class Split:
    """An unbalance as a `resultant` [g·mm] acting at the place `about` [mm] and a `couple` [g·mm²].

    The couple points where its rear vector points.
    """

    resultant: complex
    couple: complex
    about: float
    planes: Planes

    @property
    def static(self) -> Unbalance:
        """The static part at each plane [g·mm]: the resultant carried from where it acts."""
        return self.planes.carry(self.resultant, self.about)

    @property
    def couple_pair(self) -> Unbalance:
        """The couple part at each plane [g·mm]: equal and opposite, couple/span at the rear."""
        rear = self.couple / self.planes.span
        return Unbalance(-rear, rear)


def predicted(state: Unbalance, corrections: Iterable[Unbalance]) -> Unbalance:
    """What the next spin should read: the last one and every correction since, added at each plane.

    Weight added counts as itself, weight taken out as its negative.
    """
    return sum(corrections, start=state)


def missed_by(measured: Unbalance, prediction: Unbalance) -> Unbalance:
    """How far a spin fell from what was predicted: measured − predicted at each plane."""
    return measured - prediction
