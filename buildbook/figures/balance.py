"""The balancing story: every spin and every change in order, with what was predicted and how far each spin missed it.

Vectors are complex, in the crankshaft's own frame: g·mm for an unbalance at the reading planes.
"""

from cmath import phase
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import takewhile
from math import degrees
from typing import Literal, NamedTuple

from buildbook.balance.holes import AxialHole, CannotCut, Plug, RadialHole, arc_along_the_axis, arc_from_the_rim
from buildbook.balance.proving import repeatability_of
from buildbook.balance.unbalance import (
    NOTHING,
    BalancingError,
    MachineAngles,
    Plane,
    Planes,
    Reading,
    Split,
    Unbalance,
    missed_by,
    predicted,
)
from buildbook.quantities import Quantity
from buildbook.records.finding import Where
from buildbook.records.model import Build, Change, Step

STEEL = 7.83
"""Density of a steel crankshaft [g/cm³] where none is given: common practice, no source."""

HEAVY_METAL = 17.0
"""Density of a heavy-metal plug [g/cm³] where none is given: a trade nominal within ASTM B777-15 class 1."""

DRILL_POINT = 118.0
"""Included angle of a drill's point [deg] where none is given: the usual twist drill."""

PLANES = ("front", "rear")


class NoBalance(Exception):
    """Why there is nothing to work out: `what` is missing or wrong, where, and the `remedy`."""

    def __init__(self, where: Where, what: str, remedy: str) -> None:
        super().__init__(what)
        self.where = where
        self.what = what
        self.remedy = remedy


@dataclass(frozen=True, slots=True)
class ChangeFigure:
    """One change to what spins: the weight it adds [g], less than nothing where it takes some away, and its vector.

    `change` is None where what it does is not known, as when metal was ground off unweighed: then `unknown` says why.
    `swapped` is the vector if a hole's depth had been read the other way, to the tip or to the shoulder.
    """

    step: Step
    weight: float | None
    change: Unbalance | None
    unknown: str | None = None
    swapped: Unbalance | None = None


class Cut(NamedTuple):
    """A hole or a plug, by the step that made it: the `angle` of its axis [deg], in the crankshaft's own frame, and its
    `position` along the crankshaft [mm]."""

    step: str
    plane: str
    angle: float
    position: float
    shape: RadialHole | AxialHole | Plug

    def half_arc(self, web: float = 0.0) -> float:
        """Half the arc that it takes up [deg], seen from the crank axis, with so much metal [mm] beside it."""
        shape = self.shape
        if isinstance(shape, AxialHole) or (isinstance(shape, Plug) and shape.direction == "axial"):
            return arc_along_the_axis(shape.radius, shape.diameter, web)
        depth = shape.length if isinstance(shape, Plug) else max(shape.full_depth, 0.0)
        return arc_from_the_rim(shape.radius, shape.diameter, depth, web)

    def meets(self, other: "Cut", web: float = 0.0) -> bool:
        """Whether the two take some of the same metal, or leave less than a `web` [mm] between them."""
        apart = abs((self.angle - other.angle + 180) % 360 - 180)
        beside = abs(self.position - other.position) < (self.shape.diameter + other.shape.diameter) / 2 + web
        return self.plane == other.plane and beside and apart < self.half_arc() + other.half_arc(web)


@dataclass(frozen=True, slots=True)
class SpinFigure:
    """One spin: what was measured, its static and couple parts, and how far it fell from what was predicted."""

    step: Step
    measured: Unbalance
    split: Split
    since: tuple[ChangeFigure, ...]  # the changes between the spin before and this one
    predicted: Unbalance | None
    missed_by: Unbalance | None

    @property
    def carrying(self) -> tuple[str, ...]:
        return tuple(sorted(self.step.spin.carrying)) if self.step.spin else ()


