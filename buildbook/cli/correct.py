"""`correct`: record what was really done to what spins."""

import re
from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import Misuse
from buildbook.cli.common import AsJson, BookPath, BuildOption, By, Note, new_app, read_angle, read_option
from buildbook.cli.completing import complete_removable, complete_turning
from buildbook.cli.steps import record_step
from buildbook.records.finding import did_you_mean

if TYPE_CHECKING:
    from buildbook.book.writing import Value
    from buildbook.records import model

app = new_app()

Place = Annotated[
    str, typer.Argument(metavar="PLANE@DEG", help="Where, such as rear@48, as the machine counts.", show_default=False)
]
Diameter = Annotated[str, typer.Option("--diameter", metavar="MM", help="Of the bit or the plug.", show_default=False)]
Depth = Annotated[
    str, typer.Option("--depth", metavar="MM", help="At full diameter, from the rim, on the axis.", show_default=False)
]
DepthTo = Annotated[
    str | None,
    typer.Option("--depth-to", metavar="WHERE", help="tip, if the depth was read to the tip.", show_default=False),
]
Point = Annotated[
    str | None, typer.Option("--point", metavar="DEG", help="Of the drill; 118 if left out.", show_default=False)
]
PlugPoint = Annotated[
    str | None,
    typer.Option(
        "--point", metavar="DEG", help="Of the drill, if the cone below the plug stays empty.", show_default=False
    ),
]
Radius = Annotated[
    str | None, typer.Option("--radius", metavar="MM", help="If not the plane's own.", show_default=False)
]
Position = Annotated[
    str | None,
    typer.Option("--position", metavar="MM", help="Along the crankshaft, if not the plane's.", show_default=False),
]
Along = Annotated[
    str | None, typer.Option("--along", metavar="WAY", help="radius or axis: which way it runs.", show_default=False)
]
Density = Annotated[
    str | None, typer.Option("--density", metavar="G/CM3", help="Of the metal; else the usual.", show_default=False)
]
Length = Annotated[str, typer.Option("--length", metavar="MM", help="Of the plug.", show_default=False)]
Amount = Annotated[str, typer.Option("--amount", metavar="G", help="Its weight.", show_default=False)]
MaybeAmount = Annotated[
    str | None, typer.Option("--amount", metavar="G", help="Its weight, if it was weighed.", show_default=False)
]
Part = Annotated[
    str,
    typer.Argument(
        metavar="PART", help="The id of the part, such as D1.", autocompletion=complete_turning, show_default=False
    ),
]


@app.callback(epilog="Example: buildbook correct drill rear@48 --diameter 22 --depth 19")
def correct() -> None:
    """Record a correction: drill, plug, grind, add, fit, remove or index."""


