"""What no schema can see in the record of spins. `RULES` need only the records; `THOROUGH` work out every hole."""

from collections.abc import Callable, Iterable, Iterator
from fractions import Fraction
from itertools import pairwise
from math import hypot, inf, sqrt
from typing import TYPE_CHECKING

from buildbook.quantities import fixed
from buildbook.records.finding import Finding, Where, did_you_mean
from buildbook.records.model import Build, Change

if TYPE_CHECKING:
    from buildbook.figures import Figures

Rule = Callable[[Build, "Figures"], Iterable[Finding]]


def steps_are_one_thing_each(build: Build, figures: "Figures") -> Iterator[Finding]:
    for step in build.spins.steps:
        if step.void is None and (step.spin is None) == (step.change is None):
            what = f"{step.id} is {'a spin and a change at once' if step.spin else 'neither a spin nor a change'}"
            why = "A change between two spins is what the second one answers."
            yield Finding("error", "step", step.where, what, why, "write one step for each")
        if step.void is None and step.spin is not None and set(step.spin.readings) != {"front", "rear"}:
            lacking = " and the ".join(name for name in ("front", "rear") if name not in step.spin.readings)
            what = f"{step.id} has no reading of the {lacking} plane"
            why = "One plane alone cannot tell a static unbalance from a couple."
            yield Finding("error", "one-plane", step.where, what, why, "add the reading, amount and angle")


def planes_are_known_and_apart(build: Build, figures: "Figures") -> Iterator[Finding]:
    record = build.spins
    if not any(step.spin or (step.change and "plane" in step.change.words) for step in record.steps):
        return
    why = "Grams at an angle mean nothing until it is known where they act."
    for name in ("front", "rear"):
        plane = record.planes.get(name)
        if plane is None or plane.position is None or plane.radius is None:
            what = f"the {name} plane has no position and radius"
            remedy = f"add planes: {{{name}: {{position: …, radius: …}}}} to spins.yaml"
            yield Finding("error", "plane", plane.where if plane else record.where, what, why, remedy)
            return
        if plane.radius.number <= 0:
            what = f"the {name} plane's radius is {plane.radius.written}: no weight there makes any unbalance"
            yield Finding("error", "plane", plane.where, what, why, "give the radius where the grams act")
    front, rear = record.planes["front"], record.planes["rear"]
    if front.position and rear.position and front.position.worth("mm") == rear.position.worth("mm"):
        what = f"both planes are at {rear.position.written}: planes at one place cannot tell one end from the other"
        yield Finding("error", "plane", rear.where, what, why, "give each plane its own position along the crankshaft")


def bobweights_are_set_before_the_first_spin(build: Build, figures: "Figures") -> Iterator[Finding]:
    first = next((step for step in build.spins.steps if step.spin is not None and step.void is None), None)
    if first is None or not figures.has_layout or not figures.bobweights.wanted:
        return
    done = build.spins.bobweights
    why = "Without its bobweights, this crankshaft reads the weight of rods and pistons that are not there."
    if done is None or not done.set:
        each = ",".join(f"{throw}=G" for throw in figures.layout.throws)
        remedy = f"record them first: buildbook bobweight --set {each} --with SCALE"
        yield Finding("error", "no-bobweights", first.where, f"{first.id} was spun with no bobweights set", why, remedy)
    elif done.taken and first.taken and done.taken.day > first.taken.day:
        what = f"{first.id} was spun on {first.taken.day}, before the bobweights were set ({done.taken.day})"
        yield Finding("error", "no-bobweights", first.where, what, why, "correct one of the dates, or void the spin")


def the_machine_says_how_it_counts(build: Build, figures: "Figures") -> Iterator[Finding]:
    first = next((step for step in build.spins.steps if step.spin is not None and step.void is None), None)
    if first is not None and build.spins.angles is None:
        what = "spins.yaml has no 'angles': throw 1 up, with rotation, heavy side is taken for how the machine counts"
        why = "On a machine that shows the light side, every hole would be drilled 180° from where it belongs."
        remedy = "state them: angles: {zero: throw 1 up, positive: with_rotation, reading: heavy_side}, or as it counts"
        yield Finding("warning", "angles-assumed", first.where, what, why, remedy)


