"""`trial`: balance with a vibration pickup and a strobe only."""

import re
from math import floor, log10
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import Misuse, shown
from buildbook.cli.common import (
    AsJson,
    BookPath,
    By,
    command,
    finish,
    keep,
    new_app,
    open_book,
    person,
    read_angle,
    the_shop,
    this_minute,
)
from buildbook.quantities import Quantity, QuantityError, fixed, read_number
from buildbook.records.finding import did_you_mean

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.balance.influence import Coefficients
    from buildbook.book.writing import Value
    from buildbook.figures.trial import Reading, TrialFigures
    from buildbook.records.tree import MapNode

app = new_app()

First = Annotated[
    str,
    typer.Option(
        "--first", metavar="READINGS", help='The run as it is, a reading for each pickup and speed: "8.5@60 6.5@205".',
        show_default=False,
    ),
]  # fmt: skip
Trials = Annotated[
    list[str] | None,
    typer.Option(
        "--trial", metavar="PLANE WEIGHT: READINGS", show_default=False,
        help='A run with a trial weight on: "front 10@270: 6.0@125 4.5@230". Once for each plane.',
    ),
]  # fmt: skip
Keep = Annotated[
    str | None,
    typer.Option(
        "--keep", metavar="NAME", help="Keep the coefficients in shop.yaml under this name.", show_default=False
    ),
]
Use = Annotated[
    str | None, typer.Option("--use", metavar="NAME", help="Use coefficients kept before.", show_default=False)
]


@command(
    app,
    'buildbook trial --first "8.5@60 6.5@205" --trial "left 10@270: 6.0@125 4.5@230" '
    '--trial "right 12@180: 6.0@35 10.5@160"',
)
def trial(
    first: First,
    trials: Trials = None,
    keep_as: Keep = None,
    use: Use = None,
    by: By = None,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """Work out correction weights from trial runs, for shops with a pickup and a strobe only.

    The method of influence coefficients: one run as it is, and one with a trial weight on for each plane, the trial
    weight taken off again. Any number of pickups and speeds may be read; the more, the better the answer.
    """
    from buildbook.balance.unbalance import BalancingError
    from buildbook.figures.trial import trial_figures

    if (use is None) == (not trials):
        raise Misuse("the trial runs are not given, or given twice over", "give --trial for each plane, or --use NAME")
    read = [_trial(text) for text in trials or []]
    runs = dict(read)
    if len(runs) < len(read):
        raise Misuse("two trial runs are of the same plane", "give one --trial for each plane, with its own name")
    root = open_book(book) if keep_as or use else None
    kept = _kept(root, use) if root and use else None
    try:
        figures = trial_figures(_readings(first), runs, kept)
    except BalancingError as error:
        raise Misuse(error.what, error.remedy) from None
    said = _keep(root, keep_as, figures, by) if root and keep_as else []

    def draw(to: "Console") -> None:
        from buildbook.views.screen import words
        from buildbook.views.trial import draw_trial

        draw_trial(to, figures)
        for each in said:
            to.print(words(each))

    def as_figures() -> dict[str, object]:
        from buildbook.views import trial

        return {"trial": trial.as_json(figures)}

    finish(None, as_figures, (), draw, as_json=as_json)


def _readings(text: str) -> "list[Reading]":
    """Readings as typed, `8.5@60 6.5@205`. Raises Misuse."""
    return [_reading(each) for each in re.split(r"[\s,;]+", text.strip())]


def _reading(text: str) -> "Reading":
    amount, _, angle = text.partition("@")
    if not amount or not angle:
        what = f"'{text[:40]}' is no reading with an amount and an angle"
        raise Misuse(what, "write both, such as 8.5@60, with a decimal point")
    try:
        return float(read_number(amount)), float(read_angle(angle, text).worth("deg"))
    except QuantityError as error:
        raise Misuse(f"'{text[:40]}': {error.what}", error.remedy) from None


def _trial(text: str) -> "tuple[str, tuple[Reading, list[Reading]]]":
    """A trial run as typed, `front 10@270: 6.0@125 4.5@230`. Raises Misuse."""
    told = re.fullmatch(r"\s*([A-Za-z][\w-]*)\s+(\S+)\s*:\s*(.+)", text)
    if told is None:
        remedy = 'write plane, trial weight and readings: "front 10@270: 6.0@125 4.5@230"'
        raise Misuse(f"'{text[:60]}' is no trial run", remedy)
    return told[1], (_reading(told[2]), _readings(told[3]))


def _kept(book: Path, name: str) -> "Coefficients":
    """The coefficients that shop.yaml keeps under this name; of several, the last. Raises Misuse."""
    from buildbook.figures.trial import vector

    kept = {each.id: each for each in the_shop(book).coefficients}
    if name not in kept:
        remedy = did_you_mean(name, kept, f"kept are: {', '.join(kept) or 'none yet'}")
        raise Misuse(f"no coefficients are kept under '{name[:40]}'", remedy)
    return {
        plane: {number: vector((float(amount), float(angle))) for number, (amount, angle) in column.items()}
        for plane, column in kept[name].planes.items()
    }


def _keep(book: Path, name: str, figures: "TrialFigures", by: str | None) -> list[str]:
    """Add the coefficients to shop.yaml, with six significant digits."""
    from buildbook.book.writing import edit, with_record
    from buildbook.figures.trial import reading

    shop = the_shop(book)
    who = person(shop, by)
    if any(each.id == name for each in shop.coefficients):
        raise Misuse(f"coefficients are kept under '{name}' already", "choose another name, such as one with the year")
    planes: dict[str, Value] = {}
    for plane, column in figures.coefficients.items():
        answers: dict[str, Value] = {}
        for number, value in column.items():
            amount, angle = reading(value)
            answers[number] = {"amount": _plain(_six_digits(amount)), "angle": _plain(fixed(angle, 3))}
        planes[plane] = answers
    taken = this_minute()
    record: dict[str, Value] = {"id": name, "taken": taken, "by": who, "planes": planes}

    def append(text: str, tree: "MapNode") -> str:
        return with_record(text, tree, "coefficients", record)

    path = book / "shop.yaml"
    edit(book, "shop", path, append)
    return [f"kept as {name}, in {shown(path)}", *keep(book, [path], f"Keep influence coefficients {name}", shop, who)]


def _six_digits(amount: float) -> str:
    return fixed(amount, max(0, 5 - floor(log10(amount))) if amount else 0)


def _plain(text: str) -> Quantity:
    return Quantity(read_number(text), "deg", text)
