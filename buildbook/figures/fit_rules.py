"""What no schema can see in the measurements: places that are not there, slips of unit, forms that no shop would call
a journal, and every fit against its limit."""

from collections.abc import Callable, Iterable, Iterator
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from buildbook.figures.fits import FIT_KINDS, limit_words, named_places, sort_of_places, valve_of
from buildbook.fits import compression, sizes
from buildbook.quantities import DIMENSIONS, UNITS, Quantity, fixed
from buildbook.records.finding import Finding, Severity, did_you_mean
from buildbook.records.model import MEASUREMENT_KINDS, Build, MeasuringSession, Reading

if TYPE_CHECKING:
    from buildbook.figures import Figures

Rule = Callable[[Build, "Figures"], Iterable[Finding]]


def _counted(build: Build) -> Iterator[MeasuringSession]:
    """The sessions that count, of kinds that are known."""
    return (session for session in build.clearances if session.void is None and session.what in MEASUREMENT_KINDS)


def sessions_hold_readings(build: Build, figures: "Figures") -> Iterator[Finding]:
    for session in _counted(build):
        if not session.spots:
            what, why = f"{session.id} holds no reading", "A session without readings counts for nothing."
            yield Finding("warning", "no-reading", session.where, what, why, "add readings, or 'void: why'")


def gauges_read_what_they_are_said_to(build: Build, figures: "Figures") -> Iterator[Finding]:
    for session in _counted(build):
        kind = MEASUREMENT_KINDS[session.what]
        gauge = build.shop.instruments.get(session.with_ or "")
        if gauge and not gauge.reads(kind.dimension):
            what = f"{session.with_} reads no {kind.dimension}: it is listed as a {gauge.kind.replace('_', ' ')}"
            why = f"How sure a {kind.title} is follows from what it was read with."
            yield Finding("error", "not-a-gauge", session.place("with"), what, why, "name the instrument that was used")
        elif gauge and gauge.resolution is not None:
            yield from _coarser_than(session, gauge.resolution, kind.dimension)


# A zero left out makes a reading ten times coarser; a gauge of 0.001 mm read to 0.0001 in lost nothing.
_COARSER = 5


def _coarser_than(session: MeasuringSession, step: Quantity, dimension: str) -> Iterator[Finding]:
    unit = DIMENSIONS[dimension][0]
    for spot in session.spots:
        coarse = [value for value in spot.reading.values if value.last_digit(unit) > _COARSER * step.worth(unit)]
        if coarse:
            what = f"{spot.place}: {coarse[0].text} has fewer digits than {session.with_} shows"
            why = "The last digit written says how well it was read, so this reading counts as less sure."
            remedy = "write every digit the gauge showed, with a zero at the end if it was one"
            yield Finding("warning", "digits", spot.reading.where, what, why, remedy)


def measured_places_are_there(build: Build, figures: "Figures") -> Iterator[Finding]:
    for session in _counted(build):
        kind = MEASUREMENT_KINDS[session.what]
        spares = [piece for part in build.parts if not part.fitted and part.kind in kind.at for piece in part.pieces]
        known = [*(place for at in kind.at for place in named_places(at, figures)), *spares]
        sorts = [at for at in kind.at if named_places(at, figures)]
        if len(sorts) < len(kind.at) and set(kind.at) & {"fastener", "cam", "main", "head_gasket"}:
            continue  # the records do not say how many there are
        if not known:
            continue
        unknown: dict[str, Reading] = {}
        for spot in session.spots:
            if spot.place not in known:
                unknown.setdefault(spot.place, spot.reading)
        for place, reading in unknown.items():
            word = " or ".join(_AT_WORDS.get(at, at) for at in kind.at)
            what = f"{kind.title} {place}: this engine has no {word} {place}"
            why = "What was measured belongs to another engine, or to another place of this one."
            remedy = did_you_mean(place, known, f"it has {', '.join(known)}")
            yield Finding("error", "no-place", reading.where_name, what, why, remedy)


_AT_WORDS = {"main": "main bearing", "cam": "cam bearing", "head_gasket": "head gasket"}


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
    "valve_to_piston": _Range("bore", 0.005, 0.2),
    "fastener_stretch": _Range("bore", 0.0002, 0.01),
}
_FROM_JOURNAL = {
    "main_journal": _Range("main_journal", 0.95, 1.02),
    "main_bore": _Range("main_journal", 0.95, 1.05),
    "rod_journal": _Range("rod_journal", 0.95, 1.02),
    "rod_bore": _Range("rod_journal", 0.95, 1.05),
}

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


