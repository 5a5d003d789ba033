"""What a session asks for: the places in their order, what is expected there, and with what it was read before."""

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from buildbook.bench.entry import Session, Slot
from buildbook.figures.fits import named_places
from buildbook.figures.weighings import in_order, mean
from buildbook.quantities import DIMENSIONS, Quantity, in_numbered_order
from buildbook.records.finding import did_you_mean
from buildbook.records.model import (
    MEASUREMENT_KINDS,
    WEIGHING_KINDS,
    Build,
    Entry,
    Instrument,
    MeasuringSession,
    WeighingSession,
)

if TYPE_CHECKING:
    from buildbook.figures import Figures


class CannotAsk(Exception):
    """There is nothing that could be asked for: what is missing, and the remedy."""

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(f"{what}: {remedy}")
        self.what = what
        self.remedy = remedy


class Lot(NamedTuple):
    """Pieces weighed together: how many the parts list counts, and how many each cylinder or rod has of them, where
    that follows; and by which name the ledger has the latter."""

    pieces: int | None
    each: int | None
    each_name: str


class Plan(NamedTuple):
    """What a session asks for. `expected` and `fellows` are in the first unit of the dimension: what each place read
    before, or is said to be (`""`: all of a lot); and what others of the kind read in this build, which are not asked
    for now. `in_part` are places that are asked whole although some of it was read before."""

    file: str
    what: str
    title: str
    dimension: str
    places: tuple[tuple[str, int], ...]  # each with how many readings
    lot: Lot | None
    expected: Mapping[str, Fraction]
    fellows: Mapping[str, Fraction]
    again: bool  # everything had been read before
    in_part: tuple[str, ...] = ()

    def session(self, nominal: str | None = None) -> Session:
        """The session before anything is read. `nominal` is what the check weight is known to be; only weights have
        one."""
        checked = self.file == "weighings"
        first = (Slot("nominal"), Slot("before")) if checked else ()
        last = (Slot("after"), Slot("record")) if checked else (Slot("record"),)
        offers: dict[Slot, str] = {}
        middle: list[Slot] = []
        if self.lot is not None:
            middle = [Slot("total"), Slot("pieces")]
            if self.lot.pieces is not None:
                offers[Slot("pieces")] = str(self.lot.pieces)
            if self.lot.each is None:
                middle.append(Slot("each"))
        for place, times in self.places:
            middle += [Slot("reading", place, nth) for nth in range(1, times + 1)]
        read = {Slot("nominal"): nominal} if checked and nominal is not None else {}
        return Session((*first, *middle, *last), read, offers=offers)


def weighing_plan(figures: "Figures", what: str, only: Sequence[str], earlier: Build | None) -> Plan:
    """What is left to weigh of a kind, or all of it again; or `only` these pieces. `earlier` is the build that this one
    follows. Raises CannotAsk."""
    build, kind = figures.build, WEIGHING_KINDS[what]
    every = pieces_to_weigh(build, what)
    ids = any(part.ids for part in build.parts if part.kind in kind.pieces)
    as_lot = not kind.each and not ids and not only
    if not every and not as_lot:
        words = " and no ".join(part.replace("_", " ") for part in kind.pieces)
        example = f"{{kind: {kind.pieces[0]}, ids: [{kind.pieces[0][0].upper()}1, {kind.pieces[0][0].upper()}2]}}"
        raise CannotAsk(f"parts.yaml lists no {words}", f"list them there first, as in '- {example}'")
    wanted = _chosen(every, only, kind.title)
    before = {} if as_lot else _weighed(build, what)
    left = [piece for piece in wanted if piece not in before]
    asked = list(only) or left or wanted
    expected = _stated(build, what) | (_weighed(earlier, what) if earlier else {}) | before
    lot = lot_of(figures, what) if as_lot else None
    each = _of_a_lot(build, what) or (_of_a_lot(earlier, what) if earlier else None)
    if lot is not None and lot.pieces is not None and each is not None:
        expected = {"": each * lot.pieces}
    return Plan(
        "weighings",
        what,
        kind.title,
        "mass",
        () if as_lot else tuple((piece, 1) for piece in asked),
        lot,
        expected,
        {piece: weight for piece, weight in before.items() if piece not in asked},
        again=not only and (_of_a_lot(build, what) is not None if as_lot else not left and bool(before)),
    )


