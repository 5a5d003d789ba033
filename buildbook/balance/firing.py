"""When cylinders can fire: which pistons come to the top together, and a firing order against that, for four strokes.

Crank angles in degrees, from where cylinder 1 (or the first of a firing order) is at the top of its travel. A piston is
there when θ + pin angle = bank angle, see `balance.layouts`; each cylinder fires at one such moment in two turns.
"""

from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from typing import Literal, NamedTuple

from buildbook.balance.layouts import Cylinder, Layout

CYCLE = 720.0
_TURN = 360.0
_ALIKE = 0.01  # [deg] closer than any layout is written or any crankshaft made


class Top(NamedTuple):
    """A moment in each turn at which these cylinders' pistons are at the top."""

    angle: float
    cylinders: tuple[str, ...]


Variant = Literal["as_laid_out", "sides", "mirror", "mirror_and_sides"]


class Firing(NamedTuple):
    """A firing order on a layout: at which crank angle each cylinder fires, in that order, and how far on the next is.

    `variant` says on which engine that is so, where the layout as it is laid out allows the order not at all, or less
    evenly: with its `sides`, left and right, exchanged (as the same engine is seen from its other end); with its throws
    the other way round, the `mirror` image of its crankshaft; or both.
    """

    angles: Mapping[str, float]
    intervals: tuple[float, ...]
    variant: Variant

    @property
    def is_even(self) -> bool:
        return max(self.intervals) - min(self.intervals) < _ALIKE


def tops(layout: Layout) -> tuple[Top, ...]:
    """Which pistons come to the top together, from cylinder 1 on: θ = bank angle − pin angle."""
    zero = _top(next(iter(layout.cylinders.values())))
    found: list[tuple[float, list[str]]] = []
    for cylinder in layout.cylinders.values():
        angle = _within_a_turn(_top(cylinder) - zero)
        together = next((names for other, names in found if abs(other - angle) < _ALIKE), None)
        if together is None:
            found.append((angle, [cylinder.name]))
        else:
            together.append(cylinder.name)
    return tuple(Top(angle, tuple(names)) for angle, names in sorted(found))


def can_fire_evenly(layout: Layout) -> bool:
    """Whether some order fires every 720°/n: each cylinder at one of those moments, and no two at the same.

    Moments half a cycle apart are the same place of the crankshaft. An even number of cylinders shares n/2 places, two
    at each; an odd number has a place for each of them.
    """
    count = len(layout.cylinders)
    interval, at_each = CYCLE / count, 1 if count % 2 else 2
    places = tops(layout)
    step = interval / 2 if count % 2 else interval
    return all(len(each.cylinders) == at_each and _is_multiple(each.angle, step) for each in places)


def firing(layout: Layout, order: Sequence[str]) -> Firing | None:
    """A firing order on a layout, each cylinder in it once; None where it cannot be.

    A cylinder fires when its piston is at the top, and later than the one before it in the order; all within two turns.
    Where that leaves a choice, as with two cylinders that could fire in one turn or in two, it is the most even one.
    """
    found: list[tuple[float, Firing]] = []
    for variant, top in _VARIANTS.items():
        angles = _most_even(
            [top(layout.cylinders[name], layout.throws[layout.cylinders[name].throw]) for name in order]
        )
        if angles is not None:
            fires = Firing(dict(zip(order, angles, strict=True)), _intervals(angles), variant)
            found.append((round(_unevenness(angles), 6), fires))
    return min(found, key=lambda each: each[0])[1] if found else None


def _top(cylinder: Cylinder, throw: float = 0.0) -> float:
    return cylinder.bank_angle - cylinder.pin_angle


def _top_on_the_other_side(cylinder: Cylinder, throw: float) -> float:
    """Where a bank leans the other way, and a split pin stands on the other side of its throw: −β − (2 throw − pin)."""
    return -cylinder.bank_angle - 2 * throw + cylinder.pin_angle


_VARIANTS: Mapping[Variant, Callable[[Cylinder, float], float]] = {
    "as_laid_out": _top,
    "sides": _top_on_the_other_side,
    "mirror": lambda cylinder, throw: -_top_on_the_other_side(cylinder, throw),
    "mirror_and_sides": lambda cylinder, throw: -_top(cylinder),
}


def _most_even(tops: Sequence[float]) -> list[float] | None:
    """The angles at which cylinders fire whose pistons come to the top at these angles, in that order; None where they
    take more than two turns."""
    angles = [0.0]
    for top in tops[1:]:
        ahead = _within_a_turn(top - tops[0] - angles[-1])
        angles.append(angles[-1] + (ahead or _TURN))
    # one more turn may be put in before any one of them, where all of them still fire within the cycle
    later = ([*angles[:place], *(each + _TURN for each in angles[place:])] for place in range(1, len(angles)))
    possible = [each for each in (angles, *later) if each[-1] < CYCLE - _ALIKE]
    return min(possible, key=_unevenness) if possible else None


def _intervals(angles: Sequence[float]) -> tuple[float, ...]:
    return tuple(after - before for before, after in pairwise([*angles, CYCLE]))


def _unevenness(angles: Sequence[float]) -> float:
    intervals = _intervals(angles)
    return max(intervals) - min(intervals)


def _within_a_turn(angle: float) -> float:
    """From 0 to below 360, and 0 for what is that but for rounding."""
    rest = angle % _TURN
    return 0.0 if min(rest, _TURN - rest) < _ALIKE else rest


def _is_multiple(angle: float, step: float) -> bool:
    rest = angle % step
    return min(rest, step - rest) < _ALIKE