def sizes_can_be(build: Build, figures: "Figures") -> Iterator[Finding]:
    """What is said of the engine, where a number with its unit passes the schema and cannot be."""
    engine = build.engine
    why = "Every clearance and ratio is worked out from it."
    named = ("bore", "stroke", "rod_length", "main_journal", "rod_journal")
    for name, size in zip(named, (getattr(engine, each) for each in named), strict=True):
        if size is not None and size.number <= 0:
            what = f"{name.replace('_', ' ')} is {size.text}"
            yield Finding("error", "engine-size", engine.where, what, why, f"correct {name} in engine.yaml")
    rod, stroke = engine.rod_length, engine.stroke
    if rod and stroke and 0 < 2 * rod.worth("mm") <= stroke.worth("mm"):
        what = f"a rod of {rod.text} is no longer than half the stroke of {stroke.text}: it could not go round"
        yield Finding("error", "engine-size", engine.where, what, why, "correct rod_length or stroke in engine.yaml")
    closes = build.intake_closes
    if closes is not None and abs(closes.worth("deg")) >= 180:
        what = f"the intake valve is said to close {closes.text}° after bottom dead centre"
        remedy = "correct intake_closes: it is less than half a turn"
        yield Finding("error", "engine-size", build.files["build"], what, why, remedy)


def sizes_are_of_this_engine(build: Build, figures: "Figures") -> Iterator[Finding]:
    """A reading far from the engine's own size is a slip of the unit or of the point, and which one shows when it is
    undone."""
    for session in _counted(build):
        own = _own_size(build, session.what)
        if own is None:
            continue
        expected, size = own
        unit = DIMENSIONS[MEASUREMENT_KINDS[session.what].dimension][0]
        off = [
            (spot, value)
            for spot in session.spots
            for value in spot.reading.values
            if not expected.low <= value.worth(unit) / size <= expected.high
        ]
        if off:
            spot, value = off[0]
            yield _not_this_engine(session, spot.place, spot.reading, value, expected, size, len(off))


def _not_this_engine(
    session: MeasuringSession,
    place: str,
    reading: Reading,
    value: Quantity,
    expected: _Range,
    size: Fraction,
    count: int,
) -> Finding:
    kind = MEASUREMENT_KINDS[session.what]
    unit = DIMENSIONS[kind.dimension][0]
    inch = "in" if kind.dimension == "length" else "in3"
    share = value.worth(unit) / size
    number = value.text.removesuffix(value.unit).strip()
    units = [
        (scale, f"it looks like {_UNIT_WORDS.get(meant, meant)} written as {value.unit}",
         f'write it with its unit, "{number} {meant}" (--unit {meant} for all)')
        for meant in (inch, unit)
        if (scale := UNITS[meant].factor / UNITS[value.unit].factor) != 1
    ]  # fmt: skip
    points = [
        (Fraction(slip), "the decimal point slipped", "read it again and write it as read")
        for slip in ("10", "1/10", "100", "1/100", "1000", "1/1000")
    ]
    which = expected.of.replace("_", " ")
    rest = f" (and {count - 1} more of {session.id})" if count > 1 else ""
    of = f"{kind.title} {place} reads {value.text.removesuffix(value.unit).strip()} {value.unit}"
    standard = f"this engine's {which} is {fixed(size, 2)} {unit}"
    for undo, cause, remedy in (*units, *points):
        if expected.low <= share * undo <= expected.high:
            what = f"{of}, and {standard}: {cause}{rest}"
            why = "A size in the wrong unit makes every clearance nonsense that looks like a figure."
            return Finding("error", "unit-slip", reading.where, what, why, remedy)
    what = f"{of}, and {standard}{rest}"
    why = "No part of this engine is likely to have this size."
    return Finding("warning", "unlikely", reading.where, what, why, "read it again; or correct engine.yaml")


