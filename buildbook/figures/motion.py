"""Engine arithmetic: displacement, the motion of a piston, and what inertia asks of a rod bolt."""

from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from buildbook.figures.cylinders import cylinder_weights
from buildbook.fits import motion
from buildbook.records.finding import Where
from buildbook.records.model import WEIGHING_KINDS, Engine

if TYPE_CHECKING:
    from buildbook.figures import Figures

# m/s², by definition (3rd General Conference on Weights and Measures, 1901).
STANDARD_GRAVITY = 9.80665

# How many bolts hold the cap of one rod.
BOLTS = 2

_FIELDS = ("bore", "stroke", "rod_length")


class NoMotion(Exception):
    """The engine's sizes give no motion: where that is, what is wrong, and the remedy."""

    def __init__(self, where: Where, what: str, remedy: str) -> None:
        super().__init__(what)
        self.where = where
        self.what = what
        self.remedy = remedy


class Moment(NamedTuple):
    """The piston at one crank angle [deg after top dead centre]: how far below the top it is [mm], and at a speed of
    the engine how fast it moves [m/s] and how hard it is accelerated [m/s²] towards the crankshaft: exactly, and by the
    usual two terms."""

    angle: float
    travel: float
    speed: float | None = None
    acceleration: float | None = None
    two_term: float | None = None


class RodBolt(NamedTuple):
    """What inertia pulls on one of the two bolts of a rod [N], at top dead centre of the exhaust stroke.

    `at_least` by what goes up and down alone, `at_most` with the whole big end, where that is weighed (`big_end` [g]).
    `cylinder` is the heaviest of those that are matched and weighed, `of` how many that is the heaviest of; without
    them, the means of each kind stand for any cylinder.
    """

    cylinder: str | None
    of: int
    reciprocating: Fraction
    big_end: Fraction | None
    at_least: float
    at_most: float | None


@dataclass(frozen=True)
class MotionFigures:
    """One engine: bore, stroke and rod length [mm], how many cylinders (None where the layout is not known), and the
    speed [rpm] to look at, if any."""

    bore: float
    stroke: float
    rod_length: float
    cylinders: int | None
    speed: float | None
    speed_from: str
    every: float
    rod_bolt: RodBolt | None
    no_rod_bolt: str  # why there is no load on the bolts

    @property
    def cylinder_displacement(self) -> float:
        """[cc]"""
        return motion.displacement(self.bore, self.stroke, 1)

    @property
    def displacement(self) -> float | None:
        """Of all cylinders [cc]."""
        return motion.displacement(self.bore, self.stroke, self.cylinders) if self.cylinders else None

    @property
    def bore_to_stroke(self) -> float:
        return self.bore / self.stroke

    @property
    def rod_ratio(self) -> float:
        return motion.rod_ratio(self.stroke, self.rod_length)

    @property
    def crank_to_rod(self) -> float:
        """λ, crank radius over rod length."""
        return self.stroke / 2 / self.rod_length

    @property
    def mean_piston_speed(self) -> float | None:
        """[m/s]"""
        return motion.mean_piston_speed(self.stroke, self.speed) if self.speed is not None else None

    @cached_property
    def fastest(self) -> tuple[float, float] | None:
        """The crank angle [deg] at which the piston is fastest on its way down, and how fast it is there [m/s]."""
        return motion.fastest(self.stroke, self.rod_length, self.speed) if self.speed is not None else None

    @property
    def top(self) -> Moment:
        return self.at(0.0)

    @property
    def bottom(self) -> Moment:
        return self.at(180.0)

    @cached_property
    def table(self) -> tuple[Moment, ...]:
        """One turn: every so many degrees on the way down, both dead centres always, and the same places on the way
        up."""
        steps = int(180 / self.every) + 1
        down = [number * self.every for number in range(steps) if number * self.every < 180]
        return tuple(self.at(angle) for angle in (*down, 180.0, *(360 - angle for angle in reversed(down[1:]))))

    def at(self, angle: float) -> Moment:
        """The piston at a crank angle [deg]."""
        crank = angle, self.stroke, self.rod_length
        if self.speed is None:
            return Moment(angle, motion.piston_travel(*crank))
        return Moment(
            angle,
            motion.piston_travel(*crank),
            motion.piston_speed(*crank, self.speed),
            motion.piston_acceleration(*crank, self.speed),
            motion.two_term_acceleration(*crank, self.speed),
        )


