"""What no schema can see in the record of spins. `RULES` need only the records; `THOROUGH` work out every hole."""

from collections.abc import Callable, Iterable, Iterator
from typing import TYPE_CHECKING

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
            what = f"the {name} plane's radius is {plane.radius.text}: no weight there makes any unbalance"
            yield Finding("error", "plane", plane.where, what, why, "give the radius where the grams act")
    front, rear = record.planes["front"], record.planes["rear"]
    if front.position and rear.position and front.position.worth("mm") == rear.position.worth("mm"):
        what = f"both planes are at {rear.position.text}: planes at the same place cannot tell one end from the other"
        yield Finding("error", "plane", rear.where, what, why, "give each plane its own position along the crankshaft")


def bobweights_are_set_before_the_first_spin(build: Build, figures: "Figures") -> Iterator[Finding]:
    first = next((step for step in build.spins.steps if step.spin is not None and step.void is None), None)
    if first is None or not figures.has_layout or not figures.bobweights.wanted:
        return
    done = build.spins.bobweights
    why = "Without its bobweights, this crankshaft reads the weight of rods and pistons that are not there."
    if done is None or not done.set:
        remedy = "record them first: bobweights: {target: …, set: {1: …}, taken: …, by: …} in spins.yaml"
        yield Finding("error", "no-bobweights", first.where, f"{first.id} was spun with no bobweights set", why, remedy)
    elif done.taken and first.taken and done.taken.day > first.taken.day:
        what = f"{first.id} was spun on {first.taken.day}, before the bobweights were set ({done.taken.day})"
        yield Finding("error", "no-bobweights", first.where, what, why, "correct one of the dates, or void the spin")


def steps_speak_of_what_is_there(build: Build, figures: "Figures") -> Iterator[Finding]:
    pieces = {piece for part in build.parts for piece in part.pieces}
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
            what, why = f"{step.id} says {amount.text}", "What is less than nothing points the other way."
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
            what = f"the {_CUTS[change.kind]} is {length.text} long, and this counterweight is {most.text} thick"
            yield Finding("error", "too-long", change.where, what, why, "measure it again; a plug must not stand out")
        if not along_axis and (deepest := float(length.worth("mm")) if tip is None else tip) > float(most.worth("mm")):
            reach = " to its tip" if tip is not None else ""
            what = f"the {_CUTS[change.kind]} is {deepest:.4g} mm deep{reach}; this counterweight allows {most.text}"
            yield Finding("error", "too-deep", change.where, what, why, "measure it again; keep to the maker's limit")


_CUTS = {"drill": "hole", "plug": "plug"}


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
    steps_speak_of_what_is_there,
    numbers_are_on_their_scales,
)

THOROUGH: tuple[Rule, ...] = (holes_can_be_cut, grade_is_of_the_standard)
