"""Slips of the unit or of the point: what the engine's own sizes say of its readings and of its limits."""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from buildbook.figures.fits import FIT_KINDS, limit_bounds
from buildbook.figures.lengths import Ruler
from buildbook.fits import compression
from buildbook.quantities import DIMENSIONS, UNITS, Quantity, fixed
from buildbook.records.finding import Finding, Severity, did_you_mean, nearest
from buildbook.records.model import (
    LENGTH_LIMITS,
    MASS_LIMITS,
    MEASUREMENT_KINDS,
    RATIO_LIMITS,
    Build,
    MeasuringSession,
    Spot,
)

if TYPE_CHECKING:
    from buildbook.figures import Figures


def counted(build: Build) -> Iterator[MeasuringSession]:
    """The sessions that count, of kinds that are known."""
    return (session for session in build.clearances if session.void is None and session.what in MEASUREMENT_KINDS)


class _Range(NamedTuple):
    """What a reading may be, as shares of one of the engine's own sizes, for it to be a size of this engine at all.
    Wide: it is to find a slip of the unit or of the point, not wear."""

    of: str
    low: float
    high: float


_FROM_BORE = {
    "main_journal": _Range("bore", 0.3, 1.3),
    "main_bore": _Range("bore", 0.3, 1.3),
    "rod_journal": _Range("bore", 0.3, 1.1),
    "rod_bore": _Range("bore", 0.3, 1.1),
    "cam_journal": _Range("bore", 0.15, 1.0),
    "cam_bore": _Range("bore", 0.15, 1.0),
    "cylinder_bore": _Range("bore", 0.95, 1.06),
    "piston_skirt": _Range("bore", 0.93, 1.06),
    "pin_diameter": _Range("bore", 0.12, 0.5),
    "piston_pin_bore": _Range("bore", 0.12, 0.5),
    "rod_pin_bore": _Range("bore", 0.12, 0.5),
    "top_ring_gap": _Range("bore", 0.0005, 0.03),
    "second_ring_gap": _Range("bore", 0.0005, 0.03),
    "oil_rail_gap": _Range("bore", 0.0005, 0.03),
    "top_ring_side": _Range("bore", 0.0001, 0.005),
    "second_ring_side": _Range("bore", 0.0001, 0.005),
    "oil_ring_side": _Range("bore", 0.0001, 0.005),
    "rod_side": _Range("bore", 0.0006, 0.015),
    "crankshaft_end_play": _Range("bore", 0.0002, 0.006),
    "camshaft_end_play": _Range("bore", 0.0002, 0.006),
    "gasket_thickness": _Range("bore", 0.001, 0.04),
    "gasket_bore": _Range("bore", 0.95, 1.2),
    "chamber_volume": _Range("swept volume", 0.02, 0.5),
    "piston_dish": _Range("swept volume", -0.25, 0.25),
    "deck_height": _Range("bore", -0.03, 0.03),
    "valve_to_piston": _Range("bore", 0.005, 0.2),
    "fastener_stretch": _Range("bore", 0.0002, 0.01),
}
_FROM_JOURNAL = {
    "main_journal": _Range("main_journal", 0.95, 1.02),
    "main_bore": _Range("main_journal", 0.95, 1.05),
    "rod_journal": _Range("rod_journal", 0.95, 1.02),
    "rod_bore": _Range("rod_journal", 0.95, 1.05),
}

_INCH = UNITS["in"].factor
_UNIT_WORDS = {"in": "inches", "in3": "cubic inches", "mm": "millimetres"}


def _own_size(build: Build, kind: str) -> tuple[_Range, Fraction] | None:
    """What to hold a reading of a kind against, and how large that is in this engine [mm or cc]."""
    engine = build.engine
    journals = {"main_journal": engine.main_journal, "rod_journal": engine.rod_journal}
    of_journal = _FROM_JOURNAL.get(kind)
    if of_journal is not None and (size := journals[of_journal.of]) is not None and size.number > 0:
        return of_journal, size.worth("mm")
    expected = _FROM_BORE.get(kind)
    if expected is None or engine.bore is None or engine.bore.number <= 0:
        return None
    if expected.of == "bore":
        return expected, engine.bore.worth("mm")
    if engine.stroke is None or engine.stroke.number <= 0:
        return None
    swept = compression.bore_volume(float(engine.bore.worth("mm")), float(engine.stroke.worth("mm")))
    return expected, Fraction(swept)


