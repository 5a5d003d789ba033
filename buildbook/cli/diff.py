"""`diff`: two builds, or two states of one, by what they mean."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple

import typer

from buildbook.book.places import Misuse, builds, resolve
from buildbook.cli.common import AsJson, BookPath, command, finish, new_app, open_book
from buildbook.cli.completing import complete_moments

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.book.reading import Loaded
    from buildbook.figures.change import Side
    from buildbook.records.model import Build

app = new_app()

First = Annotated[
    str | None,
    typer.Argument(
        metavar="[A]",
        help="The one before: engine/build, or an engine for its newest build; add @MOMENT for it as it was on a day, "
        "in a month, at a sign-off or at a commit. Alone, it is compared with the build that it follows.",
        autocompletion=complete_moments,
        show_default=False,
    ),
]
Second = Annotated[
    str | None,
    typer.Argument(metavar="[B]", help="The one after.", autocompletion=complete_moments, show_default=False),
]
AsOf = Annotated[
    str | None,
    typer.Option(
        "--as-of", metavar="MOMENT", show_default=False,
        help="Compare one build with itself as it was then: a day, a month or a year (its last day), a sign-off (what "
        "its bench had when it came into the book) or a commit.",
    ),
]  # fmt: skip
All = Annotated[bool, typer.Option("--all", help="Show every change, also those no larger than measurement.")]


class State(NamedTuple):
    """A build, and the moment at which it is looked at; today's files where there is none."""

    build: str
    moment: str | None

    @property
    def name(self) -> str:
        return f"{self.build}@{self.moment}" if self.moment else self.build


@command(app, "buildbook diff heron-07/2025-06-first heron-07/2026-10-rebuild")
def diff(
    a: First = None,
    b: Second = None,
    as_of: AsOf = None,
    everything: All = False,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """Compare two builds of one engine, two states of one build, or two engines of one family.

    It compares what the files mean: which pieces were replaced and which came back, every weight and size with its
    change and whether that is more than measurement, whether the old balance still holds (or, where the later build was
    spun itself, what that left), and choices that differ. The biggest of each is shown, and the rest counted.
    """
    from buildbook.figures.compare import compare

    root = open_book(book)
    after = _state(root, b if b is not None else a)
    if b is not None and as_of is not None:
        raise Misuse("--as-of goes with one build, and here are two", "write A@MOMENT or B@MOMENT for each of them")
    if b is not None:
        before = _state(root, a)
    elif as_of is not None:
        before = State(after.build, as_of)
    else:
        before = State(_followed(root, after, as_json), None)
    old, new = _side(root, before, as_json), _side(root, after, as_json)
    _comparable(old.build, new.build)
    comparison = compare(old, new, _between(root, old.build, new.build, as_json))

    def draw(to: "Console") -> None:
        from buildbook.views.diff import draw_diff

        draw_diff(to, comparison, new.build.shop, everything=everything)

    def as_figures() -> dict[str, object]:
        from buildbook.views.diff_json import diff

        return {"diff": diff(comparison)}

    finish(after.build, as_figures, (), draw, as_json=as_json)


def _state(root: Path, name: str | None) -> State:
    """`heron-07/2025-06-first@A1`; nothing before the @ means the build whose folder this is. Raises Misuse."""
    build, mark, moment = (name or "").partition("@")
    if mark and not moment:
        raise Misuse(
            f"'{(name or '')[:60]}' names no moment after its @", "give a day, a month, a sign-off or a commit"
        )
    return State(resolve(root, build or None, Path.cwd()), moment or None)


def _load(root: Path, state: State) -> "Loaded":
    """A build at its moment. Raises Misuse where the book has no such moment, or no history."""
    from buildbook.book.reading import Reader

    if state.moment is None:
        return Reader(root).load(state.build)
    from buildbook.book.past import commit_at, load_at

    return load_at(root, state.build, commit_at(root, state.moment, state.build))


def _read(root: Path, state: State, as_json: bool) -> "tuple[Build, Loaded]":
    """A build; where its files cannot be read for certain, their findings are shown, and that is all."""
    loaded = _load(root, state)
    if loaded.build is None:
        from buildbook.views.show import unreadable

        finish(state.build, dict, loaded.findings, lambda to: unreadable(to, state.name), as_json=as_json)
    return loaded.build, loaded


def _side(root: Path, state: State, as_json: bool) -> "Side":
    from buildbook.figures import work_out
    from buildbook.figures.change import Side

    build, loaded = _read(root, state, as_json)
    return Side(state.name, work_out(build), loaded.findings)


def _followed(root: Path, after: State, as_json: bool) -> str:
    """The build that one follows. Raises Misuse where it follows none."""
    build, _ = _read(root, after, as_json)
    if build.follows is None:
        remedy = "name two builds, or add --as-of with a day, a month, a sign-off or a commit"
        raise Misuse(f"{after.build} follows no other build", remedy)
    return resolve(root, f"{build.engine.name}/{build.follows}", Path.cwd())


def _comparable(before: "Build", after: "Build") -> None:
    """Raises Misuse for two engines that are not of one family."""
    one, other = before.engine, after.engine
    if one.name != other.name and (one.family is None or one.family != other.family):
        said = [f"{each.name} {f'is of {each.family}' if each.family else 'names none'}" for each in (one, other)]
        raise Misuse(
            f"{one.name} and {other.name} are not engines of one family ({'; '.join(said)})",
            "where they are of one design, write the same 'family' into both engine.yaml",
        )


def _between(root: Path, before: "Build", after: "Build", as_json: bool) -> "list[Build]":
    """The builds of one engine between two, by what each follows: a piece replaced in one of them is another piece."""
    if before.engine.name != after.engine.name:
        return []
    backwards = before.opened is not None and after.opened is not None and before.opened.instant > after.opened.instant
    now, earlier = (before, after) if backwards else (after, before)
    engine = now.engine.name
    known = {f"{engine}/{name}" for name in builds(root, engine)} - {now.name}
    found: list[Build] = []
    while now.name != earlier.name:
        name = f"{engine}/{now.follows}"
        if name not in known:
            return []  # neither comes after the other
        known.remove(name)
        now, _ = _read(root, State(name, None), as_json)
        found.append(now)
    return found[:-1]
