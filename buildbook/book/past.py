"""A book as it was: a build as its files stood at a commit, and which commit a person means. Nothing here changes
anything."""

import re
from calendar import monthrange
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from buildbook.book import git
from buildbook.book.commits import commits, contents, refuse_part
from buildbook.book.lineage import Lineage, Log
from buildbook.book.places import Misuse, folder_of

if TYPE_CHECKING:
    from buildbook.book.reading import Loaded


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
        if not sha:
            refuse_part(book)
            began = git.run(book, "log", "--max-parents=0", "--date=short-local", "--format=%cd", "HEAD").split()
            remedy = f"name {min(began).decode()}, when it was begun, or a later day"
            raise Misuse(f"the book has nothing from {said} or before", remedy)
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
