"""Which matched set goes into which cylinder, so that the assembled crankshaft is left with the least."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import combinations
from time import monotonic
from typing import TYPE_CHECKING, Literal, NamedTuple

from buildbook.figures.balance import PLANES
from buildbook.figures.crankpins import ByThrow, Crankpins, JudgedBy, Left, sets_of
from buildbook.figures.cylinders import reading_name
from buildbook.figures.fits import bounds_of
from buildbook.figures.match import match_figures
from buildbook.figures.measured import between
from buildbook.fits.decision import decide
from buildbook.matching import MatchingError
from buildbook.quantities import fixed
from buildbook.records.model import WEIGHING_KINDS

if TYPE_CHECKING:
    from buildbook.figures import Figures
    from buildbook.matching.reforming import Pieces
    from buildbook.matching.seating import Seats

Worth = Literal["stays", "locked", "cannot_tell", "below_floor", "better", "needed", "evener"]

Sets = Sequence[Mapping[str, str]]  # [cylinder] kind of part → id

# Where not every way can be looked at, the search goes on until what is left is this share of what the weighings can
# tell.
_GOOD_ENOUGH = 0.2


class TooUneven(MatchingError):
    """No sets are as even as they have to be."""


class PlacedSet(NamedTuple):
    """One cylinder's set: its pieces, the cylinder that it was matched for (None for a set made up anew), the kinds of
    its pieces that come from another cylinder, and what it puts on its crankpin [g]: big end and bearing + factor ×
    what goes up and down."""

    pieces: Mapping[str, str]
    was_in: str | None
    moved: tuple[str, ...]
    carries: Fraction


class Exchange(NamedTuple):
    """The two cylinders whose sets would change places, and what would be left then."""

    cylinders: tuple[str, str]
    left: Left


class Anew(NamedTuple):
    """Sets made up anew: the spread of reciprocating weight that they may have, and as matched and now have [g]."""

    within: Fraction
    before: Fraction
    after: Fraction


@dataclass(frozen=True)
class PlaceFigures:
    """The sets as matched and as placed, and what either leaves.

    `decided`: the sets are those of pairings.yaml; else those that `match` finds. `bound`: no way leaves less, in the
    unit of `judged_by`; `looked_at` of `ways` there are. `told`: grams at the planes' radii, at k = 2, that the
    weighings can tell of the difference.
    """

    decided: bool
    start: Crankpins
    placed: Crankpins
    bound: float
    proven: bool
    ways: int
    looked_at: int
    exchange: Exchange | None  # the best that two sets changing places could do, where they are not all there is to it
    anew: Anew | None
    cylinders: Mapping[str, PlacedSet]
    by_throw: ByThrow
    told: Mapping[str, float]
    worth: Worth
    kept_out: tuple[tuple[str, str], ...]  # (piston, cylinder): would be outside the limits of clearance there

    @property
    def before(self) -> Left:
        return self.start.left

    @property
    def after(self) -> Left:
        return self.placed.left

    @property
    def judged_by(self) -> JudgedBy:
        return self.start.judged_by

    @property
    def floor(self) -> Mapping[str, float]:
        """Grams at the planes' radii, at k = 2, that all of the job leaves uncertain as matched."""
        return self.start.floor

    @property
    def moved(self) -> int:
        """Cylinders that get another set, or another piece."""
        return sum(bool(each.moved) for each in self.cylinders.values())


def place_figures(figures: "Figures", seconds: float, within: Fraction | None = None) -> PlaceFigures:
    """The placing that leaves the least, see `matching.seating.seat`; the sets stay together as they were matched.

    Judged by the larger of the two planes: as a share of the permissible residual where that is known, or of the
    shop's own limit, or else in grams at the planes' radii. With `within` [g] the sets are made up anew, their
    reciprocating weights no further apart than that; see `matching.reforming.reform`. Raises LayoutError, Incomplete,
    MatchingError, NoBalance.
    """
    start = Crankpins(figures, sets_of(figures))
    return _anew(start, seconds, within) if within is not None else _together(start, seconds)


def _together(start: Crankpins, seconds: float) -> PlaceFigures:
    """Every set whole."""
    from buildbook.matching.seating import seat

    seats = _seats(start)
    found = seat(seats, seconds, _good_enough(start))
    return _result(
        start,
        [start.sets[each] for each in found.sets],
        was_in=[start.names[each] for each in found.sets],
        bound=found.bound,
        proven=found.proven,
        ways=found.ways,
        looked_at=found.looked_at,
        exchange=_best_exchange(start, seats) if found.moved > 2 else None,
    )


