"""Which piece goes with which, which set into which cylinder, and the least grinding when that is not enough.

>>> from fractions import Fraction
>>> rods = Pool("rod", {"R1": Fraction(154), "R2": Fraction(152)})
>>> pistons = Pool("piston", {"P1": Fraction(482), "P2": Fraction(481)})
>>> matching = match(Problem(cylinders=("1", "2"), pools=(rods, pistons)))
>>> float(matching.as_numbered_spread), float(matching.spread), matching.proven
(3.0, 1.0, True)
"""

from buildbook.matching.bores import BorePairing, even_clearances
from buildbook.matching.grinding import least_grinding
from buildbook.matching.pairing import Matching, match
from buildbook.matching.problem import Lock, MatchingError, Pool, Problem

__all__ = [
    "BorePairing",
    "Lock",
    "Matching",
    "MatchingError",
    "Pool",
    "Problem",
    "even_clearances",
    "least_grinding",
    "match",
]
