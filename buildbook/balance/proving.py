"""Proving: is it the crankshaft, or the machine, its settings, a part or its fit?

Vectors are unbalances in g·mm in the crankshaft's own frame. `repeatability` is the machine's standard uncertainty of
one reading per component [g·mm]: how much the x, or the y, of a vector at one plane scatters when the same state is
spun again. Clauses of standards are cited from memory unless a book is named.
"""

from cmath import phase, rect
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import reduce
from itertools import combinations
from math import degrees, hypot, radians, sqrt
from operator import add

from buildbook.balance.unbalance import NOTHING, BalancingError, MachineAngles, Planes, Unbalance
from buildbook.uncertainty import pooled_standard_deviation, rectangular

COVERAGE = 2.0
"""How many standard uncertainties tell something from nothing (GUM 6.2.1). For one component this is 95 %; a vector of
nothing but scatter is longer than twice its uncertainty per component in 14 spins of 100."""

ALLOWANCE = 0.05
"""The share of a test mass, or of a correction, by which an answer may miss and still be as it should be: a machine
that takes out 95 % of an unbalance in one correction is what ISO 21940-21 asks for, from memory."""

CRANKSHAFT_DENSITIES = (7.1, 7.87)
"""Density of crankshafts [g/cm³], from ductile iron (7.1 to 7.3, foundry data) to steel (1045: 7.87, materials
tables)."""


class Diagnosis(StrEnum):
    """What the answer to a known change of unbalance points to."""

    AS_IT_SHOULD_BE = "as it should be"
    TOO_SMALL = "too small a change to tell from the machine's scatter"
    NO_ANSWER = "the readings did not answer"
    SIDE_SWAPPED = "light side and heavy side swapped"
    DIRECTION_SWAPPED = "direction swapped"
    PLANES_MIXED_UP = "planes mixed up"
    RADIUS_WRONG = "radius set wrong"
    DENSITY = "another density than the one reckoned with"
    DEPTH_TO_TIP = "depth read to the tip, not to the shoulder"
    DEPTH_TO_SHOULDER = "depth read to the shoulder, not to the tip"
    ZERO_OFF = "angle zero off"
    SCALE_AND_ANGLE = "scale and angle both off"
    PLANES_NOT_APART = "planes not kept apart: positions set wrong"
    UNEXPLAINED = "answers that do not agree with each other"


@dataclass(frozen=True, slots=True)
class Response:
    """How readings answered a known change: a complex `ratio` of answer to expectation.

    `uncertainty` is the standard uncertainty of either component of the ratio; `reduction_ratio` is the share of an
    unbalance that a correction by such readings would take out. `diagnoses` holds every explanation that fits,
    likeliest first: one answer often has several, and only another test tells them apart.
    """

    ratio: complex
    uncertainty: float
    reduction_ratio: float
    diagnoses: tuple[Diagnosis, ...]

    @property
    def scale(self) -> float:
        """How much of the change was read: 1 is right, 1.1 reads 10 % too much. Its standard uncertainty is
        `uncertainty`."""
        return abs(self.ratio)

    @property
    def angle(self) -> float:
        """How far round the answer came [deg], −180 to 180, positive in the direction the crankshaft turns."""
        return degrees(phase(self.ratio))

    @property
    def angle_uncertainty(self) -> float:
        """Standard uncertainty of `angle` [deg]: uncertainty/scale, and never more than that of any direction at all,
        180/√3 (GUM 4.3.7)."""
        anywhere = rectangular(180.0)
        return min(degrees(self.uncertainty / self.scale), anywhere) if self.scale else anywhere


@dataclass(frozen=True, slots=True)
class ProvingSpin(Response):
    """A spin with a known test mass: what was `expected`, what was `answered` [g·mm], and what they say.

    `cross_talk` is what no one scale and angle explains, as a share of the test mass: with the mass in one plane,
    what the other plane read of it. Its standard uncertainty per component is `uncertainty`.
    """

    expected: Unbalance
    answered: Unbalance
    cross_talk: float


