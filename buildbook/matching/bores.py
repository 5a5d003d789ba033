"""Which piston goes into which bore when both vary."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from fractions import Fraction
from typing import NamedTuple

from buildbook.matching.problem import MatchingError


class BorePairing(NamedTuple):
    """Pistons in bores, and what that gives.

    pistons: cylinder -> piston. clearances: cylinder -> bore less skirt, both diameters [mm].
    """

    pistons: Mapping[str, str]
    clearances: Mapping[str, Fraction]

    @property
    def least(self) -> Fraction:
        """The smallest clearance [mm]."""
        return min(self.clearances.values())

    @property
    def most(self) -> Fraction:
        """The largest clearance [mm]."""
        return max(self.clearances.values())

    @property
    def spread(self) -> Fraction:
        """Largest less smallest clearance [mm]."""
        return self.most - self.least


def even_clearances(
    bores: Mapping[str, Fraction],
    pistons: Mapping[str, Fraction],
    locked: Mapping[str, str] = {},
    now: Mapping[str, str] = {},
) -> BorePairing:
    """The pairing with the most even piston-to-bore clearances: the largest free piston in the largest free bore.

    bores: cylinder -> bore diameter [mm]; pistons: piston -> skirt diameter [mm], exactly one for each bore.
    locked: piston -> cylinder that it stays in. now: cylinder -> piston that is in it; pieces that were not measured
    are passed over.

    No other pairing that keeps the locks has a smaller largest clearance, and none has a larger smallest one
    (rearrangement inequality, by the exchange argument: where a larger bore has the smaller piston, changing the two
    over brings both clearances between those they had). So none has a smaller spread, and if any pairing meets a lower
    and an upper limit, this one does. Among pistons of one size, and among bores of one size, as many as possible stay
    where they are now; another pairing as even that is made up of other sizes might move fewer.

    Raises MatchingError without bores, if there are not as many pistons as bores, if a lock names an unknown piston
    or cylinder, and if two locks share a cylinder.
    """
    _check(bores, pistons, locked)
    pairing = {cylinder: piston for piston, cylinder in locked.items()}
    free_bores = {cylinder: bore for cylinder, bore in bores.items() if cylinder not in pairing}
    free_pistons = {piston: skirt for piston, skirt in pistons.items() if piston not in locked}

    # How often each bore size meets each piston size is settled by sorting; who stays only has to fit into that.
    # What is then left over still meets in the same sizes when it is sorted: the order of the rest is as before.
    meetings = Counter(zip(sorted(free_bores.values()), sorted(free_pistons.values()), strict=True))
    for cylinder, piston in now.items():
        if cylinder in free_bores and piston in free_pistons:
            sizes = free_bores[cylinder], free_pistons[piston]
            if meetings[sizes]:
                meetings[sizes] -= 1
                pairing[cylinder] = piston
                del free_bores[cylinder], free_pistons[piston]
    by_bore = sorted(free_bores, key=free_bores.__getitem__)
    by_skirt = sorted(free_pistons, key=free_pistons.__getitem__)
    pairing.update(zip(by_bore, by_skirt, strict=True))
    return BorePairing(
        pistons={cylinder: pairing[cylinder] for cylinder in bores},
        clearances={cylinder: bore - pistons[pairing[cylinder]] for cylinder, bore in bores.items()},
    )


def _check(bores: Mapping[str, Fraction], pistons: Mapping[str, Fraction], locked: Mapping[str, str]) -> None:
    if not bores:
        raise MatchingError("matching needs at least one bore")
    if len(pistons) != len(bores):
        raise MatchingError(
            f"{len(pistons)} pistons measured for {len(bores)} bores; matching needs exactly one for each"
        )
    taken: dict[str, str] = {}
    for piston, cylinder in locked.items():
        if piston not in pistons:
            raise MatchingError(f"a lock names piston {piston}, which is not among the measured pistons")
        if cylinder not in bores:
            raise MatchingError(f"a lock names cylinder {cylinder}, which is not among the measured bores")
        if cylinder in taken:
            raise MatchingError(f"the locks put piston {taken[cylinder]} and piston {piston} into cylinder {cylinder}")
        taken[cylinder] = piston