class BalanceFigures:
    """The story of one crankshaft at the balancing machine. Raises NoBalance where it cannot be told."""

    def __init__(self, build: Build) -> None:
        self.build = build
        self.angles = machine_angles(build)
        self.planes = planes_of(build)
        self.density = crankshaft_density(build)
        self.mass_centre = mm(build.spins.mass_centre) if build.spins.mass_centre else None
        self.pending: tuple[ChangeFigure, ...] = ()  # the changes since the last spin
        self.cut_before: tuple[Cut, ...] = ()  # in the builds before this one: files are read elsewhere
        self.spins = tuple(self._tell())

    def _tell(self) -> Iterator[SpinFigure]:
        before: SpinFigure | None = None
        since: list[ChangeFigure] = []
        done: dict[str | None, ChangeFigure] = {}
        for step in self.build.spins.steps:
            if step.void is not None:
                continue
            if step.change is not None:
                figure = self._change(step, step.change, done)
                done[step.id] = figure
                since.append(figure)
            elif step.spin is not None and set(step.spin.readings) == set(PLANES):
                before = self._spin(step, before, tuple(since))
                since = []
                yield before
        self.pending = tuple(since)

    def _spin(self, step: Step, before: SpinFigure | None, since: tuple[ChangeFigure, ...]) -> SpinFigure:
        assert step.spin is not None
        vectors = {
            plane: self.angles.to_shaft(float(reading.amount.worth("g")), float(reading.angle.worth("deg")))
            for plane, reading in step.spin.readings.items()
        }
        measured = self.planes.unbalance(vectors["front"], vectors["rear"])
        expected = self.after(before.measured, since) if before is not None else None
        return SpinFigure(
            step=step,
            measured=measured,
            split=self.planes.split(measured, self.mass_centre),
            since=since,
            predicted=expected,
            missed_by=missed_by(measured, expected) if expected is not None else None,
        )

    @staticmethod
    def after(state: Unbalance, changes: tuple[ChangeFigure, ...]) -> Unbalance | None:
        """What the next spin should read; None where one of the changes is of unknown weight."""
        known = [figure.change for figure in changes if figure.change is not None]
        return predicted(state, known) if len(known) == len(changes) else None

    def _change(self, step: Step, change: Change, done: dict[str | None, ChangeFigure]) -> ChangeFigure:
        if change.kind in {"drill", "plug", "grind", "add"}:
            try:
                return self._metal(step, change)
            except CannotCut as error:
                return ChangeFigure(step, None, None, error.what)
        if change.kind == "remove" and "step" in change.words:
            earlier = done.get(change.words["step"])
            if earlier is None or earlier.change is None:
                return ChangeFigure(step, None, None, f"step {change.words['step']} added nothing that is known")
            return ChangeFigure(step, -(earlier.weight or 0.0), -earlier.change)
        if change.kind == "index":
            return ChangeFigure(step, None, None, "what turning a part does is not known before it is spun")
        return ChangeFigure(step, 0.0, NOTHING)  # a part put on or taken off counts as neutral until it is proved

    @property
    def cuts(self) -> tuple[Cut, ...]:
        """Every hole and plug of the story that can have been cut, in the order in which they were made, after those
        that were there before it."""
        return (*self.cut_before, *self._cuts)

    def runs_into(self, cut: Cut, web: float = 0.0) -> str | None:
        """The step of an earlier hole or plug that it meets, see `Cut.meets`, if there is one."""
        earlier = takewhile(lambda each: each is not cut, self.cuts)
        return next((each.step for each in earlier if cut.meets(each, web)), None)

    @cached_property
    def _cuts(self) -> tuple[Cut, ...]:
        return tuple(self._cut_by_step())

    def _cut_by_step(self) -> Iterator[Cut]:
        for figure in (*(each for spin in self.spins for each in spin.since), *self.pending):
            change = figure.step.change
            if change is None or change.kind not in {"drill", "plug"} or figure.change is None:
                continue
            plane = self.plane(change.words["plane"])
            yield Cut(
                figure.step.id or "",
                change.words["plane"],
                degrees(phase(self.direction(float(change.numbers["angle"].worth("deg"))))),
                mm(change.numbers.get("position"), plane.position),
                hole_of(change, plane.radius, self.density),
            )

    def _metal(self, step: Step, change: Change) -> ChangeFigure:
        plane = self.plane(change.words["plane"])
        position = mm(change.numbers.get("position"), plane.position)
        direction = self.direction(float(change.numbers["angle"].worth("deg")))

        def acts(unbalance: float) -> Unbalance:
            return self.planes.carry(unbalance * direction, position)

        if change.kind in {"grind", "add"}:
            if "amount" not in change.numbers:
                return ChangeFigure(step, None, None, "how much was ground away was not weighed")
            amount = float(change.numbers["amount"].worth("g"))
            weight = -amount if change.kind == "grind" else amount
            return ChangeFigure(step, weight, acts(weight * mm(change.numbers.get("radius"), plane.radius)))
        cut = hole_of(change, plane.radius, self.density)
        if isinstance(cut, Plug):
            return ChangeFigure(step, cut.weight, acts(cut.unbalance))
        read_to_tip = change.words.get("depth_to") == "tip"
        try:
            other = hole_of(change, plane.radius, self.density, depth_to="shoulder" if read_to_tip else "tip")
            swapped = acts(-other.unbalance)
        except CannotCut:
            swapped = None
        return ChangeFigure(step, -cut.weight, acts(-cut.unbalance), swapped=swapped)

    def direction(self, angle: float) -> complex:
        """The unit vector of a place on the crankshaft at `angle` [deg] as the machine counts. A place is a place,
        whichever side of it the machine's readings show."""
        return MachineAngles(self.angles.zero, self.angles.positive).to_shaft(1.0, angle)

    def place(self, vector: complex) -> float:
        """The angle [deg], as the machine counts, of the place on the crankshaft that a vector points to."""
        return MachineAngles(self.angles.zero, self.angles.positive).to_machine(vector).angle

    def plane(self, name: str) -> Plane:
        return self.planes.front if name == "front" else self.planes.rear

    def grams(self, unbalance: Unbalance) -> dict[str, complex]:
        """An unbalance as vectors [g] at the planes' radii."""
        return {"front": self.planes.front.weight(unbalance.front), "rear": self.planes.rear.weight(unbalance.rear)}

    def shown(self, unbalance: Unbalance) -> dict[str, Reading]:
        """An unbalance as this machine would show it: grams at the planes' radii, its own angles."""
        return {plane: self.angles.to_machine(vector) for plane, vector in self.grams(unbalance).items()}

    @cached_property
    def repeatability(self) -> float | None:
        """Standard uncertainty of one reading per component [g·mm]: the larger of what the shop states for the
        machine, at the larger radius, and what repeated spins of one state show. None where neither is known."""
        observed = repeatability_of([spin.measured for spin in group] for group in self.same_states())
        return max((each for each in (observed, self.stated_repeatability) if each is not None), default=None)

    @property
    def stated_repeatability(self) -> float | None:
        """What the shop states for the machine of the last spin, at the larger radius [g·mm]."""
        machine = self.build.shop.instruments.get(self.spins[-1].step.with_ or "") if self.spins else None
        stated = machine.repeatability if machine and machine.reads("mass") else None
        radius = max(self.planes.front.radius, self.planes.rear.radius)
        return float(stated.worth("g")) * radius if stated else None

    def same_states(self) -> Iterator[list[SpinFigure]]:
        """The spins in order, those of one state of the crankshaft together: nothing was changed between them."""
        group: list[SpinFigure] = []
        for spin in self.spins:
            if group and not spin.since and spin.carrying == group[-1].carrying:
                group.append(spin)
            else:
                yield group
                group = [spin]
        yield group


