"""`history`: the life of an engine or a build as a timeline."""

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import Misuse
from buildbook.cli.common import AsJson, BookPath, command, complete_builds, finish, new_app, open_book
from buildbook.records.finding import Finding

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.book.commits import Commit
    from buildbook.figures.timeline import Event

app = new_app()

What = Annotated[
    str | None,
    typer.Argument(
        metavar="[WHAT]", help="An engine, with all its builds, or one build; else the folder you are in.",
        autocompletion=complete_builds, show_default=False,
    ),
]  # fmt: skip
Everything = Annotated[
    bool, typer.Option("--all", help="Show every record on a line of its own, with its id.", show_default=False)
]
Since = Annotated[
    str | None,
    typer.Option("--since", metavar="DAY", help="Leave out what was before a day, a month or a year, as in 2026-10.",
                 show_default=False),
]  # fmt: skip


@command(app, "buildbook history heron-07 --since 2026-01")
def history(
    what: What = None,
    everything: Everything = False,
    since: Since = None,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """Tell the life of an engine or a build: opened, weighed, measured, matched, spun, corrected, signed, reopened.

    Days and names are those of the records; what was edited by hand, where two benches were brought together, and what
    came into the book on another day than its own, is from git. Like things of one day stand on one line. Records that
    are void stay, with the reason.
    """
    from buildbook.book.library import Library
    from buildbook.book.lives import kept, life
    from buildbook.figures import timeline

    root = open_book(book)
    if since is not None and not re.fullmatch(r"\d{4}(-\d{2}(-\d{2})?)?", since):
        raise Misuse(f"--since: '{since[:40]}' is no day", "write it like 2026-10-05, or 2026-10, or 2026")
    library = Library(root)
    engine, names, whole = library.meant(what, Path.cwd())
    commits, no_commits = _commits(root, root / "engines" / (engine if whole else names[0]))
    lives: dict[str, list[Event]] = {engine: timeline.hand_edits(kept(commits, engine))} if whole else {}
    findings: list[Finding] = []
    unreadable = []
    for name in names:
        loaded = library.reader.load(name)
        findings += [each for each in loaded.findings if each.severity == "error"]
        if loaded.build is None:
            unreadable.append(name)
            lives[name] = timeline.hand_edits(kept(commits, name))
        else:
            lives[name] = life(root, loaded.build, commits, exactly=everything)
    if since is not None:
        lives = {name: timeline.since(events, since) for name, events in lives.items()}

    def draw(to: "Console") -> None:
        from buildbook.views.history import draw_history

        record, _ = library.reader.engine(engine)
        described = record.description if record else None
        draw_history(to, engine, described, lives, unreadable, no_commits, everything=everything)

    def as_figures() -> dict[str, object]:
        from buildbook.views.history_json import history

        return {"history": history(engine, lives), "no_commits": no_commits}

    single = None if whole else names[0]
    finish(single, as_figures, tuple(dict.fromkeys(findings)), draw, as_json=as_json)


def _commits(root: Path, folder: Path) -> "tuple[list[Commit], str | None]":
    """The commits that touched a folder; or why there are none to be had."""
    from buildbook.book.commits import commits
    from buildbook.book.git import NotKept

    try:
        return commits(root, folder), None
    except NotKept as reason:
        return [], str(reason)