def proving_spin(
    base: Unbalance,
    with_test_mass: Unbalance,
    test_mass: complex,
    position: float,
    planes: Planes,
    angles: MachineAngles,
    repeatability: float,
) -> ProvingSpin:
    """How the machine, as set up, answers a test mass of unbalance `test_mass` [g·mm] set on at `position` [mm].

    The expectation eⱼ is the test mass carried to both planes, the answer dⱼ the change of the readings, with standard
    uncertainty √2·u per component. ratio = Σ ēⱼ dⱼ/Σ |eⱼ|², by least squares; cross-talk = |d − ratio·e|/|e|. One
    test mass cannot tell a swapped direction from a zero that is off by as much; another angle can. Raises
    BalancingError for a test mass of nothing.
    """
    if test_mass == 0:
        raise BalancingError("a test mass of no unbalance proves nothing", "set on a known weight at a known radius")
    expected = planes.carry(test_mass, position)
    answered = with_test_mass - base
    per_radius = planes.front.radius / planes.rear.radius
    mixed_up_pickups = Unbalance(expected.rear, expected.front)
    mixed_up_readings = Unbalance(expected.rear * per_radius, expected.front / per_radius)
    ratio, uncertainty = _fit([expected], [answered], repeatability)
    return ProvingSpin(
        ratio=ratio,
        uncertainty=uncertainty,
        reduction_ratio=unbalance_reduction_ratio(_length([expected]), _length([answered - expected])),
        diagnoses=_diagnoses(
            [expected],
            [answered],
            ratio,
            angles,
            repeatability,
            others=[(Diagnosis.PLANES_MIXED_UP, [each]) for each in (mixed_up_pickups, mixed_up_readings)],
            otherwise=Diagnosis.PLANES_NOT_APART,
        ),
        expected=expected,
        answered=answered,
        cross_talk=_length([answered - expected * ratio]) / _length([expected]),
    )


def response(
    changes: Sequence[tuple[Unbalance, Unbalance]],
    angles: MachineAngles,
    repeatability: float,
    density: float | None = None,
    alternatives: Mapping[Diagnosis, Sequence[Unbalance]] | None = None,
) -> Response:
    """How readings answered the corrections made so far, each a pair of predicted and observed change [g·mm].

    ratio = Σ p̄ d/Σ |p|² over both planes of all corrections. Above 1 with the angle right, corrections do more than
    reckoned. A `density` [g/cm³] that drilled weights were reckoned with makes another density a suggestion, where
    density × ratio is that of some crankshaft. `alternatives` holds, for a diagnosis, what the same corrections would
    have changed if it were so: holes measured to the tip, say. Raises BalancingError where nothing was to change.
    """
    expected, answered = [change[0] for change in changes], [change[1] for change in changes]
    if not any(_length([each]) for each in expected):
        raise BalancingError(
            "no correction with a known effect lies between two spins", "record the correction, then spin again"
        )
    ratio, uncertainty = _fit(expected, answered, repeatability)
    missed = _length([one - other for one, other in zip(answered, expected, strict=True)])
    diagnoses = _diagnoses(
        expected,
        answered,
        ratio,
        angles,
        repeatability,
        others=list((alternatives or {}).items()),
        otherwise=Diagnosis.UNEXPLAINED,
    )
    lightest, heaviest = CRANKSHAFT_DENSITIES
    if density is not None and Diagnosis.RADIUS_WRONG in diagnoses and lightest <= density * abs(ratio) <= heaviest:
        place = diagnoses.index(Diagnosis.RADIUS_WRONG)
        diagnoses = (*diagnoses[:place], Diagnosis.DENSITY, *diagnoses[place:])
    return Response(ratio, uncertainty, unbalance_reduction_ratio(_length(expected), missed), diagnoses)


def unbalance_reduction_ratio(before: float, after: float) -> float:
    """The share of an unbalance that one correction took out: (U₁ − U₂)/U₁ (ISO 21940-21; Bloch & Geitner, Machinery
    Component Maintenance and Repair, p. 291). Both in one unit; negative where it grew; `before` is not zero."""
    return (before - after) / before


def _length(changes: Sequence[Unbalance]) -> float:
    """Root of the sum of squares over both planes of all changes [g·mm]."""
    return hypot(*(abs(vector) for each in changes for vector in (each.front, each.rear)))


def _fit(expected: Sequence[Unbalance], answered: Sequence[Unbalance], repeatability: float) -> tuple[complex, float]:
    """The complex ratio that brings expected changes nearest to the answers, and its uncertainty per component."""
    length = _length(expected)
    product = sum(
        one.front.conjugate() * other.front + one.rear.conjugate() * other.rear
        for one, other in zip(expected, answered, strict=True)
    )
    return product / length**2, sqrt(2) * repeatability / length