def bores_take_what_runs_in_them(build: Build, figures: "Figures") -> Iterator[Finding]:
    for fit in figures.fits.fits:
        if fit.kind in {"main_clearance", "rod_clearance", "cam_clearance", "piston_clearance"} and fit.value < 0:
            outer, inner = fit.came_from
            what = (
                f"{outer.what} {outer.place} ({fixed(outer.value, outer.decimals)} mm) is smaller than "
                f"{inner.what} {inner.place} ({fixed(inner.value, inner.decimals)} mm)"
            )
            why = "Nothing turns or slides in a hole that is smaller than itself; one of the two was misread."
            yield Finding("error", "no-clearance", outer.where, what, why, "measure both again")


# Beyond these [mm] a reading slipped: a journal that far gone would not be measured, but ground (common practice).
_NO_JOURNAL = Fraction(1, 4)
_NO_BORE = Fraction(1)


def forms_are_what_a_shop_would_measure(build: Build, figures: "Figures") -> Iterator[Finding]:
    for fit in figures.fits.fits:
        if not fit.kind.endswith(("taper", "out_of_round")):
            continue
        most = _NO_BORE if fit.kind.startswith("bore") else _NO_JOURNAL
        if fit.value > most:
            largest, smallest = fit.came_from
            what = (
                f"{fit.title} {fit.place} is {fixed(fit.value, fit.decimals)} mm: "
                f"{fixed(largest.as_read, largest.decimals)} and {fixed(smallest.as_read, smallest.decimals)}; "
                "a digit slipped"
            )
            why = "Nobody measures for clearance what is so far from round or straight: it is ground or bored."
            yield Finding("error", "no-form", smallest.where, what, why, "read it again, and correct what was typed")


def valves_say_which_they_are(build: Build, figures: "Figures") -> Iterator[Finding]:
    for session in _counted(build):
        for spot in session.spots if session.what == "valve_to_piston" else ():
            if valve_of(spot.along) is None:
                what = f"cylinder {spot.place}: which valve was measured is not said" + (
                    f" ('{spot.along}')" * bool(spot.along)
                )
                why = "Intake and exhaust have limits of their own, and this reading is held against neither."
                yield Finding("error", "no-valve", spot.reading.where, what, why, "write it under intake or exhaust")