def in_gravities(acceleration: float) -> float:
    """An acceleration [m/s²] as a multiple of standard gravity."""
    return acceleration / STANDARD_GRAVITY


def motion_figures(figures: "Figures", speed: float | None, every: float) -> MotionFigures:
    """The arithmetic of a build's engine at a speed [rpm], or else at the highest one that build.yaml states, with a
    table every so many degrees. Raises NoMotion where engine.yaml lacks a size, or has sizes that cannot turn."""
    engine = figures.build.engine
    bore, stroke, rod_length = _sizes(engine)
    speed_from = "as asked"
    stated = figures.build.balance.max_speed
    if speed is None and stated is not None:
        speed, speed_from = float(stated.worth("rpm")), "the highest, by build.yaml"
    try:
        # each refuses what cannot turn
        motion.displacement(bore, stroke, 1)
        motion.rod_ratio(stroke, rod_length)
        if speed is not None:
            motion.mean_piston_speed(stroke, speed)
    except ValueError as error:
        remedy = "correct bore, stroke and rod_length in engine.yaml, and max_speed in build.yaml"
        raise NoMotion(engine.where, str(error), remedy) from None
    bolt, why_not = _rod_bolt(figures, stroke, rod_length, speed)
    return MotionFigures(
        bore=bore,
        stroke=stroke,
        rod_length=rod_length,
        cylinders=len(figures.layout.cylinders) if figures.has_layout else None,
        speed=speed,
        speed_from=speed_from if speed is not None else "",
        every=every,
        rod_bolt=bolt,
        no_rod_bolt=why_not,
    )


def _sizes(engine: Engine) -> tuple[float, float, float]:
    sizes = {name: getattr(engine, name) for name in _FIELDS}
    lacking = [name for name, size in sizes.items() if size is None]
    if lacking:
        what = f"{engine.name} has no {' and no '.join(lacking)}"
        example = ", ".join(f"{name}: … mm" for name in lacking)
        raise NoMotion(engine.where, what, f"fill in {example} in engine.yaml")
    bore, stroke, rod_length = (float(size.worth("mm")) for size in sizes.values())
    return bore, stroke, rod_length


def _rod_bolt(figures: "Figures", stroke: float, rod_length: float, speed: float | None) -> tuple[RodBolt | None, str]:
    """The load on a bolt of the heaviest cylinder's rod, or why there is none."""
    if speed is None:
        return None, "there is no speed to work it out at"
    pairing = figures.pairing if figures.has_layout else None
    matched = {
        each.cylinder: each.reciprocating
        for each in (pairing.cylinders.values() if pairing else ())
        if each.reciprocating is not None
    }
    heaviest = max(matched, key=lambda cylinder: matched[cylinder]) if matched else None
    pieces = pairing.cylinders[heaviest].pieces if pairing and heaviest else None
    weights, missing = cylinder_weights(figures.kinds, figures.weighings, pieces)
    lacking = {
        moves: [WEIGHING_KINDS[what].title for what in missing if WEIGHING_KINDS[what].moves == moves]
        for moves in ("reciprocating", "rotating")
    }
    if lacking["reciprocating"]:
        return None, f"not weighed: {', '.join(lacking['reciprocating'])}"
    reciprocating, rotating = (sum((each.weight * each.count for each in moving), Fraction(0)) for moving in weights)
    big_end = rotating if not lacking["rotating"] else None
    crank = float(reciprocating), stroke, rod_length, speed, BOLTS
    at_least = motion.rod_bolt_load(*crank)
    at_most = motion.rod_bolt_load(*crank, big_end=float(big_end)) if big_end is not None else None
    return RodBolt(heaviest, len(matched), reciprocating, big_end, at_least, at_most), ""
