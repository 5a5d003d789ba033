"""The balancing figures as JSON: amounts in g at the planes' radii, angles as the machine counts them."""

from collections.abc import Sequence

from buildbook.balance.plans import Plan
from buildbook.balance.proving import Difference, Indexed, ProvingSpin, Response
from buildbook.balance.unbalance import Reading, Unbalance
from buildbook.figures import Figures
from buildbook.figures.balance import PLANES, BalanceFigures
from buildbook.figures.corrections import too_near
from buildbook.figures.proofs import Proof


def spins(figures: Figures) -> dict[str, object]:
    """The story, the yardsticks and the verdict on the last spin."""
    balance, yardsticks = figures.balance, figures.yardsticks
    tolerance, floor = yardsticks.tolerance, yardsticks.floor
    story = []
    for spin in balance.spins:
        static, couple = spin.split.static, spin.split.couple_pair
        story.append(
            {
                "id": spin.step.id,
                **_vector(balance, spin.measured),
                "static": {**_reading(balance.angles.to_machine(spin.split.resultant)), **_vector(balance, static)},
                "couple": {**_reading(balance.angles.to_machine(spin.split.couple)), **_vector(balance, couple)},
                "predicted": _vector(balance, spin.predicted) if spin.predicted else None,
                "missed_by": _vector(balance, spin.missed_by) if spin.missed_by else None,
                "verdict": yardsticks.standing(spin).verdict,
                "since": [
                    {
                        "id": change.step.id,
                        "kind": change.step.change.kind if change.step.change else None,
                        "weight": change.weight,
                        "change": _vector(balance, change.change) if change.change else None,
                        "unknown": change.unknown,
                    }
                    for change in spin.since
                ],
            }
        )
    expected = balance.after(balance.spins[-1].measured, balance.pending) if balance.spins else None
    return {
        "spins": story,
        "next": _vector(balance, expected) if expected and balance.pending else None,
        "tolerance": {
            "permissible_total": tolerance.total,
            **{
                plane: {
                    "g_mm": getattr(tolerance.shares, plane),
                    "g": getattr(tolerance.shares, plane) / balance.plane(plane).radius,
                }
                for plane in PLANES
            },
            "rule": tolerance.shares.rule,
            "grade": tolerance.grade,
            "mass_kg": tolerance.mass,
            "speed": tolerance.speed,
        }
        if tolerance
        else None,
        "floor": {"front": floor.front, "rear": floor.rear, "lines": [line._asdict() for line in floor.lines]},
        "verdict": yardsticks.standing(balance.spins[-1]).verdict if balance.spins else None,
    }


def plans(figures: Figures, found: Sequence[Plan]) -> list[dict[str, object]]:
    balance = figures.balance
    return [
        {
            "ways": dict(plan.ways),
            "holes": [
                {
                    "kind": hole.kind,
                    "plane": hole.plane,
                    "angle": balance.place(hole.unbalance if hole.kind == "hole" else -hole.unbalance),
                    "diameter": hole.diameter,
                    "point": hole.point,
                    "depth": hole.depth,
                    "radius": hole.radius,
                    "position": hole.position,
                    "weight": hole.weight,
                    "acts_as": abs(hole.unbalance) / balance.plane(hole.plane).radius,
                    "simple": hole.simple.unbalance / balance.plane(hole.plane).radius,
                    "too_near": too_near(balance, hole),
                }
                for hole in plan.holes
            ],
            "remains": _vector(balance, Unbalance(plan.remains["front"], plan.remains["rear"])),
        }
        for plan in found
    ]


def proofs(figures: Figures, found: Sequence[Proof], answers: Response | None) -> dict[str, object]:
    return {
        "proofs": [
            {"kind": proof.kind, "spins": list(proof.spins), "what": proof.what, **_proof(figures.balance, proof.found)}
            for proof in found
        ],
        "answers": _response(answers) if answers else None,
    }


def _proof(balance: BalanceFigures, found: ProvingSpin | Difference | Indexed) -> dict[str, object]:
    match found:
        case ProvingSpin():
            return {**_response(found), "cross_talk": found.cross_talk}
        case Difference():
            shown = _vector(balance, found.change)
            return {"change": shown, "distinguishable": found.distinguishable, "uncertainty": found.uncertainty}
        case Indexed():
            parts = {"part": _vector(balance, found.part), "fixture": _vector(balance, found.fixture)}
            return {**parts, "uncertainty": found.uncertainty}


def _response(found: Response) -> dict[str, object]:
    return {
        "scale": found.scale,
        "angle": found.angle,
        "uncertainty": found.uncertainty,
        "angle_uncertainty": found.angle_uncertainty,
        "diagnoses": [str(each) for each in found.diagnoses],
    }


def _vector(balance: BalanceFigures, vector: Unbalance) -> dict[str, dict[str, float]]:
    return {plane: _reading(reading) for plane, reading in balance.shown(vector).items()}


def _reading(reading: Reading) -> dict[str, float]:
    # the turn into the crankshaft's frame and back leaves a last digit that nobody read
    return {"amount": round(reading.amount, 9), "angle": round(reading.angle, 9) % 360}