def _diagnoses(
    expected: Sequence[Unbalance],
    answered: Sequence[Unbalance],
    ratio: complex,
    angles: MachineAngles,
    repeatability: float,
    *,
    others: Sequence[tuple[Diagnosis, Sequence[Unbalance]]],
    otherwise: Diagnosis,
) -> tuple[Diagnosis, ...]:
    """Every explanation under which the answers are what they should be, likeliest first.

    An explanation fits when the answers miss what it predicts by no more than `ALLOWANCE` of the change and
    `COVERAGE` times the uncertainty of a difference of spins. Explanations with nothing to adjust go before a scale
    or an angle that is chosen to fit, and both of these before a scale and an angle.
    """
    scatter = COVERAGE * sqrt(2) * repeatability * sqrt(2 * len(expected))

    def misses(prediction: Sequence[Unbalance]) -> float:
        return _length([one - other for one, other in zip(answered, prediction, strict=True)])

    def fits(prediction: Sequence[Unbalance]) -> bool:
        return misses(prediction) <= ALLOWANCE * max(_length(prediction), _length(expected)) + scatter

    def scaled(factor: complex) -> list[Unbalance]:
        return [each * factor for each in expected]

    mirrored = [Unbalance(angles.mirrored(each.front), angles.mirrored(each.rear)) for each in expected]
    as_it_should_be, no_answer = fits(expected), fits([NOTHING] * len(expected))
    if no_answer:
        return (Diagnosis.TOO_SMALL,) if as_it_should_be else (Diagnosis.NO_ANSWER,)
    found = [Diagnosis.AS_IT_SHOULD_BE] if as_it_should_be else []
    if fits(scaled(-1)):
        found.append(Diagnosis.SIDE_SWAPPED)
    if fits(mirrored):
        found.append(Diagnosis.DIRECTION_SWAPPED)
    found += [name for name, prediction in sorted(others, key=lambda other: misses(other[1])) if fits(prediction)]
    if not as_it_should_be:
        if fits(scaled(abs(ratio))):
            found.append(Diagnosis.RADIUS_WRONG)
        if ratio and fits(scaled(ratio / abs(ratio))):
            found.append(Diagnosis.ZERO_OFF)
    if not found:
        found.append(Diagnosis.SCALE_AND_ANGLE if fits(scaled(ratio)) else otherwise)
    return tuple(dict.fromkeys(found))


@dataclass(frozen=True, slots=True)
class Difference:
    """What changed between two spins [g·mm], with its standard uncertainty per component at each plane [g·mm]."""

    change: Unbalance
    uncertainty: float

    @property
    def distinguishable(self) -> bool:
        """Whether it is told from nothing: longer than `COVERAGE` × uncertainty at either plane."""
        return max(abs(self.change.front), abs(self.change.rear)) > COVERAGE * self.uncertainty


def difference(before: Unbalance, after: Unbalance, repeatability: float) -> Difference:
    """What changed between two spins: after − before, uncertain by √2·u per component (GUM 5.1.2).

    With a part put on in between it is the part's own unbalance, with that of its fit; with nothing done it is drift.
    """
    return Difference(after - before, sqrt(2) * repeatability)


@dataclass(frozen=True, slots=True)
class Indexed:
    """What turned with an indexed part and what stayed [g·mm].

    `part` is the part's own unbalance as it lay at index 0; `fixture` is all that did not turn with it: the
    crankshaft and the fit. `uncertainty` is the standard uncertainty of either per component at each plane.
    `scatter` [g·mm] is the standard deviation per component of the readings about the two, None for two readings,
    which always agree.
    """

    part: Unbalance
    fixture: Unbalance
    uncertainty: float
    scatter: float | None


def index_balance(readings: Sequence[tuple[float, Unbalance]], repeatability: float) -> Indexed:
    """Tell a part's own unbalance from the rest by turning it on its seat (ISO 21940-14).

    Each reading has the index angle φₖ [deg] by which the part was turned, positive with rotation. By least squares
    on Rₖ = F + C e^(iφₖ): two readings give C = (R₀ − R_φ)/(1 − e^(iφ)), F = R₀ − C; n equal steps give
    F = mean of Rₖ and C = mean of Rₖ e^(−iφₖ), uncertain by u/√n. Raises BalancingError where the part was not turned.
    """
    turns = [rect(1, radians(angle)) for angle, _ in readings]
    count, turned = len(readings), sum(turns)
    # n² − |Σ w|² as a sum of squares, which loses no digits when the steps are small
    determinant = sum(abs(one - other) ** 2 for one, other in combinations(turns, 2))
    if determinant < 1e-6:
        raise BalancingError(
            "the part was not turned between these spins, so what is its own cannot be told from the rest",
            "turn the part on its seat, best by 180° or in equal steps, and spin again",
        )
    together = reduce(add, (reading for _, reading in readings))
    unturned = reduce(add, (reading * turn.conjugate() for turn, (_, reading) in zip(turns, readings, strict=True)))
    fixture = (together * count - unturned * turned) * (1 / determinant)
    part = (unturned * count - together * turned.conjugate()) * (1 / determinant)
    left = _length([reading - fixture - part * turn for turn, (_, reading) in zip(turns, readings, strict=True)])
    return Indexed(
        part=part,
        fixture=fixture,
        uncertainty=repeatability * sqrt(count / determinant),
        scatter=left / sqrt(4 * (count - 2)) if count > 2 else None,
    )


def repeatability_of(same_states: Iterable[Sequence[Unbalance]]) -> float | None:
    """The machine's standard deviation of one reading per component [g·mm], from states spun more than once.

    Pooled over x and y at both planes of every state (GUM 4.2.4, note). None where no state was spun twice.
    """
    return pooled_standard_deviation(
        component
        for state in same_states
        for vectors in ([each.front for each in state], [each.rear for each in state])
        for component in ([vector.real for vector in vectors], [vector.imag for vector in vectors])
    )
