"""A book as it was: its commits, and a build as its files stood at one of them. Nothing here changes anything."""

import re
from calendar import monthrange
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from buildbook.book import git
from buildbook.book.places import Misuse, folder_of

if TYPE_CHECKING:
    from buildbook.book.reading import Loaded

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
    if (partial := _partial(book)) is not None:
        raise git.NotKept(partial)
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


def _partial(book: Path) -> git.Situation | None:
    """A copy of a book that was made with the newest commits alone (`git clone --depth`)."""
    if not (book / ".git" / "shallow").exists():
        return None
    what = "this copy of the book has only the newest part of its history"
    return git.Situation("shallow", what, "bring the rest in: git fetch --unshallow --tags", stops=False)


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


def load_at(book: Path, build: str, sha: str) -> "Loaded":
    """A build as all its files, its engine's and the shop's stood at a commit. Raises Misuse where it was not there."""
    from buildbook.book.reading import Reader
    from buildbook.records.read import BUILD_FILES

    folder = folder_of(book, build)
    paths = [book / "shop.yaml", folder.parent / "engine.yaml", *(folder / f"{kind}.yaml" for kind in BUILD_FILES)]
    try:
        held = dict(zip(paths, contents(book, [(sha, path) for path in paths]), strict=True))
    except git.NotKept as reason:
        raise _no_history(book, build, reason) from None
    if held[folder / "build.yaml"] is None:
        raise Misuse(f"{build} was not in the book at {sha[:10]}", "name a later day or commit")
    return Reader(book, held).load(build)


_is_day = re.compile(r"\d{4}(-\d{2}(-\d{2}(T[\d:+.Z-]+)?)?)?").fullmatch


def commit_at(book: Path, said: str, build: str | None = None) -> str:
    """The commit that a person means: a day (its last commit; a month or a year is its last day), a sign-off of a
    build (`A1`), or a commit by its name.

    A sign-off means the commit that brought it into the book: what its bench had then. One that was typed in later than
    its day stands for the day on which it was typed in. Raises Misuse.
    """
    try:
        return _commit_at(book, said, build)
    except git.NotKept as reason:
        raise _no_history(book, f"'{said[:40]}'", reason) from None


def _no_history(book: Path, looked_for: str, reason: git.NotKept) -> Misuse:
    amiss = reason.situation or git.situation(book)
    what, remedy = (amiss.what, amiss.remedy) if amiss else (str(reason), "look at the book with git")
    return Misuse(f"there is no history to find {looked_for} in: {what}", remedy)


def _commit_at(book: Path, said: str, build: str | None) -> str:
    if _is_day(said):
        try:
            until = _end_of(said)
        except ValueError:
            raise Misuse(f"'{said}' is no day that exists", "write it like 2026-10-05, or 2026-10, or 2026") from None
        sha = git.run(book, "rev-list", "-1", f"--before={until}", "HEAD").decode().strip()
        if not sha and (partial := _partial(book)) is not None:
            raise git.NotKept(partial)
        if not sha:
            raise Misuse(f"the book has nothing from {said} or before", "name a later day")
        return sha
    signed = sign_off_at(book, build, said) if build is not None else None
    if signed is not None:
        return signed.sha
    if re.fullmatch(r"[0-9a-f]{7,40}", said):
        try:
            return git.run(book, "rev-parse", "--verify", "--quiet", f"{said}^{{commit}}").decode().strip()
        except git.NotKept:
            pass
    remedy = "give a day such as 2026-10-05, a sign-off such as A1, or a commit such as 3fe21ab"
    raise Misuse(f"'{said[:40]}' is no moment of this book's history", remedy)


def _end_of(said: str) -> str:
    """The last moment of a day, a month or a year; a time is itself. Raises ValueError."""
    if "T" in said:
        datetime.fromisoformat(said)
        return said
    year, month, day = (*map(int, said.split("-")), 0, 0)[:3]
    last = date(year, month or 12, day or monthrange(year, month or 12)[1])
    return f"{last}T23:59:59"


class Origin(NamedTuple):
    """The commit that brought a record into the book, and the id that the record had there."""

    sha: str
    id: str


def sign_off_at(book: Path, build: str, id_: str) -> Origin | None:
    """Where a sign-off came from; None where there is none of that id. Raises NotKept."""
    from buildbook.book.lineage import Lineage, Log

    path = folder_of(book, build) / "build.yaml"
    line = Lineage(Log(commits(book, path)), path.relative_to(book).as_posix())
    line.contents = dict(zip(line.versions, contents(book, [(sha, path) for sha in line.versions]), strict=True))
    steps = ("sign_offs", id_)
    newest_first = reversed(line.versions.values())
    holding = next((each for each in newest_first if line.node(each, steps) is not None), None)
    if holding is None:
        return None
    version, (*_, there) = line.back(holding, steps)[-1]
    return Origin(version.commit.sha, str(there))
