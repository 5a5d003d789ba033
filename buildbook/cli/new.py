"""`new`: begin a book, an engine or a build."""

import os
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.balance.layouts import KNOWN
from buildbook.book.places import Misuse, builds, engines, resolve, shown
from buildbook.cli.common import (
    AsJson,
    BookPath,
    By,
    complete_builds,
    finish,
    keep,
    new_app,
    open_book,
    person,
    the_shop,
    tidy_up,
)
from buildbook.cli.completing import complete_engines
from buildbook.records.finding import did_you_mean

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console

    from buildbook.records.model import Shop

app = new_app()


@app.callback(epilog="Example: buildbook new engine heron-07 --layout v8_90_cross_plane")
def new() -> None:
    """Begin a book, an engine or a build: commented files that say what belongs in them."""


@app.command(epilog="Example: buildbook new book ~/book --shop 'Harbour engines' --person ava")
def book(
    path: Annotated[
        Path,
        typer.Argument(metavar="PATH", help="The folder to make; it becomes a git repository.", show_default=False),
    ],
    shop: Annotated[str, typer.Option("--shop", metavar="NAME", help="The shop's name.")] = "Our shop",
    person_id: Annotated[
        str | None,
        typer.Option(
            "--person", metavar="ID", help="A short id for you, as it stands in every record.", show_default=False
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Begin a book: one git repository for a whole shop.

    It gets a hook of git's (.git/hooks/pre-commit) that has buildbook check what is staged, and that keeps a commit
    made by hand from bringing an error into the book. A hook that is there already is left alone.
    """
    from buildbook.book import git
    from buildbook.book.beginning import begin_book, install_hook

    root, who = path.absolute(), person_id or _login()
    written = begin_book(root, shop, who, who.capitalize())
    try:
        git.begin(root)
        said = keep(root, written, "Begin the book", the_shop(root), who)
        said.append(install_hook(root))
    except git.NotKept as reason:
        said = [f"not kept in git's history: {reason}"]
    said.append(f"next: name your people and instruments in {shown(path / 'shop.yaml')}")
    said.append(f"then: cd {shown(path)} && buildbook new engine NAME --layout v8_90_cross_plane")
    _finish(None, written, said, as_json)


def _login() -> str:
    name = "".join(mark for mark in os.environ.get("USER", "").lower() if mark.isalnum() and mark.isascii())
    return name or "me"


def complete_layouts(incomplete: str) -> list[str]:
    return [name for name in KNOWN if name.startswith(incomplete)]


@app.command(epilog="Example: buildbook new engine heron-07 --layout v8_90_cross_plane")
def engine(
    name: Annotated[str, typer.Argument(metavar="NAME", help="Small letters, digits and dashes.", show_default=False)],
    layout: Annotated[
        str,
        typer.Option(
            "--layout",
            metavar="LAYOUT",
            help=f"A known layout: {', '.join(KNOWN)}; or v2_ANGLE_common_pin.",
            autocompletion=complete_layouts,
            show_default=False,
        ),
    ],
    by: By = None,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:  # fmt: skip
    """Begin an engine: a folder for life, for all its builds."""
    from buildbook.balance.layouts import LayoutError, known_layout
    from buildbook.book.beginning import begin_engine

    root = open_book(book)
    try:
        known_layout(layout)
    except LayoutError as error:
        raise Misuse(
            str(error), "an unusual engine is spelled out by hand in engine.yaml; begin it with the nearest"
        ) from None
    shop = the_shop(root)
    who = _who(shop, by)
    tidy_up(root, root / "engines")
    written = begin_engine(root, name, layout)
    said = keep(root, written, f"Begin engine {name}", shop, who)
    said.append(f"next: buildbook new build {name}/{date.today():%Y-%m}-first")
    _finish(None, written, said, as_json)


Opened = Annotated[
    str | None,
    typer.Option("--opened", metavar="DATE", help="The day it was opened, if not today.", show_default=False),
]


@app.command(epilog="Example: buildbook new build heron-07/2026-10-rebuild --follows 2025-06-first")
def build(
    name: Annotated[
        str,
        typer.Argument(
            metavar="ENGINE/BUILD", help="As in heron-07/2026-10-rebuild.", autocompletion=complete_engines,
            show_default=False,
        ),
    ],
    follows: Annotated[
        str | None,
        typer.Option(
            "--follows",
            metavar="BUILD",
            autocompletion=complete_builds,
            help="The build before: its parts, limits, choices and balancing planes are where this one starts.",
            show_default=False,
        ),
    ] = None,
    opened: Opened = None,
    by: By = None,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:  # fmt: skip
    """Begin a build: a file for all that will be recorded."""
    from buildbook.book.beginning import begin_build

    root = open_book(book)
    engine, _, build = name.partition("/")
    if not build:
        raise Misuse(f"'{name}' names no build", f"name it like {name or 'heron-07'}/{date.today():%Y-%m}-first")
    if engine not in engines(root):
        remedy = did_you_mean(engine, engines(root), f"begin it: buildbook new engine {engine} --layout LAYOUT")
        raise Misuse(f"there is no engine named '{engine}' in this book", remedy)
    if follows is not None:
        follows = resolve(root, follows if "/" in follows else f"{engine}/{follows}", Path.cwd())
        if follows.partition("/")[0] != engine:
            raise Misuse(
                f"{follows} is a build of another engine", f"builds of {engine}: {', '.join(builds(root, engine))}"
            )
        follows = follows.partition("/")[2]
    shop = the_shop(root)
    who = _who(shop, by)
    tidy_up(root, root / "engines" / engine)
    written = begin_build(root, name, _day(opened), who or next(iter(shop.people), "me"), follows)
    said = keep(root, written, f"Begin build {name}\n\nBuild: {name}", shop, who)
    listing = "say in parts.yaml what is another piece or new" if follows else "list the pieces in parts.yaml"
    said.append(f"next: {listing}; 'buildbook next' says what is left to do")
    _finish(name, written, said, as_json)


def _day(text: str | None) -> str:
    """A day as typed, today if none was. Raises Misuse."""
    try:
        return f"{date.fromisoformat(text) if text else date.today():%Y-%m-%d}"
    except ValueError:
        raise Misuse(f"'{str(text)[:20]}' is no date", "write it like 2026-10-01") from None


def _who(shop: "Shop", by: str | None) -> str | None:
    """The id of whoever does it; beginning something is no measurement, so nobody need be named."""
    return person(shop, by) if by is not None or len(shop.people) == 1 else None


def _finish(build: str | None, written: "Sequence[Path]", said: list[str], as_json: bool) -> None:
    def draw(to: "Console") -> None:
        from buildbook.views.screen import BOLD, line, words

        for path in written:
            if path.suffix == ".yaml":
                to.print(line(("written  ", BOLD), shown(path)), soft_wrap=True)
        for each in said:
            to.print(words(each))

    finish(build, lambda: {"written": [shown(path) for path in written]}, (), draw, as_json=as_json)
