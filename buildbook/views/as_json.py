"""Figures and findings as JSON, in the vocabulary of the files: weights in g, as numbers."""

import json
from collections.abc import Iterable, Mapping
from fractions import Fraction
from typing import TYPE_CHECKING

from buildbook.balance.bobweights import Bobweight
from buildbook.balance.layouts import LayoutError
from buildbook.figures import Figures
from buildbook.records.finding import Finding

if TYPE_CHECKING:
    from buildbook.figures.bores import Clearances
    from buildbook.figures.match import MatchFigures


def dump(build: str | None, figures: Mapping[str, object], findings: Iterable[Finding]) -> str:
    """The one object that every command prints with --json. Characters beyond ASCII are escaped."""
    found = [
        {
            "severity": finding.severity,
            "rule": finding.rule,
            "file": finding.where.file,
            "line": finding.where.line,
            "column": finding.where.column,
            "what": finding.what,
            "why": finding.why,
            "remedy": finding.remedy,
        }
        for finding in findings
    ]
    return json.dumps({"build": build, "figures": figures, "findings": found}, indent=2)


def grams(value: Fraction | float | None) -> float | None:
    return None if value is None else float(value)


def weighings(figures: Figures) -> dict[str, object]:
    return {
        what: {
            "count": kind.count,
            "mean": grams(kind.mean),
            "spread": grams(kind.spread),
            "lightest": grams(kind.lightest.weight) if kind.lightest else None,
            "heaviest": grams(kind.heaviest.weight) if kind.heaviest else None,
            "lightest_piece": kind.lightest.piece if kind.lightest else None,
            "heaviest_piece": kind.heaviest.piece if kind.heaviest else None,
            "uncertainty": kind.uncertainty,
            "smallest_difference": kind.smallest_difference,
            "sorting_helps": kind.sorting_helps,
            "stated": [{"value": grams(each.value), "mean": grams(each.mean)} for each in kind.stated],
            "pieces": {name: grams(piece.weight) for name, piece in kind.pieces.items()},
        }
        for what, kind in figures.weighings.items()
    }


def match(figures: Figures) -> dict[str, object]:
    return _matched(figures.match)


def _matched(best: "MatchFigures") -> dict[str, object]:
    matching = best.matching
    return {
        "spread": grams(matching.spread),
        "as_numbered_spread": grams(matching.as_numbered_spread),
        "sorted_spread": grams(matching.sorted_spread),
        "best": grams(matching.best),
        "proven": matching.proven,
        "bound": grams(matching.bound),
        "how": matching.how,
        "limit": grams(best.limit),
        "meets_limit": best.meets_limit,
        "throw_spread": grams(matching.throw_spread),
        "moved": matching.moved,
        "cylinders": {
            name: {**cylinder.pieces, "reciprocating": grams(cylinder.reciprocating)}
            for name, cylinder in best.cylinders.items()
        },
        "grinding": [
            {
                "cylinder": each.cylinder,
                "what": each.what,
                "kind": each.kind,
                "piece": each.piece,
                "amount": grams(each.amount),
                "spare": each.spare,
            }
            for each in best.grinding
        ],
    }


def with_bores_too(figures: Figures) -> dict[str, object]:
    """The match under both limits, with the two pairings that look at one of them alone; clearances in mm."""
    found = figures.with_bores

    def clearances(each: "Clearances") -> dict[str, object]:
        by_cylinder = {cylinder: float(clearance) for cylinder, clearance in each.by_cylinder.items()}
        counts = {"outside": each.outside, "cannot_tell": each.in_doubt}
        return {"spread": float(each.spread), **counts, "cylinders": by_cylinder}

    return _matched(found.both) | {
        "clearances": clearances(found.both_clearances),
        "weights_alone": {
            "spread": grams(found.weights.matching.spread),
            "clearances": clearances(found.weights_clearances),
        },
        "bores_alone": {"pistons": dict(found.bores.pistons), "clearances": clearances(found.bores_clearances)},
        "clearance_limit": {"min": grams(found.least), "max": grams(found.most)},
        "conflict": found.conflict,
        "both_proven": found.proven,
    }


def pairing(figures: Figures) -> dict[str, object] | None:
    decided = figures.pairing
    if decided is None:
        return None
    return {
        "spread": grams(decided.spread),
        "mean": grams(decided.mean),
        "cylinders": {
            name: {
                **cylinder.pieces,
                "throw": cylinder.throw,
                "bank": cylinder.bank,
                "reciprocating": grams(cylinder.reciprocating),
                "from_mean": grams(cylinder.from_mean),
                "changed": list(cylinder.changed),
            }
            for name, cylinder in decided.cylinders.items()
        },
        "locked": [
            {**lock.pieces, "cylinder": lock.cylinder, "because": lock.because} for lock in figures.build.pairings.locks
        ],
    }


def bobweights(figures: Figures) -> dict[str, object]:
    worked_out = figures.bobweights
    aim = worked_out.target
    return {
        "wanted": worked_out.wanted,
        "why": worked_out.why,
        "factor": grams(worked_out.factor),
        "basis": worked_out.basis,
        "throws": {
            name: {
                **_bobweight(throw),
                "pins": [{"angle": pin.angle, **_bobweight(pin)} for pin in throw.pins] if len(throw.pins) > 1 else [],
            }
            for name, throw in worked_out.throws.items()
        },
        "target": grams(aim.total) if aim else None,
        "half": grams(aim.half) if aim else None,
        "uncertainty": aim.uncertainty if aim else None,
        "spread": grams(aim.spread) if aim else None,
        "set": {
            name: {
                "weight": grams(each.weight),
                "from_target": grams(each.from_target),
                "within_limit": each.within_limit,
            }
            for name, each in worked_out.set.items()
        },
        "missing": list(worked_out.missing),
    }


def _bobweight(weight: Bobweight) -> dict[str, object]:
    return {
        "cylinders": list(weight.cylinders),
        "reciprocating": grams(weight.reciprocating),
        "rotating": grams(weight.rotating),
        "oil": grams(weight.oil),
        "total": grams(weight.total),
        "half": grams(weight.half),
        "uncertainty": weight.uncertainty,
        "lines": [
            {
                "what": line.what,
                "piece": line.piece,
                "weight": grams(line.weight),
                "count": line.count,
                "factor": grams(line.factor),
                "amount": grams(line.amount),
            }
            for line in weight.lines
        ],
    }


def build(figures: Figures) -> dict[str, object]:
    """All but the search for the best pairing, which takes its time: `match` does that."""
    result: dict[str, object] = {"weighings": weighings(figures)}
    try:
        result |= {"pairing": pairing(figures), "bobweights": bobweights(figures)}
    except LayoutError:
        result |= {"pairing": None, "bobweights": None}
    return result
