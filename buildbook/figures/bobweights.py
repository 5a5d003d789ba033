"""The bobweight card of each throw, and what the bobweights were set to."""

from collections.abc import Mapping
from fractions import Fraction
from typing import NamedTuple

from buildbook.balance.bobweights import CylinderWeights, Target, ThrowBobweight, bobweight, target
from buildbook.balance.layouts import Layout, bobweights_wanted
from buildbook.figures.cylinders import PairingFigure, cylinder_weights, not_weighed
from buildbook.figures.weighings import KindSummary, mean
from buildbook.records.finding import Where
from buildbook.records.model import WEIGHING_KINDS, Build


class SetBobweight(NamedTuple):
    """A bobweight as it was set [g], and how far that is from the target [g]."""

    throw: str
    weight: Fraction
    from_target: Fraction | None
    within_limit: bool | None
    where: Where


class BobweightFigures(NamedTuple):
    """Bobweights by throw; none where something is `missing`, which is then said in plain words.

    `basis` says whose weights were used: the matched pieces in their cylinders, or, before there is a pairing, the
    mean of each kind.
    """

    wanted: bool
    why: str
    factor: Fraction | None
    oil: Fraction
    oil_stated: bool
    basis: str
    throws: Mapping[str, ThrowBobweight]
    target: Target | None
    set: Mapping[str, SetBobweight]
    missing: tuple[str, ...]


def bobweight_figures(
    build: Build,
    layout: Layout,
    kinds: tuple[str, ...],
    weighings: Mapping[str, KindSummary],
    pairing: PairingFigure | None,
) -> BobweightFigures:
    """Every throw's bobweight: rotating + factor/100 × reciprocating + oil, see `balance.bobweights.bobweight`."""
    wanted, why = bobweights_wanted(layout)
    factor = build.balance.factor
    oil = build.balance.oil.worth("g") if build.balance.oil else Fraction(0)
    matched = pairing is not None and pairing.complete
    weights: dict[str, CylinderWeights] = {}
    lacking: dict[str, list[str]] = {}
    for cylinder in layout.cylinders:
        pieces = pairing.cylinders[cylinder].pieces if pairing is not None and matched else None
        weights[cylinder], missing = cylinder_weights(kinds, weighings, pieces)
        for what in missing:
            lacking.setdefault(what, []).append(cylinder)
    said = _not_weighed(lacking, len(layout.cylinders))
    for what in kinds if not matched else ():
        unweighed, of = not_weighed(build, what, weighings.get(what))
        if unweighed and what not in lacking:
            said.append(f"{WEIGHING_KINDS[what].title}: {of - len(unweighed)} of {of} weighed")
    if pairing is not None and not matched:
        empty = [name for name, each in pairing.cylinders.items() if not each.pieces]
        said.append(f"no set is named for cylinder {', '.join(empty)}")
    if factor is None:
        said.append("no reciprocating factor is chosen (balance: {factor: …} in build.yaml)")
    throws = {
        throw: bobweight(throw, layout.pins(throw), weights, Fraction(factor), oil)
        for throw in layout.throws
        if factor is not None and not said
    }
    aim = target([*throws.values()])
    return BobweightFigures(
        wanted=wanted,
        why=why,
        factor=Fraction(factor) if factor is not None else None,
        oil=oil,
        oil_stated=build.balance.oil is not None,
        basis="the matched pieces in their cylinders"
        if matched
        else "the mean of each kind, as nothing is matched yet",
        throws=throws,
        target=aim,
        set=_as_set(build, throws, aim),
        missing=tuple(said),
    )


def _not_weighed(lacking: Mapping[str, list[str]], cylinders: int) -> list[str]:
    nowhere = [WEIGHING_KINDS[what].title for what, where in lacking.items() if len(where) == cylinders]
    some = [
        f"the {WEIGHING_KINDS[what].title} of cylinder {', '.join(where)} is not weighed"
        for what, where in lacking.items()
        if len(where) < cylinders
    ]
    return [*([f"not weighed: {', '.join(nowhere)}"] if nowhere else []), *some]


def _as_set(build: Build, throws: Mapping[str, ThrowBobweight], aim: Target | None) -> dict[str, SetBobweight]:
    """Each set bobweight against the common target, or against its own throw's total where there is none."""
    recorded = build.spins.bobweights
    limit = build.limits.get("bobweight_set")
    within = limit.bounds.get("within") if limit else None
    result = {}
    for throw, reading in recorded.set.items() if recorded and recorded.void is None else ():
        if not reading.values:
            continue
        goal = aim.total if aim else throws[throw].total if throw in throws else None
        weight = mean(reading)
        off = weight - goal if goal is not None else None
        inside = abs(off) <= within.worth("g") if off is not None and within is not None else None
        result[throw] = SetBobweight(throw, weight, off, inside, reading.where)
    return result
