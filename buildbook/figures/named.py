"""Every figure of a build by a name of its own, for whatever compares, follows, finds, freezes or questions figures."""

from collections.abc import Iterator
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from buildbook.balance.layouts import LayoutError
from buildbook.figures.balance import PLANES, NoBalance
from buildbook.figures.fits import FIT_KINDS
from buildbook.quantities import DIMENSIONS, decimals_for
from buildbook.records.model import MEASUREMENT_KINDS

if TYPE_CHECKING:
    from buildbook.figures import Figures

# What is measured and is no fit by itself, such as the diameter of a journal → the unit its figures are in. A valve's
# readings belong to crank angles, so that their mean would be of nothing.
SIZES: dict[str, str] = {
    kind: DIMENSIONS[measurement.dimension][0]
    for kind, measurement in MEASUREMENT_KINDS.items()
    if kind not in FIT_KINDS and kind != "valve_to_piston"
}


class Named(NamedTuple):
    """One figure: what it is of (a kind and, where there are several, a place), its value and its standard uncertainty
    (None where it is not known), both in `unit`, and how many digits after the point it deserves."""

    kind: str
    place: str
    value: Fraction
    uncertainty: float | None
    unit: str
    decimals: int

    @property
    def name(self) -> str:
        """`main_clearance.5`, or `reciprocating_spread` where there is only one."""
        return f"{self.kind}.{self.place}" if self.place else self.kind


def named_figures(figures: "Figures", *, measured: bool = True) -> dict[str, Named]:
    """Name → figure, in the order of the job: weights, pairing, bobweights, what the last spin left; and what was
    `measured`, sizes and fits."""
    parts = (*_WEIGHED, *_MEASURED) if measured else _WEIGHED
    return {each.name: each for part in parts for each in part(figures)}


def _weights(figures: "Figures") -> Iterator[Named]:
    for what, summary in figures.weighings.items():
        for piece in summary.pieces.values():
            yield Named(what, piece.piece, piece.weight, piece.uncertainty, "g", piece.decimals)
        if not summary.pieces:
            yield Named(what, "", summary.mean, summary.mean_uncertainty, "g", summary.decimals + 1)
        if summary.spread is not None:
            yield Named(f"{what}_spread", "", summary.spread, 2**0.5 * summary.uncertainty, "g", summary.decimals)


def _pairing(figures: "Figures") -> Iterator[Named]:
    pairing = figures.pairing if figures.has_layout else None
    for cylinder in pairing.cylinders.values() if pairing else ():
        if cylinder.reciprocating is not None:
            yield Named("reciprocating", cylinder.cylinder, cylinder.reciprocating, cylinder.uncertainty, "g", 2)
    if pairing is not None and pairing.spread is not None:
        uncertainty = 2**0.5 * max(each.uncertainty for each in pairing.cylinders.values())
        yield Named("reciprocating_spread", "", pairing.spread, uncertainty, "g", 2)


def _bobweights(figures: "Figures") -> Iterator[Named]:
    if not figures.has_layout:
        return
    worked_out = figures.bobweights
    for name, throw in worked_out.throws.items():
        yield Named("bobweight", name, throw.total, throw.uncertainty, "g", 2)
    if worked_out.target is not None:
        yield Named("bobweight_target", "", worked_out.target.total, worked_out.target.uncertainty, "g", 2)
        yield Named("bobweight_spread", "", worked_out.target.spread, None, "g", 2)
    for name, as_set in worked_out.set.items():
        yield Named("bobweight_set", name, as_set.weight, None, "g", 1)


def _residual(figures: "Figures") -> Iterator[Named]:
    """What the last spin left, in grams at the radius of each plane."""
    try:
        balance = figures.balance
        last = balance.spins[-1] if balance.spins else None
        repeats = balance.repeatability
    except (NoBalance, LayoutError):
        return
    for plane in PLANES if last is not None else ():
        assert last is not None
        reading = last.step.spin.readings[plane] if last.step.spin else None
        decimals = decimals_for(reading.amount.last_digit("g")) if reading else 1
        amount = abs(balance.grams(last.measured)[plane])
        uncertainty = repeats / balance.plane(plane).radius if repeats is not None else None
        # as read, 0.3 and not the 0.2999… that floating point makes of it, so that a question for 0.3 or more finds it
        yield Named("residual", plane, Fraction(amount).limit_denominator(10**9), uncertainty, "g", decimals)


def _sizes(figures: "Figures") -> Iterator[Named]:
    """The mean size of every journal, bore, piece and volume as it was measured, at 20 °C; see `Measured.mean`."""
    for kind, unit in SIZES.items():
        for place, piece in figures.measured.get(kind, {}).items():
            decimals = max(size.decimals for size in piece.readings) + (len(piece.readings) > 1)
            yield Named(kind, place, piece.mean, piece.mean_uncertainty, unit, decimals)


def _fits(figures: "Figures") -> Iterator[Named]:
    for fit in figures.fits.fits:
        unit = FIT_KINDS[fit.kind].unit
        place = "" if fit.place == "all" else fit.place
        yield Named(fit.kind, place, fit.value, fit.uncertainty, unit, fit.decimals)


_WEIGHED = (_weights, _pairing, _bobweights, _residual)
_MEASURED = (_sizes, _fits)
