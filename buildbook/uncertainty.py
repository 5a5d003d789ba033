"""Standard uncertainty of what a shop measures, by the GUM (JCGM 100:2008, Guide to the expression of
uncertainty in measurement).

Every argument and result is in the unit of the reading, written [unit]. Clauses are cited from memory.
"""

from collections.abc import Iterable, Sequence
from math import fsum, hypot, sqrt


def rectangular(half_width: float) -> float:
    """Standard uncertainty [unit] of a value known only to lie within ± `half_width` [unit]: a/√3 (4.3.7)."""
    return half_width / sqrt(3)


def resolution(step: float) -> float:
    """Standard uncertainty [unit] of a display that reads in steps of `step` [unit]: d/(2√3) (F.2.2.1)."""
    return rectangular(step / 2)


def combined(*terms: float) -> float:
    """Combined standard uncertainty [unit] of independent terms [unit]: √(Σ (cᵢ uᵢ)²) (5.1.2).

    Each term is already multiplied by its sensitivity cᵢ.
    """
    return hypot(*terms)


def standard_deviation(readings: Sequence[float]) -> float:
    """Experimental standard deviation [unit] of at least two readings [unit]: √(Σ (q − q̄)²/(n − 1)) (4.2.2).

    Raises ValueError for fewer than two: one reading says nothing about repeatability.
    """
    if len(readings) < 2:
        raise ValueError("a standard deviation takes at least two readings")
    return sqrt(_squared_deviations(readings) / (len(readings) - 1))


def pooled_standard_deviation(groups: Iterable[Sequence[float]]) -> float | None:
    """Standard deviation [unit] of one reading, from several pieces each read more than once (4.2.4, note).

    √(Σ (nᵢ − 1) sᵢ² / Σ (nᵢ − 1)), each group being the readings [unit] of one piece. A piece read once adds nothing;
    None when no piece was read twice, for then repeatability was not observed.
    """
    repeated = [readings for readings in groups if len(readings) > 1]
    if not repeated:
        return None
    return sqrt(fsum(map(_squared_deviations, repeated)) / sum(len(readings) - 1 for readings in repeated))


def _squared_deviations(readings: Sequence[float]) -> float:
    mean = fsum(readings) / len(readings)
    return fsum((reading - mean) ** 2 for reading in readings)


def drift_half_width(nominal: float, before: float, after: float) -> float:
    """How far [unit] a scale may have been out, from its check weight [unit] read before and after the session.

    The largest of |before − nominal|, |after − nominal| and |after − before|.
    """
    return max(abs(before - nominal), abs(after - nominal), abs(after - before))


def reading_uncertainty(resolution: float, repeatability: float, drift: float, readings: int = 1) -> float:
    """Standard uncertainty [unit] of a piece weighed or measured `readings` times: √(d²/12 + s²/n + a²/3) (5.1.2).

    `resolution` d [unit] is the step of the display, `repeatability` s [unit] the standard deviation of one reading,
    `drift` a [unit] the half-width from `drift_half_width`. Only repeatability shrinks with more readings.
    """
    return combined(rectangular(resolution / 2), repeatability / sqrt(readings), rectangular(drift))


def smallest_difference(uncertainty: float) -> float:
    """Smallest difference [unit] that tells two pieces apart: 2·√2·u, with coverage factor k = 2 (6.2.1).

    Both pieces carry the same standard uncertainty u [unit]; their difference carries √2·u.
    """
    return 2 * sqrt(2) * uncertainty
