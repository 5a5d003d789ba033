"""Fits, filing, compression, shells and motion as JSON, in the vocabulary of the files: mm, cc, N m."""

from fractions import Fraction

from buildbook.figures import Figures
from buildbook.figures.compression import CylinderCompression
from buildbook.figures.fits import FIT_KINDS, Bounds, Fit
from buildbook.figures.motion import BOLTS, MotionFigures
from buildbook.figures.shells import ShellFigures
from buildbook.figures.to_ratio import ToRatio, Way
from buildbook.fits.decision import COVERAGE
from buildbook.quantities import in_numbered_order


def _number(value: Fraction | float | None) -> float | None:
    return None if value is None else float(value)


def fits(figures: Figures, only: str | None = None) -> dict[str, dict[str, object]]:
    """Kind → place → the fit; or of one kind alone."""
    found = figures.fits
    kinds = [kind for kind in found.kinds if only in {None, kind}]
    result: dict[str, dict[str, object]] = {kind: {} for kind in kinds}
    for fit in (fit for fit in found.fits if fit.kind in result):
        result[fit.kind][fit.place] = _fit(fit)
    for each in (each for each in found.missing if each.kind in result):
        result[each.kind].setdefault(each.place, {"value": None, "verdict": "missing", "lacking": each.lacking})
    return result


def limit(bounds: Bounds) -> dict[str, object]:
    return {
        "min": _number(bounds.least),
        "max": _number(bounds.most),
        "source": bounds.source,
        "common_practice": bounds.practice,
    }


def _fit(fit: Fit) -> dict[str, object]:
    bounds = fit.bounds
    return {
        "value": _number(fit.value),
        "uncertainty": fit.uncertainty,
        "expanded_uncertainty": COVERAGE * fit.uncertainty,
        "unit": FIT_KINDS[fit.kind].unit or None,
        "mean": fit.mean.value if fit.mean else None,
        "mean_uncertainty": fit.mean.uncertainty if fit.mean else None,
        "decided_by": "mean" if fit.decided_by_mean else "value",
        "as_read": _number(fit.as_read),
        "per_mm": _number(fit.per_mm) if fit.mean else None,
        "limit": limit(bounds) if fit.verdict != "no limit" else None,
        "verdict": fit.verdict,
        "from": [
            {
                "what": each.what,
                "place": each.place,
                "within": each.within or None,
                "value": _number(each.value),
                "as_read": _number(each.as_read),
                "session": each.session,
            }
            for each in fit.came_from
        ],
    }


def fasteners(figures: Figures) -> dict[str, dict[str, object]]:
    """Fastener → how often it was tightened, before this build and in it."""
    return {use.place: {"before": use.before, "now": use.now} for use in figures.fits.fasteners}


def filing(figures: Figures) -> dict[str, dict[str, object]]:
    """Cylinder → ring → its gap, the least gap wanted and how much to file [mm]."""
    result: dict[str, dict[str, object]] = {}
    for each in figures.fits.filing:
        result.setdefault(each.cylinder, {})[each.ring] = {
            "gap": _number(each.gap),
            "wanted": _number(each.wanted),
            "file": _number(each.file),
            "file_to_be_sure": _number(each.to_be_sure),
            "source": each.source,
            "common_practice": each.practice,
        }
    return result


def shells(found: ShellFigures) -> dict[str, object]:
    """The target, what is on offer, and the choices: sizes are undersizes [mm]."""
    return {
        "which": found.which,
        "target": _number(found.target),
        "limit": limit(found.bounds),
        "fitted": _number(found.fitted),
        "sizes_offered": [float(size) for size in found.sizes],
        "choices": [
            {
                "sizes": [float(size) for size in choice.sizes],
                "farthest": _number(choice.farthest),
                "outside": sorted(choice.outside, key=in_numbered_order),
                "in_doubt": sorted(choice.in_doubt, key=in_numbered_order),
                "journals": {
                    each.journal: {
                        "halves": [float(half) for half in each.halves],
                        "clearance": _number(each.then),
                        "verdict": each.verdict,
                    }
                    for each in found.journals(choice)
                },
                "to_order": [{"size": float(size), "halves": count} for size, count in choice.to_order.items()],
            }
            for choice in found.choices
        ],
        "recommended": found.choices.index(found.recommended),
        "undersize": {journal: _number(under) for journal, under in found.undersize.items()},
        "missing": {each.place: each.lacking for each in found.missing},
    }


def compression(figures: Figures, change: ToRatio | None) -> dict[str, object]:
    """Volumes in cc, quench in mm, standard uncertainties; `changes` where a ratio was asked for, or limits miss it."""
    found = figures.compression
    spread = found.spread
    result: dict[str, object] = {
        "compression": {name: _cylinder(each) for name, each in found.cylinders.items()},
        "compression_spread": {"value": spread.value, "uncertainty": spread.uncertainty} if spread else None,
    }
    if change is not None:
        ways = {name: each._asdict() for name, each in change.cylinders.items()}
        result["changes"] = {
            "ratio": change.wanted,
            "from": change.wanted_from,
            "cylinders": {name: {what: _way(way) for what, way in each.items()} for name, each in ways.items()},
        }
    return result


def _cylinder(each: CylinderCompression) -> dict[str, object]:
    known = {name: each.parts[name].value if name in each.parts else None for name in ("chamber", "dish", "ring_land")}
    return {
        "swept": each.swept,
        "chamber": known["chamber"],
        "dish": known["dish"],
        "gasket": each.volume.gasket if each.volume else None,
        "deck": each.volume.deck if each.volume else None,
        "ring_land": known["ring_land"],
        "clearance": each.clearance,
        "ratio": each.ratio.value if each.ratio else None,
        "uncertainty": each.ratio.uncertainty if each.ratio else None,
        "dynamic": each.dynamic,
        "quench": each.quench.value if each.quench else None,
        "missing": list(each.missing),
        "assumed": list(each.assumed),
    }


def _way(way: Way) -> dict[str, object]:
    result: dict[str, object] = {"change": way.change, "becomes": way.becomes, "possible": way.possible}
    if way.quench is not None:
        result |= {"quench": way.quench.value, "quench_verdict": way.verdict}
    return result


def motion(found: MotionFigures) -> dict[str, object]:
    """Volumes in cc, lengths in mm, angles in degrees after top dead centre, speeds in m/s, accelerations in m/s², the
    bolt's load in N; what takes a speed is null without one."""
    bolt = found.rod_bolt
    return {
        "displacement": found.displacement,
        "cylinder_displacement": found.cylinder_displacement,
        "bore_to_stroke": found.bore_to_stroke,
        "rod_ratio": found.rod_ratio,
        "lambda": found.crank_to_rod,
        "speed": found.speed,
        "mean_piston_speed": found.mean_piston_speed,
        "fastest": dict(zip(("angle", "speed"), found.fastest, strict=True)) if found.fastest else None,
        "acceleration": {"top": found.top.acceleration, "bottom": found.bottom.acceleration},
        "table": [moment._asdict() for moment in found.table],
        "rod_bolt": {
            "cylinder": bolt.cylinder,
            "reciprocating": _number(bolt.reciprocating),
            "big_end": _number(bolt.big_end),
            "at_least": bolt.at_least,
            "at_most": bolt.at_most,
            "bolts": BOLTS,
        }
        if bolt
        else None,
    }