def pieces_to_weigh(build: Build, what: str) -> list[str]:
    """The names that readings of a kind have, in their numbered order, spares last: `R1`, or `P1+N1` as they are
    paired, or else one with one."""
    kinds = WEIGHING_KINDS[what].pieces
    of_kind = [
        [*_numbered(build, kind, fitted=True), *_numbered(build, kind, fitted=False)] for kind in kinds
    ]  # fmt: skip
    if len(kinds) == 1:
        return of_kind[0]
    decision = build.pairings.decision
    sets = [chosen.pieces for chosen in decision.cylinders.values()] if decision else []
    paired = [tuple(pieces.get(kind) for kind in kinds) for pieces in sets]
    together = [pair for pair in paired if all(pair)]
    used = {piece for pair in together for piece in pair}
    rest = zip(*([piece for piece in pieces if piece not in used] for pieces in of_kind), strict=False)
    return sorted(("+".join(map(str, pair)) for pair in (*together, *rest)), key=in_numbered_order)


def _numbered(build: Build, kind: str, *, fitted: bool) -> list[str]:
    found = (piece for part in build.parts if part.kind == kind and part.fitted == fitted for piece in part.pieces)
    return sorted(dict.fromkeys(found), key=in_numbered_order)


def _chosen(every: Sequence[str], only: Sequence[str], title: str) -> list[str]:
    for name in only:
        if name not in every:
            listed = f"parts.yaml lists {', '.join(every[:16])}" if every else "parts.yaml lists none"
            raise CannotAsk(f"there is no {title} {name[:40]}", did_you_mean(name, every, listed))
    return list(only) or list(every)


def _weighed(build: Build, what: str) -> dict[str, Fraction]:
    """Piece → its weight [g] by the session that counts."""
    sessions = [session for session in in_order(build.weighings) if session.what == what and session.void is None]
    return {piece: mean(each) for session in sessions for piece, each in session.readings.items() if each.values}


def _of_a_lot(build: Build, what: str) -> Fraction | None:
    """What one piece weighed [g] in the lot that was weighed last."""
    lots = [each.lot for each in in_order(build.weighings) if each.what == what and each.void is None and each.lot]
    return mean(lots[-1].total) / lots[-1].pieces if lots else None


def _stated(build: Build, what: str) -> dict[str, Fraction]:
    stated: dict[str, Fraction] = {}
    for part in build.parts:
        if what in part.stated:
            stated |= dict.fromkeys(part.pieces, part.stated[what].worth("g"))
    return stated


def lot_of(figures: "Figures", what: str) -> Lot:
    kind = WEIGHING_KINDS[what]
    parts = [part for part in figures.build.parts if part.kind == kind.pieces[0] and part.fitted]
    count = sum(part.count or 0 for part in parts) or None
    cylinders = len(figures.layout.cylinders) if figures.has_layout else 0
    each = count // cylinders if count and cylinders and count % cylinders == 0 else None
    return Lot(count, each, "per_rod" if kind.moves == "rotating" else "per_cylinder")


# How a place is divided and how often it is read, where nobody has done it otherwise before: (sections, readings).
_DIVIDED: Mapping[str, tuple[tuple[str, ...], int]] = {
    **dict.fromkeys(("main_journal", "main_bore", "rod_journal", "cam_journal"), (("front", "rear"), 2)),
    "cylinder_bore": (("top", "middle", "bottom"), 2),
    "rod_bore": (("",), 2),
    "oil_rail_gap": (("upper", "lower"), 1),
    "deck_height": (("front", "rear"), 1),
    "valve_to_piston": (("intake", "exhaust"), 1),
}


# Places of what not every such place of an engine has: the fasteners that were tightened, the bearing with the thrust.
_SUCH_AS = {"fastener": "main_1 R1", "main": "5", "cam": "1", "head_gasket": "left"}


