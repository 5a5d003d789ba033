"""What no schema can see in the measurements: places that are not there, slips of unit, forms that no shop would call
a journal, and every fit against its limit."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from buildbook.figures.fits import (
    FASTENERS,
    FIT_KINDS,
    Fit,
    limit_bounds,
    limit_words,
    named_places,
    sort_of_places,
    valve_of,
)
from buildbook.figures.lengths import Ruler
from buildbook.fits import compression, sizes
from buildbook.fits.decision import COVERAGE
from buildbook.quantities import DIMENSIONS, UNITS, Quantity, fixed
from buildbook.records.finding import Finding, Severity, did_you_mean, nearest
from buildbook.records.model import (
    LENGTH_LIMITS,
    MASS_LIMITS,
    MEASUREMENT_KINDS,
    RATIO_LIMITS,
    Build,
    Limit,
    MeasuringSession,
    Reading,
)

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
            continue
        if gauge and gauge.kind == "feeler_gauge" and kind.made_of is not None:
            what = f"{session.with_} is a feeler gauge, and a {kind.title} is a diameter"
            why = f"How sure a {kind.title} is follows from what it was read with."
            yield Finding("error", "not-a-gauge", session.place("with"), what, why, "name the instrument that was used")
        if gauge and gauge.capacity is not None and gauge.capacity.dimension == kind.dimension:
            yield from _beyond(session, gauge.capacity, kind.dimension)
        if gauge and gauge.resolution is not None:
            yield from _coarser_than(session, gauge.resolution, kind.dimension)


def _beyond(session: MeasuringSession, capacity: Quantity, dimension: str) -> Iterator[Finding]:
    unit = DIMENSIONS[dimension][0]
    for spot in session.spots:
        beyond = [value for value in spot.reading.values if value.worth(unit) > capacity.worth(unit)]
        if beyond:
            what = f"{spot.place}: {_typed(beyond[0])} is more than {session.with_} can read ({capacity.text})"
            why = "It was another instrument, or another number."
            yield Finding("error", "not-a-gauge", spot.reading.where, what, why, "name the instrument that was used")
            return


def _typed(value: Quantity) -> str:
    """A reading with its unit, the digits as written."""
    return f"{value.text.removesuffix(value.unit).strip()} {value.unit}"


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


_MAY_BE_BELOW_NOTHING = ("deck_height", "piston_dish", "fastener_angle")


def readings_can_be(build: Build, figures: "Figures") -> Iterator[Finding]:
    for session in _counted(build):
        kind = MEASUREMENT_KINDS[session.what]
        for spot in session.spots if session.what not in _MAY_BE_BELOW_NOTHING else ():
            least = [value for value in spot.reading.values if value.number < 0 or (kind.made_of and value.number == 0)]
            if least:
                what, why = f"{kind.title} {spot.place} reads {_typed(least[0])}", "The sign or the zero slipped."
                yield Finding("error", "reading", spot.reading.where, what, why, "read it again")
        temperature = session.temperature
        if temperature is not None and not 0 <= temperature.worth("degC") <= 45:
            what = f"{session.id} is said to have been measured at {_typed(temperature)}"
            why = "Every size is brought from there to 20 °C (ISO 1)."
            fahrenheit = temperature.unit == "degC" and 32 <= temperature.number <= 113
            remedy = f'write "{temperature.number} degF"' if fahrenheit else "read the thermometer again"
            yield Finding("error", "temperature", session.where, what, why, remedy)


_SECTIONS = (
    *("front", "rear", "middle", "centre", "center", "top", "bottom", "upper", "lower", "left", "right"),
    *("inner", "outer", "across", "along", "intake", "inlet", "exhaust", "major", "minor"),
)


def _slip_of_the_keys(meant: str, typed: str) -> bool:
    """Whether letters changed places, or one was left out or doubled."""
    short, long = sorted((meant, typed), key=len)
    rest = iter(long)
    return sorted(short) == sorted(long) or (len(long) - len(short) == 1 and all(letter in rest for letter in short))


def sections_are_spelled_right(build: Build, figures: "Figures") -> Iterator[Finding]:
    for session in _counted(build):
        for name, spot in {spot.along: spot for spot in session.spots if spot.along}.items():
            near = nearest(name, _SECTIONS) if name not in _SECTIONS and not any(map(str.isdigit, name)) else None
            if near and _slip_of_the_keys(near, name):
                what, why = f"'{name}' is no end or level known here", "It counts as a place of its own."
                yield Finding("warning", "section", spot.reading.where, what, why, f"did you mean {near}?")


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
        unit = "g" if name in MASS_LIMITS else FIT_KINDS[name].unit if name in FIT_KINDS else "mm"
        bounds = limit_bounds(limit, unit)
        shares = {bound: Fraction(share) for bound, share in limit.per_mm.items()}
        if any("min" in each and "max" in each and each["min"] > each["max"] for each in (bounds, shares)):
            what = f"{name}: the least that is accepted is more than the most"
            yield Finding("error", "limit", limit.where, what, why, "change the two over")
        elif name not in MASS_LIMITS and not ({*bounds, *shares} & {"min", "max"}):
            what, held = f"{name} sets neither min nor max", "A fit is held to a least, a most, or both."
            yield Finding("warning", "limit", limit.where, what, held, "add one")
        yield from _limit_in_another_unit(build, name, limit, bounds)


# What a limit on a clearance may be, as shares of the bore; on what is measured directly, as the readings themselves.
_CLEARANCES = {
    **dict.fromkeys(("main_clearance", "rod_clearance", "cam_clearance"), _Range("bore", 0.0001, 0.003)),
    "piston_clearance": _Range("bore", 0.0001, 0.004),
    "quench": _Range("bore", 0.003, 0.05),
    "intake_valve_to_piston": _FROM_BORE["valve_to_piston"],
    "exhaust_valve_to_piston": _FROM_BORE["valve_to_piston"],
    "rod_bolt_stretch": _FROM_BORE["fastener_stretch"],
}


def _limit_in_another_unit(build: Build, name: str, limit: Limit, bounds: Mapping[str, Fraction]) -> Iterator[Finding]:
    expected, bore = _CLEARANCES.get(name) or _FROM_BORE.get(name), build.engine.bore
    if expected is None or expected.of != "bore" or bore is None or bore.number <= 0 or name == "deck_height":
        return
    size = bore.worth("mm")

    def fits(value: Fraction) -> bool:
        return expected.low <= value / size <= expected.high

    for bound, value in bounds.items():
        meant = [unit for factor, unit in ((_INCH, "in"), (1 / _INCH, "mm")) if fits(value * factor)]
        if value > 0 and not fits(value) and meant:
            written = limit.bounds[bound]
            number = written.text.removesuffix(written.unit).strip()
            what = f"{name}: {bound} is {_typed(written)}, with a bore of {_typed(bore)}"
            what += f": it looks like {_UNIT_WORDS[meant[0]]}"
            why = "A limit in the wrong unit passes everything, or nothing."
            remedy = f'write it with its unit, "{number} {meant[0]}"'
            yield Finding("error", "unit-slip", limit.where, what, why, remedy)
            return


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
            ruler = Ruler(build.shop)
            standard = f"{fixed(size, 1)} cc" if unit == "cc" else ruler.with_unit(size, 2)
            yield _not_this_engine(session, spot.place, spot.reading, value, expected, size, standard, len(off))


def _not_this_engine(
    session: MeasuringSession,
    place: str,
    reading: Reading,
    value: Quantity,
    expected: _Range,
    size: Fraction,
    as_stated: str,
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
    of = f"{kind.title} {place} reads {_typed(value)}"
    standard = f"this engine's {which} is {as_stated}"
    for undo, cause, remedy in (*units, *points):
        if expected.low <= share * undo <= expected.high:
            what = f"{of}, and {standard}: {cause}{rest}"
            why = "A size in the wrong unit makes every clearance nonsense that looks like a figure."
            return Finding("error", "unit-slip", reading.where, what, why, remedy)
    what = f"{of}, and {standard}{rest}"
    why = "No part of this engine is likely to have this size."
    return Finding("warning", "unlikely", reading.where, what, why, "read it again; or correct engine.yaml")


def bores_take_what_runs_in_them(build: Build, figures: "Figures") -> Iterator[Finding]:
    ruler = Ruler(build.shop)
    for fit in figures.fits.fits:
        if fit.kind in {"main_clearance", "rod_clearance", "cam_clearance", "piston_clearance"} and fit.value < 0:
            outer, inner = fit.came_from
            what = (
                f"{outer.what} {outer.place} ({ruler.with_unit(outer.value, outer.decimals)}) is smaller than "
                f"{inner.what} {inner.place} ({ruler.with_unit(inner.value, inner.decimals)})"
            )
            why = "Nothing turns or slides in a hole that is smaller than itself; one of the two was misread."
            yield Finding("error", "no-clearance", outer.where, what, why, "measure both again")


# Beyond these [mm] a reading slipped: a journal that far gone would not be measured, but ground (common practice).
_NO_JOURNAL = Fraction(1, 4)
_NO_BORE = Fraction(1)


def forms_are_what_a_shop_would_measure(build: Build, figures: "Figures") -> Iterator[Finding]:
    ruler = Ruler(build.shop)
    for fit in figures.fits.fits:
        if not fit.kind.endswith(("taper", "out_of_round")):
            continue
        most = _NO_BORE if fit.kind.startswith("bore") else _NO_JOURNAL
        if fit.value > most:
            largest, smallest = fit.came_from
            read = " and ".join(ruler.text(each.as_read, each.decimals) for each in (largest, smallest))
            what = f"{fit.title} {fit.place} is {ruler.with_unit(fit.value, fit.decimals)}: {read}; a digit slipped"
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
    ruler = Ruler(build.shop)
    for kind, places in figures.measured.items():
        # many camshafts step down from journal to journal, so that they can be put in
        if MEASUREMENT_KINDS[kind].made_of is None or len(places) < 3 or kind.startswith("cam"):
            continue
        middle = sorted(piece.mean for piece in places.values())[len(places) // 2]
        for piece in places.values():
            if abs(piece.mean - middle) > middle / 200:
                title, read = MEASUREMENT_KINDS[kind].title, piece.readings[0]
                what = f"{title} {piece.place} is {ruler.with_unit(piece.mean, read.decimals)}; its fellows are about "
                what += ruler.text(middle, read.decimals)
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


def ratios_are_of_an_engine(build: Build, figures: "Figures") -> Iterator[Finding]:
    for each in figures.compression.cylinders.values() if figures.has_layout else ():
        if each.ratio is not None and not 4 <= each.ratio.value <= 30:
            came = each.parts["dish"].came or each.parts["chamber"].came
            where = came[0].where if came else build.files["clearances"]
            what = f"cylinder {each.cylinder}: a compression ratio of {each.ratio.value:.1f} is no piston engine's"
            why = "A sign or a point slipped in one of its volumes."
            yield Finding("warning", "unlikely", where, what, why, "look at chamber, dish and deck again")


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
    for each in figures.fits.missing:
        of_fellows = each.kind in FASTENERS or each.lacking.startswith(("no ", "only "))
        if of_fellows:
            what = f"{FIT_KINDS[each.kind].title} {each.place}: {each.lacking}"
            why, remedy = "What was not measured is not known to be good.", "measure it, and take it down"
            yield Finding("warning", "not-measured", build.files["clearances"], what, why, remedy)


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
    return limit_findings(build, figures.fits.fits)


def limit_findings(build: Build, fits: Iterable[Fit]) -> Iterator[Finding]:
    """By the decision rule of ISO 14253-1: what crosses its limit within its uncertainty is not proven either way."""
    ruler = Ruler(build.shop)
    for fit in fits:
        if fit.verdict in {"within", "no limit"}:
            continue
        where = fit.came_from[0].where if fit.came_from else build.files["clearances"]
        severity: Severity = "note" if fit.bounds.practice else "warning"
        unit = FIT_KINDS[fit.kind].unit
        text, shown = (ruler.text, ruler.unit) if unit == "mm" else (fixed, unit)
        decided, decimals = fit.deciding, fit.decimals + fit.decided_by_mean
        expanded = text(Fraction(COVERAGE * decided.uncertainty), fit.decimals + 1)
        value = f"{text(Fraction(decided.value), decimals)} ± {expanded} {shown}".strip()
        value = f"its mean, {value}," if fit.decided_by_mean else value
        limit = limit_words(fit, text)
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
    limits_can_be,
    sessions_hold_readings,
    readings_can_be,
    sections_are_spelled_right,
    gauges_read_what_they_are_said_to,
    measured_places_are_there,
    sizes_can_be,
    sizes_are_of_this_engine,
    bores_take_what_runs_in_them,
    forms_are_what_a_shop_would_measure,
    valves_say_which_they_are,
    pieces_are_among_their_fellows,
    volumes_make_a_ratio,
    ratios_are_of_an_engine,
    every_place_was_measured,
    warm_pieces_say_what_they_are_made_of,
    fits_keep_their_limits,
)