def steps_speak_of_what_is_there(build: Build, figures: "Figures") -> Iterator[Finding]:
    pieces = {stamped.id for part in build.parts for stamped in part.ids}
    added: dict[str | None, bool] = {}  # the steps before, and whether each added a weight that is still there
    for step in build.spins.steps:
        carried = step.spin.carrying if step.spin else ()
        named = [step.change.words["part"]] if step.change and "part" in step.change.words else []
        for piece in (*carried, *named):
            if pieces and piece not in pieces:
                why = "What turned with the crankshaft counts in every reading."
                remedy = did_you_mean(piece, sorted(pieces), "list it in parts.yaml")
                yield Finding("error", "unlisted", step.where, f"{piece} is carried, and no part lists it", why, remedy)
        taken_off = step.change.words.get("step") if step.change and step.void is None else None
        if step.change and taken_off and not added.get(taken_off):
            why = "A weight can be taken off only where a step before put it on."
            remedy = "name the step that added it"
            lacking = "that step added no weight that is still there" if taken_off in added else "there is no such step"
            what = f"{step.id} takes off what step {taken_off} added, and {lacking} before it"
            yield Finding("error", "no-step", step.change.where, what, why, remedy)
        if taken_off in added:
            added[taken_off] = False
        added[step.id] = step.change is not None and step.change.kind in {"add", "plug"} and step.void is None


# What carries the weight that an externally balanced crankshaft needs at each end; `other` may be a shop's own ring.
_HUNG_ON = {"front": ("damper", "other"), "rear": ("flywheel", "flexplate", "other")}


def what_balances_it_is_on(build: Build, figures: "Figures") -> Iterator[Finding]:
    """An externally balanced crankshaft, last spun without the part that belongs to its balance."""
    last = next((step for step in reversed(build.spins.steps) if step.spin and step.void is None), None)
    ends = {
        end for part in build.parts if part.kind == "crankshaft" and part.fitted for end in part.balanced_externally
    }
    kinds = {piece: part.kind for part in build.parts for piece in part.pieces}
    carried = {kinds.get(piece) for piece in (last.spin.carrying if last and last.spin else ())}
    for end in sorted(ends) if last else ():
        if last and carried.isdisjoint(_HUNG_ON[end]):
            lacking = " or ".join(_HUNG_ON[end][:-1])
            what = f"{last.id} was spun with no {lacking} on, and the crankshaft is balanced externally at the {end}"
            why = "Without the weight that belongs to it, what is left is not what the engine will have."
            remedy = "spin it with that part on (--carrying), or correct balanced_externally in parts.yaml"
            yield Finding("warning", "nothing-hung-on", last.where, what, why, remedy)


def numbers_are_on_their_scales(build: Build, figures: "Figures") -> Iterator[Finding]:
    """What no schema sees in a number that carries its own unit, as in `angle: "360 deg"`."""
    for step in build.spins.steps:
        readings = step.spin.readings.values() if step.spin else ()
        angles = [(reading.angle, reading.where) for reading in readings]
        amounts = [(reading.amount, reading.where) for reading in readings if reading.amount.number < 0]
        if step.change and step.change.kind == "index":
            turn = step.change.numbers.get("angle")
            if turn is not None and turn.worth("deg") % 360 == 0:
                what, why = f"{step.id} turns a part by {turn.text}°", "A part that was not turned tells nothing apart."
                yield Finding("error", "not-turned", step.change.where, what, why, "turn it, best by 180°, or in steps")
        elif step.change:
            where, numbers = step.change.where, step.change.numbers
            angles += [(numbers["angle"], where)] if "angle" in numbers else []
            amounts += [
                (numbers[name], where) for name in ("amount", "radius") if name in numbers and numbers[name].number <= 0
            ]
        for angle, where in angles:
            if not 0 <= (degrees := angle.worth("deg")) < 360:
                what, why = f"an angle of {angle.text} is not on the machine's scale", "Every place has one angle."
                remedy = f"write {float(degrees % 360):g}: angles go from 0 to below 360"
                yield Finding("error", "angle", where, what, why, remedy)
        for amount, where in amounts:
            what, why = f"{step.id} says {amount.written}", "What is less than nothing points the other way."
            yield Finding("error", "amount", where, what, why, "write what was read, with the angle it was read at")


