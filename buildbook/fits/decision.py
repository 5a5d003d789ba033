"""Whether a measured figure keeps its limits, as far as its uncertainty allows anything to be said.

Any unit, the same for all arguments. The rule is that of ISO 14253-1 (1998 and 2013, from memory): a figure is within
its limits when its whole interval y ± U is, and outside when its whole interval is; between the two nothing is proven.
The edition of 2017 guards a single limit with 1.65 u as a rule; k = 2 asks a little more.
"""

from fractions import Fraction
from typing import Literal, NamedTuple

Verdict = Literal["within", "under", "over", "cannot tell", "no limit"]

# For about 95 % (GUM 6.2.1); U = k u.
COVERAGE = 2


class Estimate(NamedTuple):
    """A figure and its standard uncertainty, in the same unit."""

    value: float
    uncertainty: float


Bound = Fraction | float | None


def decide(low: Estimate, high: Estimate, least: Bound, most: Bound) -> Verdict:
    """The verdict on a figure with a lower limit `least` and an upper limit `most`, either of which may be None.

    `low` is what is held against `least` and `high` what is held against `most`: the same figure, or, where a figure
    varies along its length, the tightest place and the mean. Outside one limit for certain outweighs a doubt about the
    other.
    """
    if least is None and most is None:
        return "no limit"
    doubt = False
    if least is not None:
        above = low.value - least
        if above < -COVERAGE * low.uncertainty:
            return "under"
        doubt |= above < COVERAGE * low.uncertainty
    if most is not None:
        below = most - high.value
        if below < -COVERAGE * high.uncertainty:
            return "over"
        doubt |= below < COVERAGE * high.uncertainty
    return "cannot tell" if doubt else "within"