def limits_can_be(build: Build, figures: "Figures") -> Iterator[Finding]:
    """A limit that is misspelt, contradicts itself, or is of another unit than this engine's sizes, judges nothing."""
    known = [*FIT_KINDS, *(kind.limit for kind in FIT_KINDS.values()), *MASS_LIMITS, *RATIO_LIMITS, *LENGTH_LIMITS]
    why = "What is held against it would look good, or bad, for no reason."
    for name, limit in build.limits.items():
        if name not in known:
            severity: Severity = "error" if nearest(name, known) else "warning"
            remedy = did_you_mean(name, known, "take it away, or use a name of the schema")
            yield Finding(severity, "unknown-limit", limit.where, f"no figure is held to '{name}'", why, remedy)
            continue
        bounds = limit_bounds(limit, _limit_unit(name))
        shares = {bound: Fraction(share) for bound, share in limit.per_mm.items()}
        if any("min" in each and "max" in each and each["min"] > each["max"] for each in (bounds, shares)):
            what = f"{name}: the least that is accepted is more than the most"
            yield Finding("error", "limit", limit.where, what, why, "change the two over")
        elif name not in MASS_LIMITS and not ({*bounds, *shares} & {"min", "max"}):
            what, held = f"{name} sets neither min nor max", "A fit is held to a least, a most, or both."
            yield Finding("warning", "limit", limit.where, what, held, "add one")
        yield from limit_in_another_unit(build, name)


def _limit_unit(name: str) -> str:
    return "g" if name in MASS_LIMITS else FIT_KINDS[name].unit if name in FIT_KINDS else "mm"


# What a limit on a clearance may be, as shares of the bore; on what is measured directly, as the readings themselves.
_CLEARANCES = {
    **dict.fromkeys(("main_clearance", "rod_clearance", "cam_clearance"), _Range("bore", 0.0001, 0.003)),
    "piston_clearance": _Range("bore", 0.0001, 0.004),
    "quench": _Range("bore", 0.003, 0.05),
    "intake_valve_to_piston": _FROM_BORE["valve_to_piston"],
    "exhaust_valve_to_piston": _FROM_BORE["valve_to_piston"],
    "rod_bolt_stretch": _FROM_BORE["fastener_stretch"],
}


def limit_in_another_unit(build: Build, name: str) -> Iterator[Finding]:
    """The finding on a limit of build.yaml that another unit would make one of this engine; none where it is one."""
    expected, bore = _CLEARANCES.get(name) or _FROM_BORE.get(name), build.engine.bore
    if expected is None or expected.of != "bore" or bore is None or bore.number <= 0 or name == "deck_height":
        return
    size = bore.worth("mm")

    def fits(value: Fraction) -> bool:
        return expected.low <= value / size <= expected.high

    limit = build.limits[name]
    for bound, value in limit_bounds(limit, _limit_unit(name)).items():
        meant = [unit for factor, unit in ((_INCH, "in"), (1 / _INCH, "mm")) if fits(value * factor)]
        if value > 0 and not fits(value) and meant:
            stated = limit.bounds[bound]
            what = f"{name}: {bound} is {stated.written}, with a bore of {bore.written}"
            what += f": it looks like {_UNIT_WORDS[meant[0]]}"
            why = "A limit in the wrong unit passes everything, or nothing."
            remedy = f'write it with its unit, "{stated.digits} {meant[0]}"'
            yield Finding("error", "unit-slip", limit.where, what, why, remedy)
            return


