"""What was measured, place by place: the readings that count, brought to 20 °C, and how well each is known."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from math import sqrt
from operator import attrgetter
from typing import NamedTuple

from buildbook import uncertainty as gum
from buildbook.figures.weighings import in_order
from buildbook.fits import sizes
from buildbook.fits.decision import Estimate
from buildbook.quantities import DIMENSIONS, Quantity, decimals_for
from buildbook.records.finding import Where
from buildbook.records.model import MEASUREMENT_KINDS, Build, MeasuringSession


class Size(NamedTuple):
    """One reading, in the first unit of its dimension (mm, cc, N m, deg): at 20 °C, and as it was read."""

    value: Fraction
    as_read: Fraction
    uncertainty: float  # standard uncertainty of one reading
    repeatability: float  # the part of it that more readings make smaller
    calibration: float  # the part of it that all readings of the gauge share
    decimals: int
    within: str
    session: MeasuringSession
    where: Where

    @property
    def estimate(self) -> Estimate:
        return Estimate(float(self.value), self.uncertainty)


@dataclass(frozen=True)  # without slots: what is asked of it several times is worked out once
class Measured:
    """One journal, bore, cylinder or piece: its sections in the order in which they were written."""

    kind: str
    place: str
    sections: Mapping[str, tuple[Size, ...]]  # "" where it is not divided
    left_out: tuple[str, ...] = ()  # sections that were measured before, and not when it was measured again

    @cached_property
    def readings(self) -> tuple[Size, ...]:
        return tuple(size for section in self.sections.values() for size in section)

    @cached_property
    def smallest(self) -> Size:
        return min(self.readings, key=_value)

    @cached_property
    def largest(self) -> Size:
        return max(self.readings, key=_value)

    @cached_property
    def means(self) -> tuple[Fraction, ...]:
        """The mean of each section."""
        return tuple(sizes.mean(values_of(section)) for section in self.sections.values())

    @cached_property
    def mean(self) -> Fraction:
        """The mean of the sections' means."""
        return sizes.mean(self.means)

    @cached_property
    def mean_uncertainty(self) -> float:
        return uncertainty_of_mean(self.readings)

    def part(self, name: str) -> "Measured":
        """One of its sections, by name."""
        return Measured(self.kind, self.place, {name: self.sections[name]})


_value = attrgetter("value")


class Gap(NamedTuple):
    """What lies between a bore and what runs in it, as a difference of diameters [mm]."""

    tightest: Fraction  # the smallest diameter of the one less the largest of the other
    as_read: Fraction
    uncertainty: float  # of the tightest
    mean: Estimate

    @property
    def estimate(self) -> Estimate:
        """The tightest with its uncertainty, as a least clearance is held against it."""
        return Estimate(float(self.tightest), self.uncertainty)


def between(outer: Measured, inner: Measured) -> Gap:
    """Outer diameter less inner diameter; the two were measured apart, so that their uncertainties combine in
    quadrature (GUM 5.1.2)."""
    small, large = outer.smallest, inner.largest
    return Gap(
        small.value - large.value,
        small.as_read - large.as_read,
        gum.combined(small.uncertainty, large.uncertainty),
        Estimate(float(outer.mean - inner.mean), gum.combined(outer.mean_uncertainty, inner.mean_uncertainty)),
    )


class Came(NamedTuple):
    """A measurement that a figure came from: what, where, its value at 20 °C and as read, and the session. What a maker
    states has no session."""

    what: str
    place: str
    value: Fraction
    as_read: Fraction
    decimals: int
    session: str | None
    where: Where
    within: str = ""  # a crank angle, or a direction


def came(piece: Measured, size: Size) -> Came:
    title = MEASUREMENT_KINDS[piece.kind].title
    return Came(title, piece.place, size.value, size.as_read, size.decimals, size.session.id, size.where, size.within)


def values_of(section: tuple[Size, ...]) -> list[Fraction]:
    return [size.value for size in section]


def apart(uncertainty: float, calibration: float) -> float:
    """A standard uncertainty without the gauge's own error, which leaves the difference of two of its readings."""
    return sqrt(max(uncertainty**2 - calibration**2, 0.0))


def uncertainty_of_mean(readings: tuple[Size, ...]) -> float:
    """Standard uncertainty of the mean of n readings: only the repeatability shrinks, by √n (GUM 4.2.3, 5.1.2). The
    least certain of them speaks for all."""
    worst = max(readings, key=lambda size: size.uncertainty)
    shared = max(worst.uncertainty**2 - worst.repeatability**2, 0.0) ** 0.5
    return gum.combined(shared, worst.repeatability / len(readings) ** 0.5)


