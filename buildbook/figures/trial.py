"""Balancing without a computing machine: trial runs with a pickup and a strobe, by influence coefficients."""

from cmath import phase, rect
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import degrees, radians

from buildbook.balance.influence import (
    Coefficients,
    Correction,
    Trial,
    balance_by_influence,
    influence_coefficients,
)

Reading = tuple[float, float]  # amount, angle [deg]


@dataclass(frozen=True, slots=True)
class TrialFigures:
    """The coefficients that the trial runs gave, or that were kept, and the weights that make the readings least."""

    coefficients: Coefficients
    correction: Correction


def vector(reading: Reading) -> complex:
    return rect(reading[0], radians(reading[1]))


def reading(value: complex) -> Reading:
    """Amount, and angle from 0 to below 360."""
    return abs(value), degrees(phase(value)) % 360


def trial_figures(
    first: Sequence[Reading],
    trials: Mapping[str, tuple[Reading, Sequence[Reading]]],
    kept: Coefficients | None,
) -> TrialFigures:
    """See `influence.influence_coefficients` and `influence.balance_by_influence`. Readings are numbered from 1 in
    the order given. Raises BalancingError."""
    numbered = _numbered(first)
    coefficients = kept or influence_coefficients(
        numbered, {plane: Trial(vector(weight), _numbered(run)) for plane, (weight, run) in trials.items()}
    )
    return TrialFigures(coefficients, balance_by_influence(numbered, coefficients))


def _numbered(readings: Sequence[Reading]) -> dict[str, complex]:
    return {str(number): vector(each) for number, each in enumerate(readings, start=1)}