def sizes_can_be(build: Build, figures: "Figures") -> Iterator[Finding]:
    """What is said of the engine, where a number with its unit passes the schema and cannot be."""
    engine = build.engine
    why = "Every clearance and ratio is worked out from it."
    named = ("bore", "stroke", "rod_length", "main_journal", "rod_journal")
    for name, size in zip(named, (getattr(engine, each) for each in named), strict=True):
        if size is not None and size.number <= 0:
            what = f"{name.replace('_', ' ')} is {size.written}"
            yield Finding("error", "engine-size", engine.where, what, why, f"correct {name} in engine.yaml")
    rod, stroke = engine.rod_length, engine.stroke
    if rod and stroke and 0 < 2 * rod.worth("mm") <= stroke.worth("mm"):
        what = f"a rod of {rod.written} is no longer than half the stroke of {stroke.written}: it could not go round"
        yield Finding("error", "engine-size", engine.where, what, why, "correct rod_length or stroke in engine.yaml")
    closes = build.intake_closes
    if closes is not None and abs(closes.worth("deg")) >= 180:
        what = f"the intake valve is said to close {closes.text}° after bottom dead centre"
        remedy = "correct intake_closes: it is less than half a turn"
        yield Finding("error", "engine-size", build.files["build"], what, why, remedy)


class Off(NamedTuple):
    """The readings of a session that are no size of this engine, each with its place, what they are held against and
    how large that is [mm or cc], and the slip that explains the first of them, with its remedy, if any does."""

    session: MeasuringSession
    readings: Sequence[tuple[Spot, Quantity]]
    expected: _Range
    size: Fraction
    slip: tuple[str, str] | None


def off_sizes(build: Build) -> Iterator[Off]:
    """Session by session, those that hold any such reading."""
    for session in counted(build):
        own = _own_size(build, session.what)
        if own is None:
            continue
        expected, size = own
        unit = DIMENSIONS[MEASUREMENT_KINDS[session.what].dimension][0]
        least, most = Fraction(expected.low) * size, Fraction(expected.high) * size
        off = [
            (spot, value)
            for spot in session.spots
            for value in spot.reading.values
            if not least <= value.worth(unit) <= most
        ]
        if off:
            yield Off(session, off, expected, size, _slip(off[0][1], expected, size))


def _slip(value: Quantity, expected: _Range, size: Fraction) -> tuple[str, str] | None:
    """What went wrong with a reading, and the remedy: the first slip that, when it is undone, makes it a size of this
    engine."""
    unit = DIMENSIONS[value.dimension][0]
    inch = "in" if value.dimension == "length" else "in3"
    share = value.worth(unit) / size
    units = [
        (scale, f"it looks like {_UNIT_WORDS.get(meant, meant)} written as {value.unit}",
         f'write it with its unit, "{value.digits} {meant}" (--unit {meant} for all)')
        for meant in (inch, unit)
        if (scale := UNITS[meant].factor / UNITS[value.unit].factor) != 1
    ]  # fmt: skip
    points = [
        (Fraction(slip), "the decimal point slipped", "read it again and write it as read")
        for slip in ("10", "1/10", "100", "1/100", "1000", "1/1000")
    ]
    for undo, cause, remedy in (*units, *points):
        if expected.low <= share * undo <= expected.high:
            return cause, remedy
    return None


def sizes_are_of_this_engine(build: Build, figures: "Figures") -> Iterator[Finding]:
    """A reading far from the engine's own size is a slip of the unit or of the point, and which one shows when it is
    undone."""
    ruler = Ruler(build.shop)
    for off in off_sizes(build):
        kind = MEASUREMENT_KINDS[off.session.what]
        spot, value = off.readings[0]
        size = f"{fixed(off.size, 1)} cc" if kind.dimension == "volume" else ruler.with_unit(off.size, 2)
        what = f"{kind.title} {spot.place} reads {value.written}, and "
        what += f"this engine's {off.expected.of.replace('_', ' ')} is {size}"
        rest = f" (and {len(off.readings) - 1} more of {off.session.id})" if len(off.readings) > 1 else ""
        if off.slip:
            cause, remedy = off.slip
            why = "A size in the wrong unit makes every clearance nonsense that looks like a figure."
            yield Finding("error", "unit-slip", spot.reading.where, f"{what}: {cause}{rest}", why, remedy)
        else:
            why = "No part of this engine is likely to have this size."
            remedy = "read it again; or correct engine.yaml"
            yield Finding("warning", "unlikely", spot.reading.where, what + rest, why, remedy)
