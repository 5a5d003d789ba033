"""`spin`: record what the machine showed."""

import re
import sys
from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import Misuse
from buildbook.cli.common import (
    AsJson,
    BookPath,
    BuildName,
    By,
    Note,
    command,
    complete_machines,
    new_app,
    read_angle,
    read_option,
)
from buildbook.cli.completing import complete_turning
from buildbook.cli.steps import machine, record_step

if TYPE_CHECKING:
    from buildbook.book.writing import Value
    from buildbook.records.model import Build

app = new_app()

Front = Annotated[
    str | None,
    typer.Option("--front", metavar="G@DEG", help="The front reading, amount@angle as shown.", show_default=False),
]
Rear = Annotated[
    str | None, typer.Option("--rear", metavar="G@DEG", help="The rear reading, the same way.", show_default=False)
]
Speed = Annotated[
    str | None, typer.Option("--speed", metavar="RPM", help="The speed it was spun at.", show_default=False)
]
Carrying = Annotated[
    list[str] | None,
    typer.Option(
        "--carrying",
        metavar="PART",
        help="A part bolted on, such as F1; again for another. If left out: as in the spin before, with what was "
        "fitted and without what was removed since.",
        autocompletion=complete_turning,
        show_default=False,
    ),
]
With = Annotated[
    str | None,
    typer.Option(
        "--with",
        metavar="MACHINE",
        help="The balancing machine, if the shop has several.",
        autocompletion=complete_machines,
        show_default=False,
    ),
]


@command(app, "buildbook spin heron-07 --front 9.2@212 --rear 64@48 --speed 700 --carrying F1")
def spin(
    build: BuildName = None,
    front: Front = None,
    rear: Rear = None,
    speed: Speed = None,
    carrying: Carrying = None,
    with_: With = None,
    by: By = None,
    note: Note = None,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """Record a spin of the crankshaft, and say where it stands. A reading that is missing is asked for.

    Readings are taken down as the machine shows them: the way it counts stands in spins.yaml under 'angles', and is
    honoured everywhere.
    """
    readings: dict[str, Value] = {"front": _reading("front", front), "rear": _reading("rear", rear)}
    turning: dict[str, Value] = {"speed": read_option(speed, "speed", "rpm", "--speed")} if speed else {}

    def step(before: "Build") -> "dict[str, Value]":
        carried = carrying if carrying is not None else _carried(before)
        on_it: dict[str, Value] = {"carrying": carried} if carried else {}
        return {"with": machine(before, with_), "spin": turning | on_it | readings}

    record_step(build, book, by, step, as_json, note)


def _carried(before: "Build") -> list[str]:
    """The parts of the spin before, with those fitted and without those removed since."""
    carried: list[str] = []
    for each in before.spins.steps:
        if each.void is not None:
            continue
        if each.spin is not None:
            carried = list(each.spin.carrying)
        part = each.change.words.get("part") if each.change is not None else None
        if each.change is not None and part is not None and each.change.kind in {"fit", "remove"}:
            carried = [other for other in carried if other != part]
            if each.change.kind == "fit":
                carried.append(part)
    return carried


def _reading(plane: str, given: str | None) -> "dict[str, Value]":
    """A reading as typed, `9.2@212`. Raises Misuse."""
    if given is None:
        if not sys.stdin.isatty():
            raise Misuse(f"there is no {plane} reading", f"add --{plane} AMOUNT@ANGLE, such as --{plane} 9.2@212")
        given = str(typer.prompt(f"{plane} reading, amount@angle"))
    parts = re.split(r"\s*@\s*", given.strip())
    if len(parts) != 2 or not all(parts):
        raise Misuse(f"'{given[:40]}' is no reading with an amount and an angle", "write both, such as 9.2@212")
    amount = read_option(parts[0], "mass", "g", f"--{plane}")
    return {"amount": amount, "angle": read_angle(parts[1], f"--{plane}")}