def measured(build: Build) -> dict[str, dict[str, Measured]]:
    """Kind of measurement → place → what was measured there. Void sessions count for nothing.

    The later session of a piece counts: of a journal or bore for all of it, since what was ground at its ends was
    ground in the middle; of valves, rails or bolts for each by itself.
    """
    found: dict[str, dict[str, dict[str, list[Size]]]] = {}
    left_out: dict[tuple[str, str], list[str]] = {}
    materials = _materials(build)
    for session in in_order(build.clearances):
        if session.void is not None or session.what not in MEASUREMENT_KINDS:
            continue
        kind = MEASUREMENT_KINDS[session.what]
        spares = {
            stamped.id for part in build.parts if not part.fitted and part.kind in kind.at for stamped in part.ids
        }
        read: dict[str, dict[str, list[Size]]] = {}
        for place, along, size in _sizes(session, build, materials):
            if place in spares:
                continue  # kept, as a spare's weight is, and counts for nothing
            read.setdefault(place, {}).setdefault(along, []).append(size)
        places = found.setdefault(session.what, {})
        for place, sections in read.items():
            before = places.get(place, {})
            by_section = kind.made_of is None and ("" in before) == ("" in sections)
            places[place] = (before | sections) if by_section else sections
            if not by_section:
                earlier = (*left_out.get((session.what, place), ()), *before)
                left_out[session.what, place] = [name for name in earlier if name and name not in sections]
    return {
        kind: {
            place: Measured(
                kind,
                place,
                {name: tuple(sections[name]) for name in _from_the_front(sections)},
                tuple(left_out.get((kind, place), ())),
            )
            for place, sections in places.items()
        }
        for kind, places in found.items()
    }


_LEVELS = ("front", "top", "upper", "middle", "lower", "bottom", "rear")


def _from_the_front(names: Iterable[str]) -> list[str]:
    """The sections of a piece from front to rear or from top to bottom, whichever way they were written; as written
    where they have other names."""
    listed = list(names)
    return sorted(listed, key=_LEVELS.index) if set(listed) <= set(_LEVELS) else listed


def _materials(build: Build) -> dict[tuple[str, str], str | None]:
    """(kind of part, id) → material; `""` as the id stands for any piece of the kind."""
    materials: dict[tuple[str, str], str | None] = {}
    for part in sorted(build.parts, key=lambda part: not part.fitted):  # what is fitted speaks before a spare
        materials.setdefault((part.kind, ""), part.material)
        materials |= {(part.kind, piece): part.material for piece in part.pieces}
    return materials


def bores_taken_for(build: Build, cylinder: str) -> sizes.Expansion | None:
    """What a cylinder's bore is taken for when it is brought to 20 °C: its block. A sleeve is not known of."""
    materials = _materials(build)
    made_of = MEASUREMENT_KINDS["cylinder_bore"].made_of or ""
    return sizes.expansion_of(materials.get((made_of, cylinder), materials.get((made_of, ""))))


def _sizes(
    session: MeasuringSession, build: Build, materials: Mapping[tuple[str, str], str | None]
) -> Iterator[tuple[str, str, Size]]:
    kind = MEASUREMENT_KINDS[session.what]
    unit = DIMENSIONS[kind.dimension][0]
    instrument = build.shop.instruments.get(session.with_ or "")
    fitting = instrument if instrument and instrument.reads(kind.dimension) else None
    step, deviation, expanded = (
        float(stated.worth(unit)) if stated and stated.dimension == kind.dimension else 0.0
        for stated in ((fitting.resolution, fitting.repeatability, fitting.uncertainty) if fitting else (None,) * 3)
    )
    made_of, temperature = kind.made_of, session.temperature
    digits: dict[tuple[object, str], tuple[float, int]] = {}  # by the last digit written: most of a session are alike
    factors: dict[str | None, Fraction | None] = {}
    for place, along, within, reading in session.spots:
        material = materials.get((made_of, place), materials.get((made_of, ""))) if made_of else None
        if material not in factors:
            factors[material] = _to_reference(temperature, material)
        factor = factors[material]
        for quantity in reading.values:
            written = quantity.number.as_tuple().exponent, quantity.unit
            if written not in digits:
                last_digit = quantity.last_digit(unit)
                known = gum.reading_uncertainty(max(step, float(last_digit)), deviation, 0.0)
                digits[written] = known, decimals_for(last_digit)
            known, decimals = digits[written]
            value = as_read = quantity.worth(unit)
            corrected = 0.0
            if factor is not None and temperature is not None:
                value = as_read * factor
                corrected = sizes.correction_uncertainty(float(as_read), float(temperature.worth("degC")))
            total = gum.combined(known, corrected, expanded / 2)
            size = Size(value, as_read, total, deviation, expanded / 2, decimals, within, session, reading.where)
            yield place, along, size


def _to_reference(temperature: Quantity | None, material: str | None) -> Fraction | None:
    """What a size is multiplied by to be the size at 20 °C; None where the temperature or the material is not known."""
    expansion = sizes.expansion_of(material) if temperature is not None else None
    if temperature is None or expansion is None:
        return None
    return sizes.at_reference(Fraction(1), temperature.worth("degC"), expansion.coefficient)


def fitted_places(build: Build) -> dict[tuple[str, str], str]:
    """(kind of part, id) → the cylinder it goes into: as decided, or, before that, as locked."""
    decision = build.pairings.decision
    if decision is None:
        return {
            (kind, piece): lock.cylinder
            for lock in build.pairings.locks
            if lock.cylinder is not None
            for kind, piece in lock.pieces.items()
        }
    return {
        (kind, piece): cylinder
        for cylinder, chosen in decision.cylinders.items()
        for kind, piece in chosen.pieces.items()
    }