def _result(
    start: Crankpins,
    sets: Sets,
    *,
    was_in: Sequence[str | None],
    bound: float,
    proven: bool,
    ways: int,
    looked_at: int,
    exchange: Exchange | None = None,
    anew: Anew | None = None,
) -> PlaceFigures:
    figures = start.figures
    placed = Crankpins(figures, sets)
    told = start.told(placed)
    moved = [
        tuple(kind for kind, piece in now.items() if then.get(kind) != piece)
        for now, then in zip(sets, start.sets, strict=True)
    ]
    return PlaceFigures(
        decided=figures.pairing is not None,
        start=start,
        placed=placed,
        bound=bound,
        proven=proven,
        ways=ways,
        looked_at=looked_at,
        exchange=exchange,
        anew=anew,
        cylinders={
            name: PlacedSet(sets[at], was_in[at], moved[at], placed.carried[at].total)
            for at, name in enumerate(start.names)
        },
        by_throw=Crankpins(figures, sets, against_set=False).by_throw,
        told=told,
        worth="evener" if anew and anew.before > anew.within else _worth(any(moved), start, placed, told),
        kept_out=tuple((start.sets[each]["piston"], start.names[at]) for each, at in sorted(_barred(start))),
    )


def _worth(moved: bool, start: Crankpins, placed: Crankpins, told: Mapping[str, float]) -> Worth:
    """Whether the placing makes a difference that matters: `stays`, nothing better is there; `locked`, as matched a
    locked piece is not in its cylinder; `cannot_tell`, it differs by less than the weighings can tell; `below_floor`,
    as matched leaves no more than the job can tell anyway; `needed`, as matched leaves more than a limit allows;
    `better`, it does not. (`evener`: as matched the reciprocating weights are further apart than was asked for.)"""
    before, after = start.left.standing.amounts, placed.left.standing.amounts
    if not moved:
        return "stays"
    if any(each != cylinder for each, cylinder in _locked(start).items()):
        return "locked"
    if all(abs(before[plane] - after[plane]) <= told[plane] for plane in PLANES):
        return "cannot_tell"
    if all(before[plane] <= start.floor[plane] for plane in PLANES):
        return "below_floor"
    return "needed" if start.left.over else "better"


def _seats(start: Crankpins) -> "Seats":
    from buildbook.matching.seating import Seats

    judged = [start.judged(each) for each in start.acts]
    return Seats(
        weights=start.more,
        acts=list(zip(*judged, strict=True)),
        rest=start.judged(start.rest),
        locked=_locked(start),
        barred=set(_barred(start)),
    )


def _best_exchange(start: Crankpins, seats: "Seats") -> Exchange | None:
    """Two sets in each other's cylinder: the best of all such, if any is better than nothing."""
    if any(each != cylinder for each, cylinder in seats.locked.items()):
        return None
    now = list(range(len(start.names)))
    best, least = None, seats.worst(now)
    for one, two in combinations([each for each in now if each not in seats.locked], 2):
        changed = list(now)
        changed[one], changed[two] = two, one
        if {(one, two), (two, one)}.isdisjoint(seats.barred) and (worst := seats.worst(changed)) < least:
            best, least = (one, two, changed), worst
    if best is None:
        return None
    left = Crankpins(start.figures, [start.sets[each] for each in best[2]]).left
    return Exchange((start.names[best[0]], start.names[best[1]]), left)


# ---- what may go where


def _locked(start: Crankpins) -> dict[int, int]:
    """Sets that a lock ties to a cylinder. Raises MatchingError where it ties one to two cylinders."""
    locked: dict[int, int] = {}
    for lock in start.figures.build.pairings.locks:
        if lock.cylinder not in start.names:
            continue
        cylinder = start.names.index(lock.cylinder)
        for each, pieces in enumerate(start.sets):
            if any(pieces.get(kind) == piece for kind, piece in lock.pieces.items()):
                if locked.get(each, cylinder) != cylinder:
                    other = start.names[locked[each]]
                    raise MatchingError(f"the locks put one set into cylinder {other} and into {lock.cylinder}")
                locked[each] = cylinder
    return locked


def _barred(start: Crankpins) -> Iterator[tuple[int, int]]:
    """Where the measured clearance of a set's piston would be outside the limits of build.yaml for certain, other than
    where it is now: (set, cylinder)."""
    build, measured = start.figures.build, start.figures.measured
    bores, skirts = (measured.get(kind, {}) for kind in ("cylinder_bore", "piston_skirt"))
    for cylinder, name in enumerate(start.names):
        if name not in bores:
            continue
        bounds = bounds_of(build, "piston_clearance", bores[name].mean)
        if bounds.practice:
            continue
        for each, pieces in enumerate(start.sets):
            skirt = skirts.get(pieces.get("piston", ""))
            if each == cylinder or skirt is None:
                continue
            gap = between(bores[name], skirt)
            if decide(gap.estimate, gap.mean, bounds.least, bounds.most) in {"under", "over"}:
                yield each, cylinder


# ---- sets made up anew


def _anew(start: Crankpins, seconds: float, within: Fraction) -> PlaceFigures:
    """The sets themselves are made up anew, from the best placing of those as matched; where these are further apart
    than they may be, of those that `match` finds."""
    from buildbook.matching.reforming import reform

    deadline = monotonic() + seconds
    first = _even_enough(start, within, seconds / 3)
    began = _together(first, seconds / 3).placed
    work = _Pieces(first, began)
    found = reform(work.pieces(within), work.where, max(deadline - monotonic(), 0.1), _good_enough(began))
    sets = work.sets(found.where)
    spread = Anew(within, _spread(start), _spread(Crankpins(start.figures, sets)))
    nowhere = [None] * len(sets)
    return _result(
        start, sets, was_in=nowhere, bound=found.bound, proven=found.proven, ways=0, looked_at=0, anew=spread
    )


