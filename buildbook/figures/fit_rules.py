"""What no schema can see in the measurements: places that are not there, forms that no shop would call a journal, and
every fit against its limit."""

from collections.abc import Callable, Container, Iterable, Iterator
from fractions import Fraction
from typing import TYPE_CHECKING

from buildbook.figures.fits import (
    FASTENERS,
    FIT_KINDS,
    Fit,
    limit_words,
    named_places,
    sort_of_places,
    valve_of,
)
from buildbook.figures.lengths import Ruler
from buildbook.figures.measured import Came
from buildbook.figures.slip_rules import (
    counted,
    limit_in_another_unit,
    limits_can_be,
    off_sizes,
    sizes_are_of_this_engine,
    sizes_can_be,
)
from buildbook.fits import sizes
from buildbook.fits.decision import COVERAGE
from buildbook.quantities import DIMENSIONS, Quantity, fixed
from buildbook.records.finding import Finding, Severity, did_you_mean, nearest
from buildbook.records.model import (
    MEASUREMENT_KINDS,
    Build,
    MeasuringSession,
    Reading,
)

if TYPE_CHECKING:
    from buildbook.figures import Figures
    from buildbook.figures.compression import CylinderCompression

Rule = Callable[[Build, "Figures"], Iterable[Finding]]


def sessions_hold_readings(build: Build, figures: "Figures") -> Iterator[Finding]:
    for session in counted(build):
        if not session.spots:
            what, why = f"{session.id} holds no reading", "A session without readings counts for nothing."
            yield Finding("warning", "no-reading", session.where, what, why, "add readings, or 'void: why'")


def gauges_read_what_they_are_said_to(build: Build, figures: "Figures") -> Iterator[Finding]:
    for session in counted(build):
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
    most = capacity.worth(unit)
    for spot in session.spots:
        beyond = [value for value in spot.reading.values if value.worth(unit) > most]
        if beyond:
            what = f"{spot.place}: {beyond[0].written} is more than {session.with_} can read ({capacity.text})"
            why = "It was another instrument, or another number."
            yield Finding("error", "not-a-gauge", spot.reading.where, what, why, "name the instrument that was used")
            return


# A zero left out makes a reading ten times coarser; a gauge of 0.001 mm read to 0.0001 in lost nothing.
_COARSER = 5


def _coarser_than(session: MeasuringSession, step: Quantity, dimension: str) -> Iterator[Finding]:
    unit = DIMENSIONS[dimension][0]
    most = _COARSER * step.worth(unit)
    is_coarse: dict[tuple[object, str], bool] = {}  # by the last digit written: most of a session are alike
    for spot in session.spots:
        coarse = []
        for value in spot.reading.values:
            written = value.number.as_tuple().exponent, value.unit
            if written not in is_coarse:
                is_coarse[written] = value.last_digit(unit) > most
            coarse += [value] if is_coarse[written] else []
        if coarse:
            what = f"{spot.place}: {coarse[0].text} has fewer digits than {session.with_} shows"
            why = "The last digit written says how well it was read, so this reading counts as less sure."
            remedy = "write every digit the gauge showed, with a zero at the end if it was one"
            yield Finding("warning", "digits", spot.reading.where, what, why, remedy)


def measured_places_are_there(build: Build, figures: "Figures") -> Iterator[Finding]:
    for session in counted(build):
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


_MAY_BE_BELOW_NOTHING = ("deck_height", "piston_dish", "fastener_angle")


def readings_can_be(build: Build, figures: "Figures") -> Iterator[Finding]:
    for session in counted(build):
        kind = MEASUREMENT_KINDS[session.what]
        for spot in session.spots if session.what not in _MAY_BE_BELOW_NOTHING else ():
            least = [value for value in spot.reading.values if value.number < 0 or (kind.made_of and value.number == 0)]
            if least:
                what, why = f"{kind.title} {spot.place} reads {least[0].written}", "The sign or the zero slipped."
                yield Finding("error", "reading", spot.reading.where, what, why, "read it again")
        temperature = session.temperature
        if temperature is not None and not 0 <= temperature.worth("degC") <= 45:
            what = f"{session.id} is said to have been measured at {temperature.written}"
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
    for session in counted(build):
        for name, spot in {spot.along: spot for spot in session.spots if spot.along}.items():
            near = nearest(name, _SECTIONS) if name not in _SECTIONS and not any(map(str.isdigit, name)) else None
            if near and _slip_of_the_keys(near, name):
                what, why = f"'{name}' is no end or level known here", "It counts as a place of its own."
                yield Finding("warning", "section", spot.reading.where, what, why, f"did you mean {near}?")