def mm(quantity: Quantity | None, otherwise: float = 0.0) -> float:
    """A length [mm], or what stands for it where none is given."""
    return float(quantity.worth("mm")) if quantity is not None else otherwise


def machine_angles(build: Build) -> MachineAngles:
    """How the machine counts. Without a record of it: with the rotation, heavy side, zero at throw 1."""
    record = build.spins.angles
    against = record is not None and record.positive == "against_rotation"
    light = record is not None and record.reading == "light_side"
    return MachineAngles(
        0.0, "against_rotation" if against else "with_rotation", "light_side" if light else "heavy_side"
    )


def planes_of(build: Build) -> Planes:
    """The two planes where readings are taken as acting. Raises NoBalance."""
    record = build.spins
    found = []
    for name in PLANES:
        plane = record.planes.get(name)
        if plane is None or plane.position is None or plane.radius is None:
            what = f"the {name} plane has no position and radius"
            remedy = f"add planes: {{{name}: {{position: …, radius: …}}}} to spins.yaml"
            raise NoBalance(plane.where if plane else record.where, what, remedy)
        try:
            found.append(Plane(mm(plane.position), mm(plane.radius)))
        except BalancingError as error:
            raise NoBalance(plane.where, error.what, error.remedy) from None
    try:
        return Planes(*found)
    except BalancingError as error:
        raise NoBalance(record.planes["rear"].where, error.what, error.remedy) from None


def crankshaft_density(build: Build) -> float:
    """Density of the crankshaft [g/cm³], as the parts list states it, or else that of steel."""
    stated = [part.density for part in build.parts if part.kind == "crankshaft" and part.density is not None]
    return float(stated[0].worth("g/cm3")) if stated else STEEL


def hole_of(change: Change, rim: float, density: float, depth_to: str | None = None) -> RadialHole | AxialHole | Plug:
    """The hole or plug of a recorded correction, at its own radius or the plane's `rim` [mm]. Raises CannotCut."""
    numbers, words = change.numbers, change.words
    radius = mm(numbers.get("radius"), rim)
    own = float(numbers["density"].worth("g/cm3")) if "density" in numbers else None
    diameter = mm(numbers["diameter"])
    if change.kind == "plug":
        along: Literal["axial", "radial"] = "radial" if words.get("along") == "radius" else "axial"
        heavy = HEAVY_METAL if own is None else own
        point = float(numbers["point"].worth("deg")) if "point" in numbers else 180.0  # bored flat, or right through
        return Plug(along, radius, diameter, mm(numbers["length"]), heavy, density, point)
    shape = AxialHole if words.get("along") == "axis" else RadialHole
    point = float(numbers["point"].worth("deg")) if "point" in numbers else DRILL_POINT
    to: Literal["tip", "shoulder"] = "tip" if (depth_to or words.get("depth_to")) == "tip" else "shoulder"
    return shape(radius, diameter, mm(numbers["depth"]), point, density if own is None else own, to)
