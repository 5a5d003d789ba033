"""What every command shares: its options, opening a build, and the one way to finish."""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from buildbook.book.places import Misuse, builds, engines, find_book, resolve
from buildbook.records.finding import Finding, did_you_mean

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.figures import Figures
    from buildbook.records.model import Shop


def complete_builds(incomplete: str) -> list[str]:
    """Engines and builds of the book here, for the Tab key."""
    try:
        book = find_book(Path.cwd())
    except Misuse:
        return []
    if "/" not in incomplete:
        return [name for name in engines(book) if name.startswith(incomplete)]
    engine = incomplete.partition("/")[0]
    names = [f"{engine}/{build}" for build in builds(book, engine)]
    return [name for name in names if name.startswith(incomplete)]


def complete_people(incomplete: str) -> list[str]:
    """The ids of the people in the book here, for the Tab key."""
    from buildbook.book.reading import Reader

    try:
        shop = Reader(find_book(Path.cwd())).shop()[0]
    except Misuse:
        return []
    return [name for name in (shop.people if shop else ()) if name.startswith(incomplete)]


BuildName = Annotated[
    str | None,
    typer.Argument(
        metavar="[BUILD]",
        help="The build, as in heron-07/2026-10-rebuild; an engine alone means its newest build. "
        "Inside a build's folder no name is needed.",
        autocompletion=complete_builds,
        show_default=False,
    ),
]
BookPath = Annotated[
    Path | None,
    typer.Option(
        "--book", metavar="PATH", help="The book's folder; else the one you are in.", envvar="BUILDBOOK_BOOK",
        show_default=False, show_envvar=False,
    ),
]  # fmt: skip
By = Annotated[
    str | None,
    typer.Option(
        "--by", metavar="PERSON", help="Who does it: an id from shop.yaml. Only one person there needs no naming.",
        envvar="BUILDBOOK_BY", autocompletion=complete_people, show_default=False, show_envvar=False,
    ),
]  # fmt: skip
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object instead.", show_default=False)]


def command(app: typer.Typer, example: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Register a function as the one command of its file, with an example under its help."""
    return app.command(epilog=f"Example: {example}", context_settings={"help_option_names": ["--help", "-h"]})


def new_app() -> typer.Typer:
    """A Typer that leaves square brackets in help text alone."""
    return typer.Typer(rich_markup_mode=None, add_completion=False)


def open_book(book: Path | None) -> Path:
    return find_book(book or Path.cwd())


def finish(
    build: str | None,
    figures: Callable[[], Mapping[str, object]],
    findings: Sequence[Finding],
    draw: Callable[["Console"], None],
    *,
    as_json: bool,
    with_reasons: bool = False,
) -> NoReturn:
    """Print the figures and the findings, as JSON or for a person, and exit: 0 fine, 1 for findings."""
    if as_json:
        from buildbook.views.as_json import dump

        typer.echo(dump(build, figures(), findings))
    else:
        from buildbook.views.findings import count_of, draw_findings
        from buildbook.views.screen import console, words

        to = console()
        draw(to)
        shown = [finding for finding in findings if with_reasons or finding.severity != "note"]
        if shown:
            to.print()
            draw_findings(to, shown, with_reasons=with_reasons)
            to.print(words(count_of(shown), "bold"))
    raise typer.Exit(1 if any(finding.severity != "note" for finding in findings) else 0)


def person(shop: "Shop", by: str | None) -> str:
    """The id of whoever makes a record. Raises Misuse where that is not certain."""
    if by is None and len(shop.people) == 1:
        return next(iter(shop.people))
    known = ", ".join(shop.people) or "nobody yet"
    if by is None:
        raise Misuse("who makes this record is not said", f"add --by PERSON ({known}), or set BUILDBOOK_BY")
    if by not in shop.people:
        remedy = did_you_mean(by, shop.people, f"add {by[:40]} to its people; it has {known}")
        raise Misuse(f"there is nobody named '{by[:40]}' in shop.yaml", remedy)
    return by


def keep(book: Path, paths: Sequence[Path], message: str, shop: "Shop", by: str | None) -> list[str]:
    """Commit what a command wrote. What is written stays written where git cannot: then it says why."""
    from buildbook.book import git

    who = shop.people.get(by or "")
    author = f"{who.name or by} <{who.email or f'{by}@localhost'}>" if who else None
    try:
        git.keep(book, paths, message, author)
    except git.NotKept as reason:
        return [f"not kept in git's history: {reason}"]
    return ["kept in git"]


def show_build(
    name: str | None,
    book: Path | None,
    as_json: bool,
    figures_json: Callable[["Figures"], Mapping[str, object]],
    draw: Callable[["Console", "Figures"], None],
    more_findings: Callable[["Figures"], Sequence[Finding]] = lambda figures: (),
    *,
    wrote: Callable[[], bool] = lambda: False,
    match_seconds: float = 10.0,
    needs_layout: bool = False,
) -> NoReturn:
    """Open a build, show what one command has to show of it, and finish with the build's findings.

    Where a file cannot be read for certain, or `more_findings` holds an error, there are no figures to show. Where
    finding out `more_findings` wrote something, the build is read again, so that no finding is of what was before.
    """
    from buildbook.book.reading import Reader
    from buildbook.figures import work_out

    root = open_book(book)
    full_name = resolve(root, name, Path.cwd())
    loaded = Reader(root).load(full_name)
    findings = [*loaded.findings]
    if loaded.build is not None:
        figures = work_out(loaded.build, match_seconds=match_seconds)
        ready = figures.has_layout or not needs_layout
        more = more_findings(figures) if ready else ()
        now = figures
        if wrote():
            loaded = Reader(root).load(full_name)
            assert loaded.build is not None, "what was written was read back"
            now = work_out(loaded.build)
        findings = [*loaded.findings, *now.findings, *more]
        if ready and not any(finding.severity == "error" for finding in more):
            finish(full_name, lambda: figures_json(figures), findings, lambda to: draw(to, figures), as_json=as_json)

    def without_figures(to: "Console") -> None:
        from buildbook.views.show import unreadable

        unreadable(to, full_name)

    finish(full_name, dict, findings, without_figures, as_json=as_json)
