"""`sync`: two benches brought together through a git remote."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from buildbook.book.places import Misuse, find_book
from buildbook.cli.common import AsJson, BookPath, command, finish, new_app, open_book
from buildbook.cli.keep import recover

if TYPE_CHECKING:
    from rich.console import Console

app = new_app()


def complete_remotes(incomplete: str) -> list[str]:
    from buildbook.book import git

    try:
        names = git.run(find_book(Path.cwd()), "remote").decode(errors="replace").split()
    except (Misuse, git.NotKept):
        return []
    return [name for name in names if name.startswith(incomplete)]


Remote = Annotated[
    str | None,
    typer.Option(
        "--remote", metavar="NAME|URL", help="The remote; the only one the book has needs no naming.",
        autocompletion=complete_remotes, show_default=False,
    ),
]  # fmt: skip
MergeFile = Annotated[
    tuple[Path, Path, Path, str] | None,
    typer.Option("--merge-file", metavar="BASE OURS THEIRS PATH", hidden=True, show_default=False),
]


@command(app, "buildbook sync --remote origin")
def sync(remote: Remote = None, merge_file: MergeFile = None, book: BookPath = None, as_json: AsJson = False) -> None:
    """Bring this bench and the others together through a git remote: fetch, merge record by record, send.

    No reading of either bench is dropped. One reading with two values is a question with both, at every bench, until
    somebody decides. A record whose id is taken on the remote gets the next free one, and says so. What cannot be read
    is not sent. At any failure the book here is as it was.

    A USB stick will do for a remote. Once, at the first bench:

    git init --bare --initial-branch=main /media/stick/book.git

    git remote add stick /media/stick/book.git

    and at every other bench, after the first sync:

    git clone -o stick /media/stick/book.git

    For 'git merge' by hand, let git ask this program, with *.yaml merge=buildbook in .gitattributes and:

    git config --global merge.buildbook.name 'records by id'

    git config --global merge.buildbook.driver 'buildbook sync --merge-file %O %A %B %P'
    """
    from buildbook.book import git
    from buildbook.book.sync import syncing
    from buildbook.book.sync.undecided import as_finding

    if merge_file is not None:
        _drive(*merge_file)
    root = open_book(book)
    recover(root)
    try:
        done = syncing.sync(root, remote)
    except git.NotKept as reason:
        raise Misuse(str(reason), "nothing was changed here; put it right and sync again") from None
    findings = [*(as_finding(root, each) for each in done.questions), *done.unreadable]

    def draw(to: "Console") -> None:
        from buildbook.views.sync import draw_sync

        draw_sync(to, done)

    def as_figures() -> dict[str, object]:
        from buildbook.views.sync import sync_json

        return {"sync": sync_json(done)}

    finish(None, as_figures, findings, draw, as_json=as_json, drawn=("undecided",))


def _drive(base: Path, ours: Path, theirs: Path, path: str) -> NoReturn:
    """As git's merge driver: the result goes to `ours`; 0 where both sides are in it, else 1, and ours as it was."""
    from buildbook.book.sync.tree_merging import merge_contents
    from buildbook.book.sync.trees import kind_of

    # in a rebase, git's `ours` is what was there before, and what goes on top of it was not sent yet
    rebasing = any((Path.cwd() / ".git" / name).exists() for name in ("rebase-merge", "rebase-apply"))
    contents = [each.read_bytes() for each in (base, ours, theirs)]
    before = contents[0] or None  # git gives an empty file where neither side had one
    merged_content, merged = merge_contents(
        Path.cwd(), kind_of(path), path, before, contents[1], contents[2], unsent="theirs" if rebasing else "ours"
    )
    if merged_content != contents[1]:
        ours.write_bytes(merged_content)
    for each in merged.renumbered:
        typer.echo(f"{path}: {each.old} is {each.new} now", err=True)
    for mark in merged.marks:
        typer.echo(f"{path}: {mark.words}", err=True)
    if merged.apart:
        typer.echo(f"{path}: {merged.apart}", err=True)
    raise typer.Exit(1 if merged.apart else 0)