def holes_can_be_cut(build: Build, figures: "Figures") -> Iterator[Finding]:
    """Every recorded hole and plug, by its exact geometry, and against the room there is where that is recorded."""
    from buildbook.balance.holes import CannotCut, RadialHole
    from buildbook.figures.balance import NoBalance, hole_of

    changes = [step.change for step in build.spins.steps if step.change and step.void is None]
    cuts = [change for change in changes if change.kind in {"drill", "plug"}]
    try:
        balance = figures.balance if cuts else None
    except NoBalance:
        return  # found by its own rule
    why = "A hole that cannot have been drilled so was written down wrong, and the prediction with it."
    for change in cuts:
        assert balance is not None
        rim = balance.plane(change.words["plane"]).radius
        try:
            hole = hole_of(change, rim, balance.density)
        except CannotCut as error:
            yield Finding("error", "cannot-cut", change.where, error.what, why, error.remedy)
            continue
        yield from _room(build, change, hole.tip_depth if isinstance(hole, RadialHole) else None, why)


def _room(build: Build, change: Change, tip: float | None, why: str) -> Iterator[Finding]:
    """A hole from the rim whose tip [mm] goes deeper than its counterweight allows; a hole or a plug along the
    crankshaft that is longer than the counterweight is thick."""
    place = float(change.numbers["angle"].worth("deg"))
    for window in build.spins.planes[change.words["plane"]].windows:
        start, end = float(window.start.worth("deg")), float(window.end.worth("deg"))
        if (place - start) % 360 > ((end - start) % 360 or 360):
            continue
        along_axis = change.words.get("along") == "axis" or (change.kind == "plug" and "along" not in change.words)
        length = change.numbers["length" if change.kind == "plug" else "depth"]
        most = window.width if along_axis else window.depth
        if most is None:
            continue
        if along_axis and length.worth("mm") > most.worth("mm"):
            what = f"the {_CUTS[change.kind]} is {length.written} long, and this counterweight is {most.written} thick"
            yield Finding("error", "too-long", change.where, what, why, "measure it again; a plug must not stand out")
        if not along_axis and (deepest := float(length.worth("mm")) if tip is None else tip) > float(most.worth("mm")):
            reach = " to its tip" if tip is not None else ""
            what = f"the {_CUTS[change.kind]} is {deepest:.4g} mm deep{reach}; this counterweight allows {most.written}"
            yield Finding("error", "too-deep", change.where, what, why, "measure it again; keep to the maker's limit")


_CUTS = {"drill": "hole", "plug": "plug"}


# As shares of the stroke. Wide: it is to find inches written as millimetres, or the other way round, and no more. (A
# bit that is too wide cannot cut, which has its own rule.)
_LIKELY = {"radius": (0.25, 4.0), "diameter": (0.015, inf)}
_UNIT_RADII = {Fraction("1"), Fraction("10"), Fraction("25.4")}  # [mm]: where a machine shows g·mm, g·cm or g·in


def sizes_are_in_their_own_unit(build: Build, figures: "Figures") -> Iterator[Finding]:
    """A radius or a bit in another unit than was meant: every gram would count for 25 times too little or too much."""
    stroke = build.engine.stroke
    if stroke is None or stroke.number <= 0:
        return
    sizes = [(f"the {name} plane's", "radius", plane.radius, plane.where) for name, plane in build.spins.planes.items()]
    for step in build.spins.steps:
        numbers, where = (step.change.numbers, step.change.where) if step.change else ({}, step.where)
        sizes += [(f"{step.id}'s", name, numbers.get(name), where) for name in _LIKELY if step.void is None]
    for whose, name, size, where in sizes:
        least, most = _LIKELY[name]
        share = float(size.worth("mm") / stroke.worth("mm")) if size else least
        if size is None or least <= share <= most or (name == "radius" and size.worth("mm") in _UNIT_RADII):
            continue
        for factor, unit in ((25.4, "in"), (1 / 25.4, "mm")):
            if unit != size.unit and least <= share * factor <= most:
                what = f"{whose} {name} is {size.written}, and the stroke is {stroke.written}"
                why = "In the wrong unit every gram counts for 25 times too little, or too much."
                remedy = f'if {unit} was meant, write it with its unit, "{size.digits} {unit}"'
                yield Finding("error", "unit-slip", where, what, why, remedy)