@app.command(epilog="Example: buildbook correct drill rear@48 --diameter 22 --depth 19 --point 118")
def drill(
    place: Place,
    diameter: Diameter,
    depth: Depth,
    depth_to: DepthTo = None,
    point: Point = None,
    radius: Radius = None,
    position: Position = None,
    along: Along = None,
    density: Density = None,
    build: BuildOption = None,
    by: By = None,
    note: Note = None,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """A hole drilled to take weight away.

    Lengths are in mm, or carry their own unit, as in 0.875in.
    """
    change = _place(place) | _lengths(diameter=diameter, depth=depth)
    change |= _words("--depth-to", "depth_to", depth_to, ("tip", "shoulder"))
    change |= {"point": read_option(point, "angle", "deg", "--point")} if point else {}
    change |= _lengths(radius=radius, position=position) | _words("--along", "along", along, ("radius", "axis"))
    record_step(build, book, by, lambda before: {"drill": change | _density(density)}, as_json, note)


@app.command(epilog="Example: buildbook correct plug front@30 --radius 74 --diameter 19 --length 22 --density 17")
def plug(
    place: Place,
    diameter: Diameter,
    length: Length,
    point: PlugPoint = None,
    radius: Radius = None,
    position: Position = None,
    along: Along = None,
    density: Density = None,
    build: BuildOption = None,
    by: By = None,
    note: Note = None,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """Heavy metal set into a hole: along the axis, retained.

    Lengths are in mm, or carry their own unit, as in 0.75in.
    """
    change = _place(place) | _lengths(radius=radius, position=position)
    change |= _words("--along", "along", along or "axis", ("radius", "axis"))
    change |= _lengths(diameter=diameter, length=length) | _density(density)
    change |= {"point": read_option(point, "angle", "deg", "--point")} if point else {}
    record_step(build, book, by, lambda before: {"plug": change}, as_json, note)


@app.command(epilog="Example: buildbook correct grind rear@51 --amount 1.2")
def grind(
    place: Place,
    amount: MaybeAmount = None,
    radius: Radius = None,
    position: Position = None,
    build: BuildOption = None,
    by: By = None,
    note: Note = None,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """Metal ground away, weighed or not."""
    change = _place(place) | _amount(amount) | _lengths(radius=radius, position=position)
    record_step(build, book, by, lambda before: {"grind": change}, as_json, note)


@app.command(epilog="Example: buildbook correct add rear@90 --amount 30.0 --radius 91")
def add(
    place: Place,
    amount: Amount,
    radius: Radius = None,
    position: Position = None,
    build: BuildOption = None,
    by: By = None,
    note: Note = None,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """A weight added: a test mass, a bolt, a weld."""
    change = _place(place) | _amount(amount) | _lengths(radius=radius, position=position)
    record_step(build, book, by, lambda before: {"add": change}, as_json, note)


@app.command(epilog="Example: buildbook correct fit D1")
def fit(
    part: Part,
    build: BuildOption = None,
    by: By = None,
    note: Note = None,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """A part bolted on, to be proved by the next spin."""
    record_step(build, book, by, lambda before: {"fit": {"part": part}}, as_json, note)


@app.command(epilog="Example: buildbook correct remove S2")
def remove(
    what: Annotated[
        str,
        typer.Argument(
            metavar="PART|STEP",
            help="A part, or the step of a weight.",
            autocompletion=complete_removable,
            show_default=False,
        ),
    ],
    build: BuildOption = None,
    by: By = None,
    note: Note = None,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """A part, or a weight added before, taken off again."""

    def step(before: "model.Build") -> "dict[str, Value]":
        steps = [each.id for each in before.spins.steps if each.id is not None]
        pieces = [stamped.id for part in before.parts for stamped in part.ids]
        if what not in steps and pieces and what not in pieces:
            added = [each.id or "" for each in before.spins.steps if each.change and each.change.kind == "add"]
            remedy = did_you_mean(what, [*added, *pieces], "name a part of parts.yaml, or the step that added a weight")
            raise Misuse(f"there is no part and no step '{what[:40]}'", remedy)
        return {"remove": {"step" if what in steps else "part": what}}

    record_step(build, book, by, step, as_json, note)


@app.command(epilog="Example: buildbook correct index F1 --angle 180")
def index(
    part: Part,
    angle: Annotated[str, typer.Option("--angle", metavar="DEG", help="How far it was turned.", show_default=False)],
    build: BuildOption = None,
    by: By = None,
    note: Note = None,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """A part turned on its seat, to tell its own unbalance."""
    change: dict[str, Value] = {"part": part, "angle": read_angle(angle, "--angle")}
    record_step(build, book, by, lambda before: {"index": change}, as_json, note)


def _place(text: str) -> "dict[str, Value]":
    """`rear@48` as plane and angle. Raises Misuse."""
    plane, *angle = re.split(r"\s*@\s*", text.strip())
    if len(angle) != 1 or not plane:
        raise Misuse(f"'{text[:40]}' does not say plane and angle", "write both, such as rear@48")
    if plane not in {"front", "rear"}:
        raise Misuse(f"there is no plane named '{plane[:20]}'", "the planes are front and rear")
    return {"plane": plane, "angle": read_angle(angle[0], "the angle")}


def _lengths(**given: str | None) -> "dict[str, Value]":
    return {name: read_option(text, "length", "mm", f"--{name}") for name, text in given.items() if text is not None}


def _amount(text: str | None) -> "dict[str, Value]":
    return {"amount": read_option(text, "mass", "g", "--amount")} if text is not None else {}


def _density(text: str | None) -> "dict[str, Value]":
    """A density always carries its unit: the file need not state one."""
    if text is None:
        return {}
    quantity = read_option(text, "density", "g/cm3", "--density")
    return {"density": read_option(f"{quantity.number} {quantity.unit}", "density", "g/cm3", "--density")}


def _words(option: str, name: str, text: str | None, allowed: tuple[str, ...]) -> "dict[str, Value]":
    if text is not None and text not in allowed:
        raise Misuse(f"{option} {text[:20]} is not known", f"use {' or '.join(allowed)}")
    return {name: text} if text is not None else {}