def measuring_plan(figures: "Figures", what: str, only: Sequence[str], earlier: Build | None) -> Plan:
    """What is left to measure of a kind, or all of it again; or `only` these places, each whole (`1`) or divided
    (`1/front`). A place is divided and read as often as the last time, in this build or the one before. Raises
    CannotAsk."""
    build, kind = figures.build, MEASUREMENT_KINDS[what]
    now, then = (_spots(each, what) if each else {} for each in (build, earlier))
    pattern = now or then
    named = [place for at in kind.at for place in _places_at(at, figures)]
    if kind.at[0] in {"cylinder", "throw", "bank"} and len(kind.at) > 1 and _places_at(kind.at[0], figures):
        named = list(_places_at(kind.at[0], figures))  # the other sort is another way to say the same
    if not kind.each or not named:
        named = list(dict.fromkeys(name.partition("/")[0] for name in pattern))
    _are_there(figures, what, only)
    if not named and not only:
        what_is_missing = f"which places of this engine have a {kind.title} is not in its records"
        such_as = _SUCH_AS[kind.at[0]] if not kind.each else "1 2 3"
        raise CannotAsk(what_is_missing, f"name them, as in: buildbook measure {what} {such_as}")
    divided = {place: tuple(_divided(what, place, pattern)) for place in (*named, *only)}

    def is_read(name: str, times: int) -> bool:
        return len(now.get(name, ())) >= times

    left = [place for place in named if not all(is_read(*each) for each in divided[place])]
    asked = list(only) or left or named
    places = [each for place in asked for each in divided[place]]
    in_part: tuple[str, ...] = ()
    if kind.made_of is None and not only and left:
        places = [each for each in places if not is_read(*each)]
    elif left:  # a journal or bore counts as it was read the last time, as a whole
        in_part = tuple(place for place in left if not only and _of(place, now))
    return Plan(
        "clearances",
        what,
        kind.title,
        kind.dimension,
        tuple(places),
        None,
        {name: _mean(values) for name, values in ({**then, **now}).items()},
        {name: _mean(values) for name, values in now.items() if name.partition("/")[0] not in asked},
        again=not only and not left and bool(now),
        in_part=in_part,
    )


def _are_there(figures: "Figures", what: str, only: Sequence[str]) -> None:
    """Raises CannotAsk for a place that this engine has not, as far as its records say what it has."""
    kind = MEASUREMENT_KINDS[what]
    by_sort = [_places_at(at, figures) for at in kind.at]
    if not all(by_sort) and set(kind.at) & {"fastener", "cam", "main", "head_gasket"}:
        return
    spares = [piece for part in figures.build.parts if part.kind in kind.at for piece in part.pieces]
    known = [*dict.fromkeys([*(place for places in by_sort for place in places), *spares])]
    for name in only:
        place = name.partition("/")[0]
        if known and place not in known:
            what_is_wrong = f"{kind.title} {place[:40]}: this engine has no such place"
            raise CannotAsk(what_is_wrong, did_you_mean(place, known, f"it has {', '.join(known[:16])}"))


def _places_at(at: str, figures: "Figures") -> tuple[str, ...]:
    return tuple(sorted(named_places(at, figures), key=in_numbered_order))


def _spots(build: Build, what: str) -> dict[str, list[Fraction]]:
    """Place, divided as it was → its readings, by the session that counts: of a journal or bore the last one that read
    any of it."""
    kind = MEASUREMENT_KINDS[what]
    unit = DIMENSIONS[kind.dimension][0]
    found: dict[str, list[Fraction]] = {}
    for session in in_order(build.clearances):
        if session.what == what and session.void is None:
            again = {spot.place for spot in session.spots} if kind.made_of is not None else set()
            found = {name: values for name, values in found.items() if name.partition("/")[0] not in again}
            for spot in session.spots:
                name = "/".join(filter(None, (spot.place, spot.along, spot.within)))
                found[name] = [value.worth(unit) for value in spot.reading.values]
    return {name: values for name, values in found.items() if values}


def _mean(values: Sequence[Fraction]) -> Fraction:
    return sum(values, Fraction(0)) / len(values)


