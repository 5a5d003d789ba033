"""`next`: what is left to do."""

import os
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import Misuse, builds, find_book, folder_of, resolve
from buildbook.cli.common import AsJson, BookPath, BuildName, command, finish, new_app, open_book, show_build

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.figures import Figures
    from buildbook.figures.next import Job

app = new_app()

All = Annotated[
    bool,
    typer.Option("--all", help="Over the whole book: which engines wait for what, since when.", show_default=False),
]


@command(app, "buildbook next heron-07/2026-10-rebuild")
def next_(build: BuildName = None, everything: All = False, book: BookPath = None, as_json: AsJson = False) -> None:
    """Say what is left to do on a build, in the order of the job: the command for each, and what it waits for.

    What can be done now stands first, with an arrow; what waits for something stands below, and things that wait for
    the same are told together. What is in capitals in a command is to be filled in. A stage that was signed counts as
    decided, and of a sealed build nothing is left. The last lines, with a dot, are no duties. What is left to do is no
    fault: the exit code is that of the findings. With --all, of every engine its newest build counts, and an older
    one that is still open: not sealed, and no build follows it. An engine without a build waits for its first.
    """
    if everything:
        if build is not None:
            raise Misuse("--all is the whole book, and a build is named as well", "leave one of them out")
        _all(open_book(book), as_json)
    full_name = resolve(open_book(book), build, Path.cwd())
    called = _called(open_book(book), full_name)

    def draw(to: "Console", figures: "Figures") -> None:
        from buildbook.views.next import draw_next

        draw_next(to, full_name, *_job(open_book(book), figures, called))

    def as_figures(figures: "Figures") -> dict[str, object]:
        from buildbook.views.next import next_json

        found, since = _job(open_book(book), figures, full_name)
        besides = [each._asdict() for each in found.besides]
        return {"next": next_json(found, since), "besides": besides}

    show_build(full_name, book, as_json, as_figures, draw)


def _job(root: Path, figures: "Figures", called: str) -> "tuple[Job, str | None]":
    """What is left; of a session at the bench that is under way, how far it is; and what is not in git yet."""
    from buildbook.bench.journal import unfinished
    from buildbook.book import git
    from buildbook.book.auditing import seal
    from buildbook.book.sync import undecided
    from buildbook.figures.next import Besides, Task, job, last_record

    build = figures.build
    found = job(figures, called)
    for session in unfinished(folder_of(root, build.name)):
        found = found.gone_on_with(f"buildbook {session.command}", f"{session.read} of {session.asked} are read")
    asked = list(undecided.in_folder(root, folder_of(root, build.name)))
    if asked:
        more = f" and {len(asked) - 1} more" if len(asked) > 1 else ""
        what = f"decide between two benches: {asked[0].where}{more}"
        found = found.first(Task("deciding", what, f"buildbook check {build.name}"))
    with suppress(git.NotKept):  # where there is no git, nothing is to be kept
        if not found.sealed and seal.not_in_git(root, build.name):
            found = found.kept_first("buildbook keep")
    if len(build.shop.people) > 1 and not os.environ.get("BUILDBOOK_BY"):
        who = Besides("who you are, for every command", "export BUILDBOOK_BY=PERSON")
        found = found._replace(besides=(*found.besides, who))
    since = last_record(build)
    return found, since.isoformat() if since else None


def _called(book: Path, name: str) -> str:
    """The shortest that means this build to a command started here; nothing at all in its own folder."""
    try:
        if find_book(Path.cwd()) == book and resolve(book, None, Path.cwd()) == name:
            return ""
    except Misuse:
        pass
    engine = name.partition("/")[0]
    try:
        return engine if resolve(book, engine, Path.cwd()) == name else name
    except Misuse:
        return name


def _all(root: Path, as_json: bool) -> None:
    from buildbook.book.library import Library
    from buildbook.book.waiting import waiting_builds
    from buildbook.views.progress import progress

    library = Library(root)
    with progress("looking at", len(library.engines)) as step:
        found = waiting_builds(library, step)
    findings = tuple(dict.fromkeys(finding for each in found for finding in each.findings))

    def draw(to: "Console") -> None:
        from buildbook.views.next import draw_all

        draw_all(to, found, sum(len(builds(root, engine)) or 1 for engine in library.engines))

    def as_figures() -> dict[str, object]:
        from buildbook.views.next import all_json

        return {"next": all_json(found)}

    finish(None, as_figures, findings, draw, as_json=as_json)