def pieces_are_among_their_fellows(build: Build, figures: "Figures") -> Iterator[Finding]:
    """A journal or bore half a per cent off the middle of its fellows has a digit wrong, or is another engine's."""
    for kind, places in figures.measured.items():
        # many camshafts step down from journal to journal, so that they can be put in
        if MEASUREMENT_KINDS[kind].made_of is None or len(places) < 3 or kind.startswith("cam"):
            continue
        middle = sorted(piece.mean for piece in places.values())[len(places) // 2]
        for piece in places.values():
            if abs(piece.mean - middle) > middle / 200:
                title, read = MEASUREMENT_KINDS[kind].title, piece.readings[0]
                what = f"{title} {piece.place} is {fixed(piece.mean, read.decimals)} mm; its fellows are about "
                what += fixed(middle, read.decimals)
                why = "A slip of the hand or the eye looks like this; so does a piece of another size."
                yield Finding("warning", "far-off", read.where, what, why, "measure it again")


def volumes_make_a_ratio(build: Build, figures: "Figures") -> Iterator[Finding]:
    for each in figures.compression.cylinders.values() if figures.has_layout else ():
        if each.volume is not None and each.volume.total <= 0:
            came = each.parts["chamber"].came or each.parts["dish"].came
            where = came[0].where if came else build.files["clearances"]
            what = (
                f"cylinder {each.cylinder}: the volumes above the piston come to {each.volume.total:.1f} cc, "
                "so that its compression ratio would be below 1"
            )
            why = "Something is left above every piston; a dome is a dish below zero, a proud piston a deck below zero."
            yield Finding("error", "no-volume", where, what, why, "look at the signs and units of dish and deck")


def every_place_was_measured(build: Build, figures: "Figures") -> Iterator[Finding]:
    """One cylinder of eight without a reading is missing, not good."""
    for name, places in figures.measured.items():
        kind = MEASUREMENT_KINDS[name]
        at = sort_of_places(name, places, figures) if kind.each else None
        lacking = [place for place in named_places(at, figures) if place not in places] if at else []
        if at and lacking:
            last = list(places.values())[-1].readings[0].session
            what = f"no {kind.title} was measured of {_AT_WORDS.get(at, at)} {', '.join(lacking)}"
            why = "What was not measured is not known to be good."
            remedy = f"'buildbook measure {name}' takes it down"
            yield Finding("warning", "not-measured", last.where, what, why, remedy)


# How far from 20 °C [°C] a piece may be before it matters that nobody knows how it grows: 101.8 mm of aluminium read
# with a steel gauge is off by 0.005 mm then.
_MATTERS = Fraction(5)


def warm_pieces_say_what_they_are_made_of(build: Build, figures: "Figures") -> Iterator[Finding]:
    seen: set[tuple[str, str | None]] = set()
    for piece in (each for places in figures.measured.values() for each in places.values()):
        made_of, session = MEASUREMENT_KINDS[piece.kind].made_of, piece.readings[0].session
        if made_of is None or session.temperature is None or (made_of, session.id) in seen:
            continue
        degrees = session.temperature.worth("degC")
        if abs(degrees - sizes.REFERENCE) > _MATTERS and not _material_known(build, made_of, piece.place):
            seen.add((made_of, session.id))
            what = f"{session.id} was measured at {float(degrees):g} °C, and what the {made_of} is made of is not said"
            why = "Sizes hold at 20 °C (ISO 1); an aluminium piece 10 °C warmer reads 0.01 mm too large."
            remedy = f"add material to the {made_of} in parts.yaml, such as aluminium, cast iron or steel"
            yield Finding("warning", "not-at-20", session.where, what, why, remedy)


def _material_known(build: Build, made_of: str, piece: str) -> bool:
    parts = [part for part in build.parts if part.kind == made_of]
    own = [part for part in parts if piece in part.pieces] or parts
    return any(sizes.expansion_of(part.material) is not None for part in own)


def fits_keep_their_limits(build: Build, figures: "Figures") -> Iterator[Finding]:
    """By the decision rule of ISO 14253-1: what crosses its limit within its uncertainty is not proven either way."""
    for fit in figures.fits.fits:
        if fit.verdict in {"within", "no limit"}:
            continue
        where = fit.came_from[0].where if fit.came_from else build.files["clearances"]
        severity: Severity = "note" if fit.bounds.practice else "warning"
        unit = FIT_KINDS[fit.kind].unit
        value = f"{fixed(fit.value, fit.decimals)} ± {fixed(2 * fit.uncertainty, fit.decimals + 1)} {unit}".strip()
        limit = limit_words(fit)
        if fit.verdict == "cannot tell":
            what = f"{fit.title} {fit.place}: {value} crosses its limit ({limit})"
            why = (
                "Its uncertainty (k = 2) reaches over the limit, so that neither good nor bad is proven (ISO 14253-1)."
            )
            yield Finding(severity, "cannot-tell", where, what, why, "measure again, or with a better instrument")
        else:
            what = f"{fit.title} {fit.place}: {value} is {fit.verdict} its limit ({limit})"
            why = "What must slide, seal or clear does not, as far as this limit says."
            yield Finding(
                severity, "fit", where, what, why, _REMEDIES.get(fit.kind, "correct it, or reconsider the limit")
            )


_REMEDIES = {
    "top_ring_gap": "'buildbook fits --kind top_ring_gap' says how much to file",
    "second_ring_gap": "'buildbook fits --kind second_ring_gap' says how much to file",
    "oil_rail_gap": "'buildbook fits --kind oil_rail_gap' says how much to file",
    "main_clearance": "'buildbook shells main' finds the shells that bring it nearest",
    "rod_clearance": "'buildbook shells rod' finds the shells that bring it nearest",
    "piston_clearance": "'buildbook match --with-bores' finds the evenest pistons for the bores",
    "compression_ratio": "'buildbook compression' says which gasket or cut would bring it there",
    "compression_spread": "'buildbook compression' says which gasket or cut would bring it there",
    "fastener_torque": "tighten it again as its maker says, and take it down",
}


RULES: tuple[Rule, ...] = (
    sessions_hold_readings,
    gauges_read_what_they_are_said_to,
    measured_places_are_there,
    sizes_can_be,
    sizes_are_of_this_engine,
    bores_take_what_runs_in_them,
    forms_are_what_a_shop_would_measure,
    valves_say_which_they_are,
    pieces_are_among_their_fellows,
    volumes_make_a_ratio,
    every_place_was_measured,
    warm_pieces_say_what_they_are_made_of,
    fits_keep_their_limits,
)
