"""What git has of a book, read and never changed: its commits, and its objects by their names."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from buildbook.book import git

_MARK = "\x01"  # begins a commit in git's output; no subject and no file name can hold it


class Commit(NamedTuple):
    """One commit: who did what when, its trailers (`Build`, `Record`), and the files of the book that it touched.

    A trailer that is given several times has a line for each. Of a merge, the files are those that it has otherwise
    than every one of its `parents`; these are the nearest before it among the commits that were asked for.
    """

    sha: str
    when: datetime
    author: str
    subject: str
    trailers: Mapping[str, str]
    paths: tuple[str, ...]
    parents: tuple[str, ...]
    committer: str


def commits(book: Path, *paths: Path) -> list[Commit]:
    """The commits that touched these files or folders (or anything), newest first and each before all that it came
    from: one pass over the history.

    Raises NotKept where the book has no history that can be read, or only the newest part of it: the oldest commit of
    that would seem to have brought everything in.
    """
    refuse_part(book)
    shape = f"--format={_MARK}%H%x00%P%x00%aI%x00%an%x00%cn%x00%s%x00%(trailers:only,unfold,separator=%x02)"
    how = (shape, "--topo-order", "--parents", "-c", "--name-only", "-z", "--no-renames")
    under = [str(path.relative_to(book)) for path in paths]
    try:
        said = git.run(book, "log", *how, "--", *under).decode(errors="replace")
    except git.NotKept:
        amiss = git.situation(book)
        if amiss is None or amiss.name != "no-commit":
            raise
        raise git.NotKept(amiss) from None
    return [_commit(text) for text in said.split(_MARK)[1:]]


def refuse_part(book: Path) -> None:
    """Raises NotKept in a copy of a book that was made with the newest commits alone (`git clone --depth`)."""
    if (book / ".git" / "shallow").exists():
        what = "this copy of the book has only the newest part of its history"
        remedy = "bring the rest in: git fetch --unshallow --tags"
        raise git.NotKept(git.Situation("shallow", what, remedy, stops=False))


def _commit(text: str) -> Commit:
    sha, parents, when, author, committer, subject, rest = text.split("\0", 6)
    listed, _, names = rest.partition("\0")
    trailers: dict[str, str] = {}
    for line in listed.strip("\n").split("\x02"):
        name, colon, value = line.partition(": ")
        if colon:
            trailers[name] = f"{trailers[name]}\n{value}" if name in trailers else value
    paths = tuple(name.strip("\n") for name in names.split("\0") if name.strip("\n"))
    moment = datetime.fromisoformat(when)
    return Commit(sha, moment, author, subject, trailers, paths, tuple(parents.split()), committer)


class Held(NamedTuple):
    """One object of git's: its id, what it is (`blob`, `tree`) and its content."""

    id: str
    kind: str
    body: bytes


def objects(book: Path, names: Sequence[str]) -> list[Held | None]:
    """Objects of git's by id or as `commit:path`, None where there is none; all through one process. Raises NotKept."""
    said = git.run(book, "cat-file", "--batch", stdin="".join(f"{name}\n" for name in names).encode()) if names else b""
    found: list[Held | None] = []
    at = 0
    for _ in names:
        end = said.index(b"\n", at)
        head, at = said[at:end], end + 1
        if head.endswith((b" missing", b" ambiguous")):
            found.append(None)
            continue
        id_, kind, size = head.decode().split(" ")
        found.append(Held(id_, kind, said[at : at + int(size)]))
        at += int(size) + 1
    return found


def contents(book: Path, wanted: Sequence[tuple[str, Path]]) -> list[bytes | None]:
    """What each (commit, file) held, None where it was not there. Raises NotKept."""
    held = objects(book, [f"{sha}:{path.relative_to(book).as_posix()}" for sha, path in wanted])
    return [each.body if each is not None and each.kind == "blob" else None for each in held]
