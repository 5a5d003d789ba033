"""Which bearing shells to order, and which halves go to which journal, for the wanted oil clearance.

A bearing is two half shells. The size of a shell is its undersize [mm]: +0.025 is the thicker shell for a journal that
is 0.025 smaller in diameter. A full set of undersize u closes the clearance by u, so one half of it closes it by u/2.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from fractions import Fraction
from itertools import chain, combinations, combinations_with_replacement
from typing import NamedTuple

from buildbook.fits.decision import Verdict

MOST_SIZES = 3

# Halves of neighbouring sizes, about a thousandth of an inch apart, go into one bearing: common practice, no source.
# 0.026 mm lets both 0.025 mm and 0.001 in = 0.0254 mm through.
MIXED_AT_MOST = Fraction("0.026")


class Choice(NamedTuple):
    """Shell sizes to order and what they do for every journal; all in [mm], exact.

    sizes: ascending. halves: journal -> the undersizes of its two half shells, ascending.
    clearances: journal -> clearance with those halves. farthest: the largest distance of any of them from the target.
    outside: the journals whose clearance is then outside the limits. in_doubt: those of which that cannot be told.
    """

    sizes: tuple[Fraction, ...]
    halves: Mapping[str, tuple[Fraction, Fraction]]
    clearances: Mapping[str, Fraction]
    farthest: Fraction
    outside: frozenset[str]
    in_doubt: frozenset[str]

    @property
    def within(self) -> bool:
        """Whether every journal is within the limits for certain."""
        return not self.outside and not self.in_doubt

    @property
    def mixed_bearings(self) -> int:
        """How many bearings have halves of two sizes."""
        return sum(one != other for one, other in self.halves.values())

    @property
    def to_order(self) -> Mapping[Fraction, int]:
        """Size [mm] -> how many half shells of it are needed, sizes ascending."""
        needed = Counter(chain.from_iterable(self.halves.values()))
        return {size: needed[size] for size in self.sizes}


class _Bearing(NamedTuple):
    """What one journal's clearance [mm] becomes with one pair of halves, and how far that is from the target [mm]."""

    halves: tuple[Fraction, Fraction]
    clearance: Fraction
    distance: Fraction
    verdict: Verdict

    @property
    def outside(self) -> bool:
        return self.verdict in {"under", "over"}

    @property
    def in_doubt(self) -> bool:
        return self.verdict == "cannot tell"

    @property
    def preference(self) -> tuple[bool, bool, Fraction, bool, Fraction]:
        """The smaller, the better: within the limits, near the target, not mixed, with the larger clearance."""
        return self.outside, self.in_doubt, self.distance, self.halves[0] != self.halves[1], -self.clearance


Judge = Callable[[str, Fraction], Verdict]


def no_limits(journal: str, clearance: Fraction) -> Verdict:
    return "no limit"


def choose(
    clearances: Mapping[str, Fraction],
    fitted: Fraction,
    sizes: Sequence[Fraction],
    target: Fraction,
    judge: Judge = no_limits,
    mixed: Fraction = MIXED_AT_MOST,
) -> tuple[Choice, ...]:
    """The best choice of one size, of two and of three, for all journals together.

    clearances: journal -> oil clearance c [mm] measured with shells of undersize `fitted` f [mm] in the bore.
    sizes: the undersizes [mm] that can be had. target [mm]: the wanted clearance.
    judge: the verdict on a journal with a clearance [mm], by its limits and its uncertainty.
    mixed [mm]: halves of two sizes may share a bearing when they differ by no more than this.

    With halves of undersizes a and b the clearance becomes c + f − (a + b)/2. Of the pairs that a set of sizes allows,
    each journal takes one within the limits if there is one, else one that may be, of those the nearest to the target,
    of equals an unmixed pair, then the larger clearance. Of the sets with as many sizes the best has the fewest
    journals outside the limits, then the fewest in doubt, the smallest farthest distance from the target, the smallest
    sum of distances, the fewest mixed bearings, the smallest sizes. Every set is tried.

    A choice of more sizes is only returned where it leaves fewer journals outside the limits or in doubt, or brings the
    farthest one closer, than the choice of fewer sizes before it. Raises ValueError without journals or sizes, and for
    `mixed` below zero.
    """
    if not clearances:
        raise ValueError("without a measured clearance there is nothing to choose shells for")
    if not sizes:
        raise ValueError("without a shell size that can be had there is nothing to choose from")
    if mixed < 0:
        raise ValueError("the difference between two halves cannot be below zero")

    def bearing(journal: str, one: Fraction, other: Fraction) -> _Bearing:
        becomes = clearances[journal] + fitted - (one + other) / 2
        return _Bearing((one, other), becomes, abs(becomes - target), judge(journal, becomes))

    on_offer = sorted(set(sizes))
    pairs = [pair for pair in combinations_with_replacement(on_offer, 2) if pair[1] - pair[0] <= mixed]
    best_first = {
        journal: sorted((bearing(journal, *pair) for pair in pairs), key=lambda each: each.preference)
        for journal in clearances
    }

    def gained(choice: Choice) -> tuple[int, int, Fraction]:
        """The smaller, the better."""
        return len(choice.outside), len(choice.in_doubt), choice.farthest

    def merit(choice: Choice) -> tuple[int, int, Fraction, Fraction, int, tuple[Fraction, ...]]:
        distances = (abs(clearance - target) for clearance in choice.clearances.values())
        return *gained(choice), sum(distances, Fraction(0)), choice.mixed_bearings, choice.sizes

    choices: list[Choice] = []
    for count in range(1, min(MOST_SIZES, len(on_offer)) + 1):
        best = min((_with_sizes(each, best_first) for each in combinations(on_offer, count)), key=merit)
        if not choices or gained(best) < gained(choices[-1]):
            choices.append(best)
    return tuple(choices)


def _with_sizes(sizes: tuple[Fraction, ...], best_first: Mapping[str, Iterable[_Bearing]]) -> Choice:
    """Every journal with the best of its bearings that these sizes make up."""
    bearings = {
        journal: next(bearing for bearing in ranked if set(bearing.halves) <= set(sizes))
        for journal, ranked in best_first.items()
    }
    return Choice(
        sizes=sizes,
        halves={journal: bearing.halves for journal, bearing in bearings.items()},
        clearances={journal: bearing.clearance for journal, bearing in bearings.items()},
        farthest=max(bearing.distance for bearing in bearings.values()),
        outside=frozenset(journal for journal, bearing in bearings.items() if bearing.outside),
        in_doubt=frozenset(journal for journal, bearing in bearings.items() if bearing.in_doubt),
    )


def recommended(choices: Sequence[Choice]) -> Choice:
    """Of the choices that `choose` returned, the one with the fewest sizes that has every journal within the limits.

    Where none has for certain, the one with the fewest journals outside, then with the fewest in doubt, then with the
    smallest farthest distance. Without limits it is the one size.
    """
    # Each choice is better than the one before, so the last one is the best where none is within.
    return next((choice for choice in choices if choice.within), choices[-1])
