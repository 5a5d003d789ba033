"""Pistons for bores and pistons for weight: the two pairings side by side, and the one that keeps both limits."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import combinations, permutations
from math import factorial
from time import monotonic
from typing import TYPE_CHECKING, NamedTuple

from buildbook import uncertainty as gum
from buildbook.figures.fits import bounds_of
from buildbook.figures.match import Incomplete, MatchFigures, match_figures
from buildbook.figures.measured import between
from buildbook.fits.decision import Verdict, decide
from buildbook.matching import BorePairing, MatchingError, even_clearances
from buildbook.records.model import Build

if TYPE_CHECKING:
    from buildbook.figures import Figures
    from buildbook.figures.measured import Measured

# A match with every piston in its place takes a few hundredths of a second; it may not take more than this [s].
_ONE_MATCH = 2.0

# So many pistons are tried in every order: 120 of them.
_FEW = 5


class Clearances(NamedTuple):
    """Piston clearance by cylinder [mm], at the tightest places; how many are outside the limits, and of how many the
    gauges cannot tell."""

    by_cylinder: Mapping[str, Fraction]
    outside: int
    in_doubt: int

    @property
    def spread(self) -> Fraction:
        return max(self.by_cylinder.values()) - min(self.by_cylinder.values())


@dataclass(frozen=True, slots=True)
class WithBores:
    """Three ways to place the pistons: by weight alone, by bore alone, and both together.

    `conflict`: with the pistons where the bores want them, the reciprocating weights cannot be as even as they could
    be. `proven`: nothing better than `both` exists under the two limits; else it was the best of those tried. None was
    tried where the pairing by weight is as good as the gauges can tell.
    """

    weights: MatchFigures
    weights_clearances: Clearances
    bores: BorePairing
    bores_clearances: Clearances
    bores_matched: MatchFigures | None  # the most even weights with the pistons so placed, if they were looked for
    both: MatchFigures
    both_clearances: Clearances
    told: float  # what two clearances must differ by for the gauges to tell them apart [mm]
    least: Fraction | None
    most: Fraction | None
    conflict: bool
    proven: bool
    tried: int


def with_bores(figures: "Figures") -> WithBores:
    """The pairing of the most even piston clearances (see `matching.even_clearances`), the one of the most even
    weights (see `matching.match`), and one that keeps both limits. Raises Incomplete, LayoutError and MatchingError.

    Which pieces make up a set and which cylinder it goes into are two questions, so that the two pairings agree
    unless locks tie other pieces to cylinders. Where they do, pistons are exchanged two by two, and of the pairings
    within both limits the one with the most even clearances is taken, or else the one with the most even weights.
    Where the pairing by weight keeps the limits of clearance as well, and is as even as the gauges can tell, it stays:
    moving pistons would gain nothing, and the big ends might lose by it.
    """
    work = _Work(figures)
    weights = figures.match
    alone = even_clearances(work.bores, work.skirts, work.locked, work.now)
    as_weighed = work.clearances(_pistons_of(weights))
    as_even = float(as_weighed.spread - alone.spread) < work.told
    if as_even and as_weighed[1:] <= work.clearances(alone.pistons)[1:]:
        return work.result(
            alone, weights, as_weighed, conflict=False, proven=weights.matching.proven, tried=0, bores_matched=None
        )
    first = work.match(alone.pistons)
    limit = weights.limit if weights.limit is not None else weights.matching.best
    chosen, pistons, tried = first, dict(alone.pistons), 1
    conflict = first is None or first.matching.spread > max(weights.matching.best, limit)
    if conflict:
        chosen, pistons, tried = work.exchange(alone, first, limit)
    if chosen is None:
        raise MatchingError("no pairing keeps the locks and puts every piston into a bore that it fits")
    return work.result(
        alone,
        chosen,
        work.clearances(pistons),
        conflict=first is None or first.matching.spread > weights.matching.best,
        proven=(not conflict or work.all_tried(tried)) and chosen.matching.proven,
        tried=tried,
        bores_matched=first,
    )


def _pistons_of(matched: MatchFigures) -> dict[str, str]:
    return {cylinder: each.pieces["piston"] for cylinder, each in matched.cylinders.items()}


class _Work:
    def __init__(self, figures: "Figures") -> None:
        self.figures = figures
        self.build: Build = figures.build
        pistons = [piece for part in self.build.parts if part.kind == "piston" and part.fitted for piece in part.pieces]
        bores, skirts = (figures.measured.get(kind, {}) for kind in ("cylinder_bore", "piston_skirt"))
        lacking = [f"bore {each}" for each in figures.layout.cylinders if each not in bores]
        lacking += [f"skirt of {each}" for each in pistons if each not in skirts]
        if lacking:
            raise Incomplete(f"not measured yet: {', '.join(lacking)}")
        if not any(what in figures.match.pools for what in ("piston", "piston_with_pin")):
            raise Incomplete("pistons are not matched one by one: each must be weighed by itself")
        self.bores = {each: bores[each].smallest.value for each in figures.layout.cylinders}
        self.skirts = {each: skirts[each].largest.value for each in pistons}
        # what two clearances must differ by to be told apart [mm]
        least_certain = [max(size.uncertainty for piece in each.values() for size in piece.readings)
                         for each in (bores, skirts)]  # fmt: skip
        self.told = gum.smallest_difference(gum.combined(*least_certain))
        self.sessions = _sessions([*bores.values(), *(skirts[each] for each in pistons)])
        self.bore, self.skirt = bores, skirts
        nominal = self.build.engine.bore
        limits = bounds_of(self.build, "piston_clearance", nominal.worth("mm") if nominal else None)
        self.least, self.most = limits.least, limits.most
        self.locked = {
            lock.pieces["piston"]: lock.cylinder
            for lock in self.build.pairings.locks
            if "piston" in lock.pieces and lock.cylinder is not None
        }
        decision = self.build.pairings.decision
        placed = decision.cylinders if decision else {}
        self.now = {cylinder: chosen.pieces.get("piston", "") for cylinder, chosen in placed.items()}
        self.deadline = monotonic() + figures.match_seconds

    def result(
        self,
        alone: BorePairing,
        both: MatchFigures,
        clearances: Clearances,
        *,
        conflict: bool,
        proven: bool,
        tried: int,
        bores_matched: MatchFigures | None,
    ) -> WithBores:
        weights = self.figures.match
        return WithBores(
            weights=weights,
            weights_clearances=self.clearances(_pistons_of(weights)),
            bores=alone,
            bores_clearances=self.clearances(alone.pistons),
            bores_matched=bores_matched,
            both=replace(both, sessions=(*both.sessions, *self.sessions)),
            both_clearances=clearances,
            told=self.told,
            least=self.least,
            most=self.most,
            conflict=conflict,
            proven=proven,
            tried=tried,
        )

    def match(self, pistons: Mapping[str, str]) -> MatchFigures | None:
        """The most even weights with every piston in its place; None where the locks do not allow that."""
        figures = self.figures
        seconds = min(_ONE_MATCH, figures.match_seconds)
        try:
            return match_figures(self.build, figures.layout, figures.kinds, figures.weighings, seconds, pistons)
        except MatchingError:
            return None

    def clearances(self, pistons: Mapping[str, str]) -> Clearances:
        by_cylinder = {cylinder: bore - self.skirts[pistons[cylinder]] for cylinder, bore in self.bores.items()}
        verdicts = [self._verdict(cylinder, pistons[cylinder]) for cylinder in by_cylinder]
        outside = verdicts.count("under") + verdicts.count("over")
        return Clearances(by_cylinder, outside, verdicts.count("cannot tell"))

    def _verdict(self, cylinder: str, piston: str) -> Verdict:
        """As `fits` would judge this piston in this bore."""
        gap = between(self.bore[cylinder], self.skirt[piston])
        bounds = bounds_of(self.build, "piston_clearance", self.bore[cylinder].mean)
        return decide(gap.estimate, gap.mean, bounds.least, bounds.most)

    def exchange(
        self, alone: BorePairing, first: MatchFigures | None, limit: Fraction
    ) -> tuple[MatchFigures | None, dict[str, str], int]:
        """The best pairing that was tried, and how many were: every order of few pistons, or else those that exchanging
        two pistons leads to from the evenest clearances, until none is better or the time is over."""
        best, pistons, tried = first, dict(alone.pistons), 0 if self.few else 1

        def rank(matched: MatchFigures | None, placed: Mapping[str, str]) -> tuple[object, ...]:
            clearances = self.clearances(placed)
            if matched is None:
                return (True, clearances[1:], True, 0, clearances.spread)
            over = matched.matching.spread > limit
            return (False, clearances[1:], over, matched.matching.spread if over else 0, clearances.spread)

        better = True
        while better and monotonic() < self.deadline:
            better = False
            for changed in self._orders(pistons) if self.few else self._exchanges(pistons):
                if monotonic() > self.deadline:
                    break
                tried += 1
                matched = self.match(changed)
                if rank(matched, changed) < rank(best, pistons):
                    best, pistons, better = matched, changed, not self.few
        return best, pistons, tried

    def all_tried(self, tried: int) -> bool:
        """Whether so many are all the orders there are."""
        return self.few and tried == factorial(len(self.bores) - len(self.locked))

    @property
    def few(self) -> bool:
        """Whether every order of the free pistons can be tried."""
        return len(self.bores) - len(self.locked) <= _FEW

    def _orders(self, pistons: Mapping[str, str]) -> Iterator[dict[str, str]]:
        free = [cylinder for cylinder, piston in pistons.items() if piston not in self.locked]
        for order in permutations([pistons[cylinder] for cylinder in free]):
            yield {**pistons, **dict(zip(free, order, strict=True))}

    def _exchanges(self, pistons: Mapping[str, str]) -> Iterator[dict[str, str]]:
        free = [cylinder for cylinder, piston in pistons.items() if piston not in self.locked]
        for one, other in combinations(free, 2):
            yield {**pistons, one: pistons[other], other: pistons[one]}


def _sessions(measured: "list[Measured]") -> tuple[str, ...]:
    used = [size.session.id for each in measured for size in each.readings]
    return tuple(dict.fromkeys(session for session in used if session is not None))