def readings_are_not_exchanged(build: Build, figures: "Figures") -> Iterator[Finding]:
    """A spin that misses its prediction, and would be four times nearer to it with its two readings exchanged."""
    from buildbook.figures.balance import NoBalance

    if sum(step.spin is not None and step.void is None for step in build.spins.steps) < 2:
        return
    try:
        balance = figures.balance
    except NoBalance:
        return  # found by its own rule
    scatter = 4 * (balance.repeatability or 0.0)  # [g·mm] twice √2·u for each of two components at two planes
    for spin in balance.spins:
        if spin.predicted is None or spin.missed_by is None:
            continue
        shown = balance.grams(spin.measured)
        other_way = balance.planes.unbalance(shown["rear"], shown["front"]) - spin.predicted
        missed, left = (hypot(abs(each.front), abs(each.rear)) for each in (spin.missed_by, other_way))
        if missed > max(scatter, 4 * left):
            what = f"{spin.step.id} is what was predicted, but for its front and rear readings changing places"
            why = "Metal would be taken from the wrong end of the crankshaft, and it does not go back."
            remedy = f"look at the machine again; if they were exchanged, void {spin.step.id} and take it down anew"
            yield Finding("warning", "exchanged", spin.step.where, what, why, remedy)


# By how many standard uncertainties of their difference two spins of one state must differ to be no scatter.
_NO_SCATTER = 6


def spins_of_one_state_agree(build: Build, figures: "Figures") -> Iterator[Finding]:
    """A spin with nothing changed before it that is far from the one it repeats, by what the machine is said to do."""
    from buildbook.figures.balance import PLANES, NoBalance

    try:
        balance = figures.balance if len(build.spins.steps) > 1 else None
        stated = balance.stated_repeatability if balance else None
    except NoBalance:
        return  # found by its own rule
    for before, spin in (pair for group in (balance.same_states() if balance else ()) for pair in pairwise(group)):
        apart = spin.measured - before.measured
        if balance and stated and max(abs(apart.front), abs(apart.rear)) > _NO_SCATTER * sqrt(2) * stated:
            grams = balance.grams(apart)
            said = " and ".join(f"{fixed(abs(grams[plane]), 1)} g {plane}" for plane in PLANES)
            what = f"{spin.step.id} repeats {before.step.id} with nothing changed, and differs from it by {said}"
            why = "Counted as the machine's scatter, it raises the floor until a bad crankshaft passes."
            remedy = "look for a slip of the point or the angle, and void the wrong one; else the machine wants a look"
            yield Finding("warning", "does-not-repeat", spin.step.where, what, why, remedy)


def grade_is_of_the_standard(build: Build, figures: "Figures") -> Iterator[Finding]:
    from buildbook.balance.tolerance import grade_value
    from buildbook.balance.unbalance import BalancingError

    if build.balance.grade is None:
        return
    try:
        grade_value(build.balance.grade)
    except BalancingError as error:
        why = "The permissible residual is worked out from it."
        where: Where = build.balance.where
        yield Finding("error", "grade", where, error.what, why, error.remedy)


RULES: tuple[Rule, ...] = (
    steps_are_one_thing_each,
    planes_are_known_and_apart,
    bobweights_are_set_before_the_first_spin,
    the_machine_says_how_it_counts,
    steps_speak_of_what_is_there,
    what_balances_it_is_on,
    numbers_are_on_their_scales,
    sizes_are_in_their_own_unit,
)

THOROUGH: tuple[Rule, ...] = (
    holes_can_be_cut,
    readings_are_not_exchanged,
    spins_of_one_state_agree,
    grade_is_of_the_standard,
)
