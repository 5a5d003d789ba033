"""Bobweights: what is hung on each crankpin to stand in for the rods and pistons while a crankshaft is spun.

Weights are exact, as Fractions in grams; uncertainties are standard uncertainties, as floats in grams.
"""

from cmath import rect
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import hypot, radians
from typing import NamedTuple

from buildbook.balance.layouts import Pin


@dataclass(frozen=True, slots=True)
class Weighed:
    """One weighed thing of one cylinder: what it is, which piece, its weight [g] and standard uncertainty [g].

    `count` of them belong to the cylinder (two pin locks, say). Two entries that agree in everything but `count` are
    the same measurement used again, as when the mean of a lot stands for each of its pieces; pieces weighed one by
    one are told apart by `piece`. `uncertainty` is its own; `shared` [g] is what it has in common with everything of
    the same `source`: the drift of a scale in one session moves all its weights the same way.
    """

    what: str
    weight: Fraction
    uncertainty: float
    piece: str = ""
    count: int = 1
    shared: float = 0.0
    source: str = ""


class CylinderWeights(NamedTuple):
    """What one cylinder hangs on its crankpin: what goes up and down, and what goes round with the pin."""

    reciprocating: tuple[Weighed, ...]
    rotating: tuple[Weighed, ...]


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a bobweight card: `count` of a thing at `weight` [g] each, of which `factor` (0 to 1) is carried.

    `uncertainty` [g] is the standard uncertainty of `weight`.
    """

    what: str
    piece: str
    weight: Fraction
    count: int
    reciprocating: bool
    factor: Fraction
    uncertainty: float
    shared: float = 0.0
    source: str = ""

    @property
    def amount(self) -> Fraction:
        """What the line adds to the bobweight [g]: weight × count × factor."""
        return self.weight * self.count * self.factor


@dataclass(frozen=True, slots=True)
class Bobweight:
    """The weight that stands in for the parts of these cylinders; `oil` [g] is an allowance, not weighed."""

    cylinders: tuple[str, ...]
    lines: tuple[Line, ...]
    oil: Fraction

    @property
    def reciprocating(self) -> Fraction:
        """The whole reciprocating weight [g], before the factor."""
        return sum((line.weight * line.count for line in self.lines if line.reciprocating), Fraction(0))

    @property
    def rotating(self) -> Fraction:
        """The weight that goes round with the crankpin [g]: big ends and bearings, without the oil."""
        return sum((line.amount for line in self.lines if not line.reciprocating), Fraction(0))

    @property
    def total(self) -> Fraction:
        """rotating + factor/100 × reciprocating + oil [g]."""
        return sum((line.amount for line in self.lines), self.oil)

    @property
    def half(self) -> Fraction:
        """Each of the two halves a bobweight is made in [g]: total/2."""
        return self.total / 2

    @property
    def uncertainty(self) -> float:
        """Combined standard uncertainty of the total [g]; see `_uncertainty`."""
        return _uncertainty(self.lines)


@dataclass(frozen=True, slots=True)
class PinBobweight(Bobweight):
    """The share of one crankpin, standing at `angle` [deg]."""

    angle: float


@dataclass(frozen=True, slots=True)
class ThrowBobweight(Bobweight):
    """The bobweight of a throw, and the share of each of its crankpins: one, or two where the pin is split."""

    throw: str
    pins: tuple[PinBobweight, ...]


class Target(NamedTuple):
    """The mean of several bobweights [g], its standard uncertainty [g], and heaviest less lightest [g]."""

    total: Fraction
    uncertainty: float
    spread: Fraction

    @property
    def half(self) -> Fraction:
        """Each of the two halves [g]: total/2."""
        return self.total / 2


def bobweight(
    throw: str, pins: Sequence[Pin], weights: Mapping[str, CylinderWeights], factor: Fraction, oil: Fraction
) -> ThrowBobweight:
    """The bobweight of one throw: rotating + factor/100 × reciprocating + oil (common practice).

    `factor` is in per cent of the reciprocating weight; `oil` [g] is for the throw, once however many rods it carries,
    and shared equally by the pins of a split pin. Raises KeyError for a cylinder without weights.
    """
    share = oil / len(pins)
    return ThrowBobweight(
        cylinders=tuple(name for pin in pins for name in pin.cylinders),
        lines=_lines([weights[name] for pin in pins for name in pin.cylinders], factor),
        oil=oil,
        throw=throw,
        pins=tuple(
            PinBobweight(pin.cylinders, _lines([weights[name] for name in pin.cylinders], factor), share, pin.angle)
            for pin in pins
        ),
    )


def as_one_weight(throw: ThrowBobweight) -> complex:
    """The one bobweight [g], as a vector in the layout's frame, that stands for all crankpins of a throw: Σ B e^(iφ).

    In the first order half of a reciprocating weight turns with its own crankpin, whatever the angle of its bank
    (`balance.shaking`), so that with a factor of 50 each pin of a split pin carries B = rotating + half of the
    reciprocating weight of its own cylinder, at its own angle. Two equal pins δ apart then pull like one weight of
    2 B cos(δ/2) midway between them, less than 2 B: the full 2 B clamped on in the middle is too heavy. It also leaves
    out that one pin stands before the other: B sin(δ/2) × the distance between the rods, as a couple square to it,
    which only a weight on each pin answers for.
    """
    return sum(rect(float(pin.total), radians(pin.angle)) for pin in throw.pins)


def target(bobweights: Sequence[Bobweight]) -> Target | None:
    """The bobweight to make for all alike: the mean of the throws, or of the pins where pins are split.

    None when there are none, or when they do not all carry the same number of rods: then there is no one target.
    """
    if len({len(each.cylinders) for each in bobweights}) != 1:
        return None
    totals = [each.total for each in bobweights]
    return Target(
        total=sum(totals, Fraction(0)) / len(totals),
        uncertainty=_uncertainty(line for each in bobweights for line in each.lines) / len(totals),
        spread=max(totals) - min(totals),
    )


def _lines(weights: Sequence[CylinderWeights], factor: Fraction) -> tuple[Line, ...]:
    """Card lines, things of one kind together; the same measurement used again is one line with a larger count."""
    counts: dict[tuple[bool, str], dict[tuple[str, Fraction, float, float, str], int]] = {}
    for reciprocating in (False, True):
        for cylinder in weights:
            for each in cylinder.reciprocating if reciprocating else cylinder.rotating:
                kind = counts.setdefault((reciprocating, each.what), {})
                measurement = each.piece, each.weight, each.uncertainty, each.shared, each.source
                kind[measurement] = kind.get(measurement, 0) + each.count
    return tuple(
        Line(
            what=what,
            piece=piece,
            weight=weight,
            count=count,
            reciprocating=reciprocating,
            factor=factor / 100 if reciprocating else Fraction(1),
            uncertainty=uncertainty,
            shared=shared,
            source=source,
        )
        for (reciprocating, what), kind in counts.items()
        for (piece, weight, uncertainty, shared, source), count in kind.items()
    )


def _uncertainty(lines: Iterable[Line]) -> float:
    """Combined standard uncertainty [g] of the sum of lines (GUM, JCGM 100:2008, 5.1.2 and 5.2.2).

    √(Σ (cᵢ uᵢ)² + Σ_sources (Σ cᵢ vᵢ)²). cᵢ is how often a measurement is counted, times its factor: a mean that stands
    for four pieces is wrong by the same amount four times over. uᵢ is a measurement's own uncertainty and independent
    of all others; vᵢ is what it shares with all of the same source, whose errors add up as they are.
    """
    own: dict[tuple[str, str, Fraction, float], Fraction] = {}
    shared: dict[str, float] = {}
    for line in lines:
        times = line.count * line.factor
        measurement = line.what, line.piece, line.weight, line.uncertainty
        own[measurement] = own.get(measurement, Fraction(0)) + times
        shared[line.source] = shared.get(line.source, 0.0) + float(times) * line.shared
    return hypot(*(float(times) * measurement[-1] for measurement, times in own.items()), *shared.values())
