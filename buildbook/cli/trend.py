"""`trend`: a figure through the builds of an engine or of a family."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import Misuse
from buildbook.cli.common import AsJson, BookPath, command, complete_builds, finish, new_app, open_book, the_shop
from buildbook.records.finding import did_you_mean, nearest

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.book.library import Library
    from buildbook.figures.trend import Point

app = new_app()


def complete_figures(incomplete: str) -> list[str]:
    from buildbook.figures.query import KINDS

    return [kind for kind in KINDS if kind.startswith(incomplete)]


Figure = Annotated[
    str,
    typer.Argument(
        metavar="FIGURE", help="A figure such as cylinder_bore.5 or residual.front, or a kind of them: main_clearance.",
        autocompletion=complete_figures, show_default=False,
    ),
]  # fmt: skip
Engine = Annotated[
    str | None,
    typer.Argument(
        metavar="[ENGINE]", help="The engine; else the one whose folder you are in.", autocompletion=complete_builds,
        show_default=False,
    ),
]  # fmt: skip
Family = Annotated[
    str | None,
    typer.Option("--family", metavar="NAME", help="All engines of a family, as engine.yaml names it.",
                 show_default=False),
]  # fmt: skip


@command(app, "buildbook trend main_clearance heron-07")
def trend(
    figure: Figure, engine: Engine = None, family: Family = None, book: BookPath = None, as_json: AsJson = False
) -> None:
    """Follow a figure through the builds of an engine, or of all engines of a family, in the order they were opened.

    Each build shows the value with its uncertainty (k = 2), and how it differs from the build before: up or down where
    that is more than the uncertainty of the difference, 'cannot tell' where it may be measurement alone. A kind with
    several places shows the least, the mean and the most of them; what the last spin left is followed at each plane by
    itself. A size such as cylinder_bore.5 is the mean of what was measured there, at 20 °C.
    """
    from buildbook.book.library import Library
    from buildbook.figures.query import KINDS, UnknownKind, read_name
    from buildbook.figures.trend import followed, point
    from buildbook.views.progress import progress

    root = open_book(book)
    if engine is not None and family is not None:
        raise Misuse("an engine and a family are both named", "name one of them")
    try:
        kind, place = read_name(figure)
    except UnknownKind as error:
        near = nearest(error.kind, KINDS)
        raise Misuse(error.what, f"did you mean {near}?" if near else f"use one of {', '.join(KINDS)}") from None
    library = Library(root)
    shop = the_shop(root)
    names = _of_family(library, family) if family is not None else _of_engine(library, engine)
    builds = {}
    with progress("working out", len(names)) as step:
        for name in names:
            builds[name] = library.work_out(name, {kind})
            step()
    findings = [finding for each in builds.values() for finding in (*each.against, *each.doubts)]
    unreadable = [name for name, each in builds.items() if each.against]
    seen = {each.name for build in builds.values() for each in build.named.values() if each.kind == kind}
    trends: dict[str, dict[str, Point | None]] = {}
    for each in followed(kind, place, seen):
        of = each.partition(".")[2]
        trends[each] = {name: point(was.named.values(), was.limits, kind, of) for name, was in builds.items()}
    opened = {name: library.opened(name) for name in names}
    asked = f"{kind}.{place}" if place else kind
    if place and seen and asked not in seen:
        remedy = did_you_mean(asked, sorted(seen), f"use one of {', '.join(sorted(seen)[:12])}")
        raise Misuse(f"no build here has a figure named '{asked[:60]}'", remedy)

    def draw(to: "Console") -> None:
        from buildbook.views.trend import draw_trend

        of = f"family {family}" if family is not None else names[0].partition("/")[0]
        draw_trend(to, asked, of, trends, opened, unreadable, shop, whole_names=family is not None)

    def as_figures() -> dict[str, object]:
        from buildbook.views.trend_json import trend

        return {"trend": trend(asked, KINDS[kind], trends, opened)}

    finish(None, as_figures, tuple(dict.fromkeys(findings)), draw, as_json=as_json)


def _of_engine(library: "Library", engine: str | None) -> list[str]:
    """All builds of an engine, in the order in which they were opened. Raises Misuse."""
    here = Path.cwd()
    if engine is None and library.book / "engines" not in here.parents and len(library.engines) > 1:
        known = ", ".join(library.engines[:12]) + (", …" if len(library.engines) > 12 else "")
        raise Misuse("which engine is meant is not said", f"name one: {known}; or a family with --family")
    return library.builds(library.meant(engine, here).engine)


def _of_family(library: "Library", family: str) -> list[str]:
    """The builds of all engines of a family, in the order in which they were opened. Raises Misuse."""
    engines, families = library.family(family)
    if not engines:
        otherwise = f"use one of {', '.join(families)}" if families else "write 'family: NAME' into engine.yaml"
        raise Misuse(f"no engine is of a family '{family[:40]}'", did_you_mean(family, families, otherwise))
    names = [name for engine in engines for name in library.builds(engine)]
    if not names:
        raise Misuse(f"no engine of the family {family} has a build yet", "begin one with 'buildbook new build'")
    return sorted(names, key=lambda name: (library.opened(name) or "", name))