def figures_make_sense(build: Build, figures: "Figures") -> Iterator[Finding]:
    """What is wrong with the figures themselves. What is made of a reading in the wrong unit, or held to such a limit,
    is nonsense as well: of that only the cause is said."""
    slipped = {(off.session.id, spot.place) for off in off_sizes(build) if off.slip for spot, _ in off.readings}
    limits = {slip.where for name in build.limits for slip in limit_in_another_unit(build, name)}

    def sound(made_of: Iterable[Came]) -> bool:
        return not any((each.session, each.place) in slipped for each in made_of)

    cylinders = [*figures.compression.cylinders.values()] if figures.has_layout else []
    ratios = [each for each in cylinders if sound(came for part in each.parts.values() for came in part.came)]
    fits = [
        fit
        for fit in figures.fits.fits
        if sound(fit.came_from)
        and fit.bounds.where not in limits
        and (fit.kind != "compression_spread" or len(ratios) == len(cylinders))
    ]
    yield from _bores_take_what_runs_in_them(build, fits)
    yield from _forms_are_what_a_shop_would_measure(build, fits)
    yield from _pieces_are_among_their_fellows(build, figures, slipped)
    yield from _volumes_make_a_ratio(build, ratios)
    yield from _ratios_are_of_an_engine(build, ratios)
    yield from limit_findings(build, fits)


def _bores_take_what_runs_in_them(build: Build, fits: Iterable[Fit]) -> Iterator[Finding]:
    ruler = Ruler(build.shop)
    for fit in fits:
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


def _forms_are_what_a_shop_would_measure(build: Build, fits: Iterable[Fit]) -> Iterator[Finding]:
    ruler = Ruler(build.shop)
    for fit in fits:
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
    for session in counted(build):
        for spot in session.spots if session.what == "valve_to_piston" else ():
            if valve_of(spot.along) is None:
                what = f"cylinder {spot.place}: which valve was measured is not said" + (
                    f" ('{spot.along}')" * bool(spot.along)
                )
                why = "Intake and exhaust have limits of their own, and this reading is held against neither."
                yield Finding("error", "no-valve", spot.reading.where, what, why, "write it under intake or exhaust")


def _pieces_are_among_their_fellows(
    build: Build, figures: "Figures", slipped: Container[tuple[str | None, str]]
) -> Iterator[Finding]:
    """A journal or bore half a per cent off the middle of its fellows has a digit wrong, or is another engine's."""
    ruler = Ruler(build.shop)
    for kind, places in figures.measured.items():
        # many camshafts step down from journal to journal, so that they can be put in
        if MEASUREMENT_KINDS[kind].made_of is None or kind.startswith("cam"):
            continue
        fellows = [piece for piece in places.values() if (piece.readings[0].session.id, piece.place) not in slipped]
        if len(fellows) < 3:
            continue
        middle = sorted(piece.mean for piece in fellows)[len(fellows) // 2]
        for piece in fellows:
            if abs(piece.mean - middle) > middle / 200:
                title, read = MEASUREMENT_KINDS[kind].title, piece.readings[0]
                what = f"{title} {piece.place} is {ruler.with_unit(piece.mean, read.decimals)}; its fellows are about "
                what += ruler.text(middle, read.decimals)
                why = "A slip of the hand or the eye looks like this; so does a piece of another size."
                yield Finding("warning", "far-off", read.where, what, why, "measure it again")


def _volumes_make_a_ratio(build: Build, cylinders: Iterable["CylinderCompression"]) -> Iterator[Finding]:
    for each in cylinders:
        if each.volume is not None and each.volume.total <= 0:
            came = each.parts["chamber"].came or each.parts["dish"].came
            where = came[0].where if came else build.files["clearances"]
            what = (
                f"cylinder {each.cylinder}: the volumes above the piston come to {each.volume.total:.1f} cc, "
                "so that its compression ratio would be below 1"
            )
            why = "Something is left above every piston; a dome is a dish below zero, a proud piston a deck below zero."
            yield Finding("error", "no-volume", where, what, why, "look at the signs and units of dish and deck")


def _ratios_are_of_an_engine(build: Build, cylinders: Iterable["CylinderCompression"]) -> Iterator[Finding]:
    for each in cylinders:
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
    figures_make_sense,
    valves_say_which_they_are,
    every_place_was_measured,
    warm_pieces_say_what_they_are_made_of,
)