def _divided(what: str, place: str, pattern: Mapping[str, Sequence[Fraction]]) -> Iterator[tuple[str, int]]:
    """The parts of a place, and how often each is read: as in the place of its kind that was read most thoroughly, this
    one before others; or as is usual."""
    if "/" in place:
        yield place, len(pattern.get(place, ())) or _DIVIDED.get(what, (("",), 1))[1]
        return
    candidates = (place, *dict.fromkeys(name.partition("/")[0] for name in pattern))
    like = max(candidates, key=lambda each: sum(len(pattern[name]) for name in _of(each, pattern)))
    if _of(like, pattern):
        for name in _of(like, pattern):
            yield place + name.removeprefix(like), len(pattern[name])
        return
    sections, times = _DIVIDED.get(what, (("",), 1))
    for section in sections:
        yield "/".join(filter(None, (place, section))), times


def _of(place: str, pattern: Mapping[str, Sequence[Fraction]]) -> list[str]:
    return [name for name in pattern if name.partition("/")[0] == place]


class Usual(NamedTuple):
    """Who could enter a session, and on which instruments; and who and what did it the last time, if anybody did."""

    people: tuple[str, ...]
    instruments: tuple[str, ...]
    person: str | None
    instrument: str | None


def usual(build: Build, earlier: Build | None, plan: Plan) -> Usual:
    """Who and what could enter a session, and who and what did it last."""
    file, what = plan.file, plan.what
    instruments = instruments_for(build, plan)
    here: Sequence[Entry] = [*in_order(build.weighings), *in_order(build.clearances)]
    before: Sequence[Entry] = [*in_order(earlier.weighings), *in_order(earlier.clearances)] if earlier else []
    same = [each for each in (*before, *here) if _what(each) == what]
    of_file = build.weighings if file == "weighings" else build.clearances
    by = next((each.by for each in reversed(of_file) if each.by in build.shop.people), None)
    used = [each.with_ for each in (*(in_order(of_file) if file == "weighings" else ()), *same)]
    with_ = next((each for each in reversed(used) if each in instruments), None)
    return Usual(tuple(build.shop.people), instruments, by, with_)


def _what(entry: Entry) -> str | None:
    return entry.what if isinstance(entry, WeighingSession | MeasuringSession) else None


# Instruments that read none of the lengths and volumes of a measurement, whatever they state of themselves.
_NO_GAUGE = frozenset(("scale", "balancing_machine", "vibration_meter"))

# What engine.yaml says of how large a kind is about.
_NOMINAL = {
    "cylinder_bore": "bore",
    "piston_skirt": "bore",
    **dict.fromkeys(("main_journal", "main_bore"), "main_journal"),
    **dict.fromkeys(("rod_journal", "rod_bore"), "rod_journal"),
}


def instruments_for(build: Build, plan: Plan) -> tuple[str, ...]:
    """The instruments that could enter a session: none that does not reach as far as what was read before, or as the
    size that engine.yaml states."""
    nominal: Quantity | None = getattr(build.engine, _NOMINAL.get(plan.what, ""), None)
    largest = max(plan.expected.values(), default=nominal.worth("mm") if nominal is not None else Fraction(0))
    return tuple(name for name, each in build.shop.instruments.items() if _could_read(each, plan, largest))


def _could_read(instrument: Instrument, plan: Plan, largest: Fraction) -> bool:
    if plan.file == "weighings":
        return instrument.weighs
    kind = MEASUREMENT_KINDS[plan.what]
    reach = instrument.capacity
    if reach is not None and reach.dimension == kind.dimension and reach.worth(DIMENSIONS[kind.dimension][0]) < largest:
        return False
    too_coarse = instrument.kind == "feeler_gauge" and kind.made_of is not None
    return instrument.kind not in _NO_GAUGE and instrument.reads(kind.dimension) and not too_coarse


def known_check_weight(build: Build, earlier: Build | None, scale: str, unit: str) -> str | None:
    """What the check weight of a scale was the last time, in the digits written, if it was in this unit."""
    sessions = [*(in_order(earlier.weighings) if earlier else ()), *in_order(build.weighings)]
    nominal: Quantity | None = next(
        (each.check_weight.nominal for each in reversed(sessions) if each.check_weight and each.with_ == scale), None
    )
    if nominal is None or nominal.unit != unit:
        return None
    return nominal.digits
