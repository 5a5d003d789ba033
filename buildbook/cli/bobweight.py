"""`bobweight`: what to hang on each throw."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import Misuse, resolve
from buildbook.cli.common import (
    AsJson,
    BookPath,
    BuildName,
    By,
    add_record,
    command,
    complete_scales,
    in_units_of,
    keep,
    new_app,
    no_unit_is_guessed,
    open_book,
    person,
    read_option,
    refusing,
    show_build,
    this_minute,
)
from buildbook.quantities import Quantity, fixed
from buildbook.records.finding import Finding

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.book.writing import Value
    from buildbook.figures import Figures
    from buildbook.figures.crankpins import ByThrow as Compared
    from buildbook.records.tree import MapNode

app = new_app()


AsSet = Annotated[
    str | None,
    typer.Option(
        "--set",
        metavar="THROW=G,…",
        help="Record what the bobweights were set to, such as 1=2180.4,2=2180.3.",
        show_default=False,
    ),
]
ByThrow = Annotated[
    bool,
    typer.Option(
        "--by-throw", help="Say whether bobweights of each throw's own would be worth it.", show_default=False
    ),
]
Scale = Annotated[
    str | None,
    typer.Option(
        "--with",
        metavar="SCALE",
        help="The scale they were set on, an id from shop.yaml.",
        autocompletion=complete_scales,
        show_default=False,
    ),
]


@command(app, "buildbook bobweight heron-07/2026-10-rebuild")
def bobweight(
    build: BuildName = None,
    as_set: AsSet = None,
    with_: Scale = None,
    by: By = None,
    by_throw: ByThrow = False,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """Work out the bobweight of each throw, line by line, and hold what was set against it.

    A bobweight is what goes round with the crankpin, plus a share (the factor) of what goes up and down, plus an
    allowance for oil. Factor and oil are choices of the build. It is made in two halves. With --by-throw, what one
    bobweight for all throws leaves on the crankshaft stands beside what bobweights of each throw's own would leave.
    """
    compared: list[Compared] = []

    def draw(to: "Console", figures: "Figures") -> None:
        from buildbook.views.bobweight import draw_bobweights

        draw_bobweights(to, figures)
        if compared:
            from buildbook.views.place import draw_by_throw, draw_unknown

            to.print()
            draw_by_throw(to, figures, compared[0], "as matched")
            draw_unknown(to, compared[0])

    def as_figures(figures: "Figures") -> dict[str, object]:
        from buildbook.views.as_json import bobweights

        result: dict[str, object] = {"bobweights": bobweights(figures)}
        if compared:
            from buildbook.views.place_json import by_throw

            result["by_throw"] = by_throw(figures, compared[0])
        return result

    def find(figures: "Figures") -> list[Finding]:
        if not by_throw:
            return _what_is_missing(figures)
        from buildbook.cli.place import worked_out
        from buildbook.figures.crankpins import by_throw as compare

        found, findings = worked_out(figures, lambda: compare(figures))
        compared.extend([found] if found is not None else [])
        return findings or _what_is_missing(figures)

    if as_set is not None:
        from buildbook.book.writing import lock

        root = open_book(book)
        with lock(root):
            _record(root, build, as_set, with_, by)
    show_build(build, book, as_json, as_figures, draw, find, needs_layout=True)


def _record(book: Path, name: str | None, as_set: str, scale: str | None, by: str | None) -> None:
    """Write the bobweights as set into spins.yaml, beside the target of today. Raises Misuse."""
    from buildbook.book.reading import Reader
    from buildbook.book.writing import with_field
    from buildbook.figures import work_out

    build = Reader(book).load(resolve(book, name, Path.cwd())).build
    if build is None:
        return  # the findings follow
    who = person(build.shop, by)
    scales = [known for known, each in build.shop.instruments.items() if each.weighs]
    if scale not in scales:
        remedy = f"add --with SCALE (shop.yaml has: {', '.join(scales) or 'none yet'})"
        raise Misuse("which scale the bobweights were set on is not said", remedy)
    figures = work_out(build)
    aim = figures.bobweights.target if figures.has_layout else None
    record: dict[str, Value] = {"target": _grams(fixed(aim.total, 1))} if aim else {}
    throws = [_as_set(each) for each in as_set.split(",")]
    record["set"] = dict(throws)
    if len(dict(throws)) < len(throws):
        raise Misuse(f"'{as_set[:60]}' sets one throw twice", "write each throw once, with what the scale showed")
    for throw, weight in throws:
        off = abs(weight.worth("g") - aim.total) if aim else 0
        if aim and off > aim.total / 20:
            remedy = f"the target is {fixed(aim.total, 1)} g: look for a lost point, or for the weight of a half"
            raise Misuse(f"{weight.text} on throw {throw} is {fixed(off, 1)} g off", remedy)
    record |= {"taken": this_minute(), "by": who, "with": scale}

    def append(text: str, tree: "MapNode") -> str:
        no_unit_is_guessed(tree, dict(throws))
        return with_field(text, tree, "bobweights", in_units_of(tree, record))

    with refusing():
        path = add_record(book, figures, "spins", append)
    message = f"Set the bobweights of {build.name}\n\nBuild: {build.name}\nRecord: bobweights"
    for said in keep(book, [path], message, build.shop, who):
        if said != "kept in git":
            typer.echo(said, err=True)


def _as_set(text: str) -> tuple[str, Quantity]:
    throw, _, weight = text.strip().partition("=")
    if not throw or not weight:
        raise Misuse(f"'{text[:40]}' is no throw with its weight", "write it like 1=2180.4,2=2180.3")
    return throw.strip(), _grams(weight.strip())


def _grams(text: str) -> Quantity:
    return read_option(text, "mass", "g", "--set")


def _what_is_missing(figures: "Figures") -> list[Finding]:
    """For a crankshaft that wants bobweights, what keeps them from being worked out."""
    worked_out = figures.bobweights
    if not worked_out.wanted or not worked_out.missing:
        return []
    what = f"no bobweight yet: {'; '.join(worked_out.missing)}"
    why = "A bobweight with a part left out is too light, and looks right."
    remedy = "weigh it (weighings.yaml), or choose it (build.yaml)"
    return [Finding("warning", "missing", figures.build.files["weighings"], what, why, remedy)]
