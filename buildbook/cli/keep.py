"""`keep`: what was edited by hand, committed with a message of what changed."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from buildbook.book.places import Misuse, builds, engines, folder_of, resolve, shown
from buildbook.cli.common import (
    AsJson,
    BookPath,
    By,
    author,
    command,
    complete_builds,
    finish,
    new_app,
    open_book,
    person,
    tidy_up,
)
from buildbook.records.finding import Finding

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.book.git import Changed

app = new_app()

What = Annotated[
    str | None,
    typer.Argument(
        metavar="[WHAT]", help="A build or an engine; all that was edited in the book if nothing is named.",
        autocompletion=complete_builds, show_default=False,
    ),
]  # fmt: skip
Message = Annotated[
    str | None,
    typer.Option(
        "--message", metavar="TEXT", help="A subject line of your own; what changed then stands below it.",
        show_default=False,
    ),
]  # fmt: skip
EvenSo = Annotated[
    bool,
    typer.Option(
        "--even-so", help="Keep it although a file cannot be read, or records were taken out.", show_default=False
    ),
]
Trust = Annotated[
    bool,
    typer.Option(
        "--trust", help="Say that this book's own git settings and hooks are yours, and may run here.",
        show_default=False,
    ),
]  # fmt: skip


@command(app, "buildbook keep heron-07/2026-10-rebuild --by ava")
def keep(
    what: What = None,
    message: Message = None,
    even_so: EvenSo = False,
    trust: Trust = False,
    by: By = None,
    book: BookPath = None,
    as_json: AsJson = False,
) -> None:
    """Commit what was edited by hand in the files of the book, with a message made from what changed.

    Commands that record something commit it themselves; this is for edits in an editor. Only the book's own files are
    committed, whatever 'check' finds in them, so that half a job can be kept too. But nothing is kept while one of them
    cannot be read, or a record is gone that was kept before: a wrong one stays, with 'void: why'.
    """
    from buildbook.book import git, kept, trusting
    from buildbook.book.writing import lock

    root = open_book(book)
    if trust:
        trusting.trust(root)
    names, under = _named(root, what)
    folders = [folder_of(root, name) for name in names]
    tidy_up(root, *{root, root / "engines", *folders, *(folder.parent for folder in folders)})
    recover(root)
    amiss = git.situation(root)
    if amiss is not None and amiss.stops:
        raise Misuse(amiss.what, amiss.remedy)
    try:
        with lock(root):
            files = kept.ledger_files(root, git.changed(root, *under))
            if dropped := [each.path for each in files if each.dropped]:
                git.watch(root, dropped)
                files = kept.ledger_files(root, git.changed(root, *under))
            if not files:
                _nothing_to_keep(what, trust, as_json)
            edits = kept.edits(root, files)
            findings = [*_unreadable(root, files), *kept.lost(edits)]
            if findings and not even_so:
                finish(None, dict, findings, _refused, as_json=as_json)
            said = kept.message(edits, _one_line(message))
            remarks = git.keep(root, [each.path for each in files], said, _author(root, by))
    except git.NotKept as reason:
        raise Misuse(f"nothing was kept: {reason}", "what was edited stays as it is in the files") from None

    def draw(to: "Console") -> None:
        from buildbook.views.keep import draw_kept

        draw_kept(to, said, [(each.subject, each.said) for each in edits], remarks)

    def as_figures() -> dict[str, object]:
        told = [{"of": each.subject, "build": each.build, "changed": list(each.said)} for each in edits]
        return {"kept": {"message": said, "edits": told}}

    finish(None, as_figures, [], draw, as_json=as_json)


def recover(root: Path) -> None:
    """Before git is used: what a killed git left behind is removed, and said; files that a killed sync had not finished
    are as they were before."""
    from buildbook.book import git

    for path in git.remove_dead_locks(root):
        typer.echo(f"removed {shown(path)}: left behind by a git that was killed", err=True)
    if (root / ".git" / "refs" / "buildbook" / "coming").exists():
        from buildbook.book.sync.checkout import take_back

        try:
            back = take_back(root)
        except git.NotKept as reason:
            raise Misuse(f"a sync was killed before it was done: {reason}", "then go on") from None
        for path in back:
            typer.echo(f"{shown(path)} is as it was before a sync that was killed: sync again", err=True)
        folders = [folder_of(root, name) for name in _named(root, None)[0]]
        tidy_up(root, *{root, *folders, *(folder.parent for folder in folders)})


def _named(root: Path, what: str | None) -> tuple[list[str], list[Path]]:
    """The builds that are meant, and where their files lie. Raises Misuse."""
    if what is None:
        names = [f"{engine}/{build}" for engine in engines(root) for build in builds(root, engine)]
        own = ("shop.yaml", "engines", "schemas", ".gitattributes", ".gitignore")
        return names, [root / name for name in own]
    if what in engines(root):
        return [f"{what}/{build}" for build in builds(root, what)], [root / "engines" / what]
    name = resolve(root, what, Path.cwd())
    return [name], [folder_of(root, name)]


def _unreadable(root: Path, files: "Sequence[Changed]") -> list[Finding]:
    """The errors in these files, each by itself."""
    from buildbook.book.kept import KINDS, kind_of
    from buildbook.book.reading import Reader

    reader = Reader(root)
    found: list[Finding] = []
    for each in files:
        kind = kind_of(root, each.path)
        if kind is not None and kind[2] in KINDS and not each.gone:
            found += reader.file(kind[2], each.path, needed=True)[1]
    reader.passed.save()
    return [finding for finding in found if finding.severity == "error"]


def _author(root: Path, by: str | None) -> str | None:
    """Who keeps it, as with every record; whoever git knows where there are no people yet. Raises Misuse."""
    from buildbook.book.reading import Reader

    shop = Reader(root).shop()[0]
    if shop is None or (by is None and not shop.people):
        return None
    return author(shop, person(shop, by))


def _one_line(message: str | None) -> str | None:
    if message is None:
        return None
    line = " ".join(message.split())
    if not line:
        raise Misuse("--message: there is no text in it", "write what was changed, or leave --message out")
    return line


def _nothing_to_keep(what: str | None, trusted: bool, as_json: bool) -> NoReturn:
    def draw(to: "Console") -> None:
        from buildbook.views.screen import words

        if trusted:
            to.print(words("this book's own git settings and hooks count from now on"))
        to.print(words(f"nothing to keep: {what or 'the book'} is as it was kept last"))

    finish(None, lambda: {"kept": None}, [], draw, as_json=as_json)


def _refused(to: "Console") -> None:
    from buildbook.views.screen import BAD, words

    to.print(words("nothing was kept: it would be so in the history for good", BAD))
    to.print(words("Put it right, or keep it all the same with --even-so."))