def _good_enough(sets: Crankpins) -> float:
    """So little left that the weighings cannot tell it from less, in the unit that the planes are judged by."""
    weighings = sets.floor_lines[0]
    assert weighings.front is not None
    assert weighings.rear is not None
    return _GOOD_ENOUGH * max(map(abs, sets.judged(sets.planes.unbalance(weighings.front, weighings.rear))))


def _even_enough(start: Crankpins, within: Fraction, seconds: float) -> Crankpins:
    """The sets as matched, or, where they are further apart than that, the most even ones there are: all differences
    count, also those that no scale can tell, for which `match` would leave the pieces where they are."""
    if _spread(start) <= within:
        return start
    figures = start.figures
    certain = {what: replace(summary, uncertainty=0.0) for what, summary in figures.weighings.items()}
    matched = match_figures(figures.build, figures.layout, figures.kinds, certain, seconds)
    first = Crankpins(figures, [matched.cylinders[name].pieces for name in start.names])
    if (least := _spread(first)) > within:
        raise TooUneven(f"the most even sets found are {fixed(least, 2)} g apart, more than {fixed(within, 2)} g")
    return first


def _spread(sets: Crankpins) -> Fraction:
    """Heaviest less lightest reciprocating weight [g]."""
    weights = [each.reciprocating for each in sets.carried]
    return max(weights) - min(weights)


class _Pool(NamedTuple):
    """Pieces of which every cylinder has one: the parts that they are, and by piece what goes up and down, and what it
    puts on the crankpin [g]. A piece is numbered by the cylinder that it is in as matched."""

    parts: tuple[str, ...]
    sums: list[Fraction]
    loads: list[Fraction]


class _Pieces:
    """The sets taken apart, for `reform`: which piece is where in the placing that it begins from."""

    def __init__(self, first: Crankpins, began: Crankpins) -> None:
        self.first = first
        self.pools = list(_pools(first))
        self.order = [first.sets.index(each) for each in began.sets]
        self.where = [list(self.order) for _ in self.pools]

    def pieces(self, within: Fraction) -> "Pieces":
        from buildbook.matching.reforming import Pieces

        first, count = self.first, len(self.first.sets)
        held, anchored = self._locks()
        pistons = [number for number, pool in enumerate(self.pools) if "piston" in pool.parts]
        return Pieces(
            sums=[[float(each) for each in pool.sums] for pool in self.pools],
            loads=[[float(each - sum(pool.loads) / count) for each in pool.loads] for pool in self.pools],
            acts=_seats(first).acts,
            rest=first.judged(first.rest),
            within=float(within),
            held=held,
            anchored=anchored,
            barred={(pool, each, cylinder) for pool in pistons for each, cylinder in _barred(first)},
        )

    def _locks(self) -> tuple[list[list[int]], set[tuple[int, int]]]:
        """For each piece the pools that it is locked together with, and the pieces that a lock ties to a cylinder."""
        held = [[1 << pool for _ in self.first.sets] for pool in range(len(self.pools))]
        anchored = set()
        for lock in self.first.figures.build.pairings.locks:
            for at, pieces in enumerate(self.first.sets):
                pools = [
                    number
                    for number, pool in enumerate(self.pools)
                    if any(lock.pieces.get(part) == pieces[part] for part in pool.parts)
                ]
                for pool in pools:
                    held[pool][at] |= sum(1 << each for each in pools)
                if lock.cylinder is not None:
                    anchored |= {(pool, at) for pool in pools}
        return held, anchored

    def sets(self, where: Sequence[Sequence[int]]) -> Sets:
        """The pieces by cylinder; what is in no pool stays where it began."""
        sets = [dict(self.first.sets[each]) for each in self.order]
        for pool, placed in zip(self.pools, where, strict=True):
            for at, each in enumerate(placed):
                sets[at] |= {part: self.first.sets[each][part] for part in pool.parts}
        return sets


def _pools(first: Crankpins) -> Iterator[_Pool]:
    """Every kind of piece that each cylinder has one of, weighed one by one."""
    weighings, share = first.figures.weighings, first.factor / 100
    by_parts: dict[tuple[str, ...], list[str]] = {}
    for what in first.figures.kinds:
        by_parts.setdefault(WEIGHING_KINDS[what].pieces, []).append(what)
    for parts, kinds in by_parts.items():
        pool = _Pool(parts, [Fraction(0) for _ in first.sets], [Fraction(0) for _ in first.sets])
        names = [reading_name(kinds[0], pieces) for pieces in first.sets]
        for what in kinds:
            of_kind = weighings[what].pieces if what in weighings else {}
            for at, name in enumerate(names):
                if name is None or name not in of_kind:
                    break
                up_and_down = WEIGHING_KINDS[what].moves == "reciprocating"
                pool.sums[at] += of_kind[name].weight if up_and_down else 0
                pool.loads[at] += of_kind[name].weight * (share if up_and_down else 1)
        if all(pool.loads):
            yield pool
