"""`sync`: two benches brought together through a git remote."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from buildbook.book.places import Misuse, find_book
from buildbook.cli.common import AsJson, BookPath, command, finish, new_app, open_book
from buildbook.records.finding import Finding

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.book.merging import Question

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

    No reading of either bench is dropped. One reading with two values comes back as a question with both. Records
    whose id was taken are renumbered, and say so. At any failure the book here is as it was.

    For 'git merge' by hand, let git ask this program, with *.yaml merge=buildbook in .gitattributes and:

    git config --global merge.buildbook.name 'records by id'

    git config --global merge.buildbook.driver 'buildbook sync --merge-file %O %A %B %P'
    """
    from buildbook.book import git, syncing

    if merge_file is not None:
        _drive(*merge_file)
    root = open_book(book)
    try:
        done = syncing.sync(root, remote)
    except git.NotKept as reason:
        raise Misuse(str(reason), "nothing was changed here; put it right and sync again") from None
    findings = [_finding(root, each) for each in done.questions]

    def draw(to: "Console") -> None:
        from buildbook.views.sync import draw_sync

        draw_sync(to, done)

    def as_figures() -> dict[str, object]:
        from buildbook.views.sync import sync_json

        return {"sync": sync_json(done)}

    finish(None, as_figures, findings, draw, as_json=as_json, drawn=("conflict",))


def _finding(root: Path, question: "Question") -> Finding:
    from buildbook.book.syncing import place_of
    from buildbook.views.sync import remedy

    what = f"{question.where}: {question.what}: {question.ours} here, {question.theirs} there"
    why = "Both benches entered it, and only a person can say which is right."
    return Finding("warning", "conflict", place_of(root, question), what, why, remedy(question))


def _drive(base: Path, ours: Path, theirs: Path, path: str) -> NoReturn:
    """As git's merge driver: the result goes to `ours`; 0 where both sides are in it, else 1, and ours as it was."""
    from buildbook.book.syncing import kind_of, merge_contents

    contents = [each.read_bytes() for each in (base, ours, theirs)]
    before = contents[0] or None  # git gives an empty file where neither side had one
    merged_content, merged = merge_contents(Path.cwd(), kind_of(path), path, before, contents[1], contents[2])
    if merged_content != contents[1]:
        ours.write_bytes(merged_content)
    for each in merged.renumbered:
        typer.echo(f"{path}: {each.old} is {each.new} now", err=True)
    for question in merged.questions:
        typer.echo(f"{path}: {question.where}: {question.what}", err=True)
    raise typer.Exit(1 if merged.whole else 0)
