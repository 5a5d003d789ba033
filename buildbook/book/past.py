"""A book as it was: its commits, and a build as its files stood at one of them. Nothing here changes anything."""

import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from buildbook.book import git
from buildbook.book.places import Misuse, folder_of
from buildbook.book.reading import Loaded, Reader
from buildbook.records.read import BUILD_FILES

_MARK = "\x01"  # begins a commit in git's output; no subject and no file name can hold it


class Commit(NamedTuple):
    """One commit: who did what when, its trailers (`Build`, `Record`), and the files of the book that it touched."""

    sha: str
    when: datetime
    author: str
    subject: str
    trailers: Mapping[str, str]
    paths: tuple[str, ...]


def commits(book: Path, *paths: Path) -> list[Commit]:
    """The commits that touched these files or folders (or anything), newest first: one pass over the history.

    Raises NotKept where the book has no history that can be read.
    """
    shape = f"--format={_MARK}%H%x00%aI%x00%an%x00%s%x00%(trailers:only,unfold,separator=%x02)"
    under = [str(path.relative_to(book)) for path in paths]
    said = git.run(book, "log", shape, "--name-only", "-z", "--no-renames", "--", *under).decode(errors="replace")
    return [_commit(text) for text in said.split(_MARK)[1:]]


def _commit(text: str) -> Commit:
    sha, when, author, subject, rest = text.split("\0", 4)
    trailers, _, names = rest.partition("\0")
    pairs = (line.partition(": ") for line in trailers.strip("\n").split("\x02") if ": " in line)
    paths = tuple(name.strip("\n") for name in names.split("\0") if name.strip("\n"))
    return Commit(sha, datetime.fromisoformat(when), author, subject, {key: value for key, _, value in pairs}, paths)


def contents(book: Path, wanted: Sequence[tuple[str, Path]]) -> list[bytes | None]:
    """What each (commit, file) held, None where it was not there; all of them through one process."""
    asked = "".join(f"{sha}:{path.relative_to(book).as_posix()}\n" for sha, path in wanted)
    said = git.run(book, "cat-file", "--batch", stdin=asked.encode())
    found: list[bytes | None] = []
    at = 0
    for _ in wanted:
        end = said.index(b"\n", at)
        head = said[at:end]
        at = end + 1
        if head.endswith((b" missing", b" ambiguous")):
            found.append(None)
            continue
        _, kind, size = head.rsplit(b" ", 2)
        body = said[at : at + int(size)]
        at += int(size) + 1
        found.append(body if kind == b"blob" else None)
    return found


def load_at(book: Path, build: str, sha: str) -> Loaded:
    """A build as all its files, its engine's and the shop's stood at a commit. Raises Misuse where it was not there."""
    folder = folder_of(book, build)
    paths = [book / "shop.yaml", folder.parent / "engine.yaml", *(folder / f"{kind}.yaml" for kind in BUILD_FILES)]
    held = dict(zip(paths, contents(book, [(sha, path) for path in paths]), strict=True))
    if held[folder / "build.yaml"] is None:
        raise Misuse(f"{build} was not in the book at {sha[:10]}", "name a later day or commit")
    return Reader(book, held).load(build)


_is_day = re.compile(r"\d{4}-\d{2}-\d{2}(T[\d:+.Z-]+)?").fullmatch


def commit_at(book: Path, said: str, build: str | None = None) -> str:
    """The commit that a person means: a day (its last commit), a sign-off of a build (`A1`: the commit that brought
    it), or a commit by its name. Raises Misuse."""
    if _is_day(said):
        try:
            datetime.fromisoformat(said)
        except ValueError:
            raise Misuse(f"'{said}' is no day that exists", "write it like 2026-10-05") from None
        until = said if "T" in said else f"{said}T23:59:59"
        sha = git.run(book, "rev-list", "-1", f"--before={until}", "HEAD").decode().strip()
        if not sha:
            raise Misuse(f"the book has nothing from {said} or before", "name a later day")
        return sha
    signed = _sign_off(book, build, said) if build is not None else None
    if signed is not None:
        return signed
    if re.fullmatch(r"[0-9a-f]{7,40}", said):
        try:
            return git.run(book, "rev-parse", "--verify", "--quiet", f"{said}^{{commit}}").decode().strip()
        except git.NotKept:
            pass
    remedy = "give a day such as 2026-10-05, a sign-off such as A1, or a commit such as 3fe21ab"
    raise Misuse(f"'{said[:40]}' is no moment of this book's history", remedy)


def _sign_off(book: Path, build: str, id_: str) -> str | None:
    """The first commit in which build.yaml holds that sign-off."""
    path = folder_of(book, build) / "build.yaml"
    history = [commit.sha for commit in reversed(commits(book, path))]
    for sha, content in zip(history, contents(book, [(sha, path) for sha in history]), strict=True):
        if content is not None and id_ in _sign_off_ids(content, path):
            return sha
    return None


def _sign_off_ids(content: bytes, path: Path) -> Iterable[str]:
    from buildbook.book.loader import decode, parse
    from buildbook.records.tree import ListNode, MapNode, TextNode

    text, _ = decode(content, str(path))
    root = parse(text, str(path))[0] if text is not None else None
    signed = root.get("sign_offs") if root else None
    for each in signed.items if isinstance(signed, ListNode) else ():
        id_ = each.get("id") if isinstance(each, MapNode) else None
        if isinstance(id_, TextNode):
            yield id_.text
