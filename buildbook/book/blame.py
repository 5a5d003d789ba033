"""Which commit brought a record into the book, and which one last changed a reading in it.

One pass over the history of the files concerned (`git log`), and one process for all that they ever held. What came
through a merge is followed to the commit that made it, at whichever bench.
"""

import os
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import NamedTuple

from buildbook.book import git
from buildbook.book.commits import Commit, commits, contents
from buildbook.book.lineage import Lineage, Log, Steps, Version, find, inside, tree
from buildbook.records.finding import Where
from buildbook.records.tree import ListNode, MapNode, Node, TextNode

# A place in a file as the records give it, and the names of what is meant below it.
Asked = tuple[Where, tuple[str, ...]]


class Change(NamedTuple):
    """A commit that changed a reading, and what stood there before; None where nothing did."""

    commit: Commit
    was: str | None


class Kept(NamedTuple):
    """What git knows of one place: where exactly it is, the commit that brought the record it stands in (None where
    that is on disk alone), and the last that changed it since. Where the disk `differs` from the last commit, `in_git`
    is what that has there, if anything."""

    where: Where
    brought: Commit | None
    changed: Change | None
    differs: bool
    in_git: str | None


def places(asked: Sequence[Asked]) -> dict[Asked, Where]:
    """Where exactly each of them stands, with git or without."""
    return {each: _found(each)[1] for each in asked}


def blame(book: Path, asked: Sequence[Asked], log: Sequence[Commit] | None = None) -> dict[Asked, Kept]:
    """What git knows of each of these places. Raises NotKept where the book is not in git.

    `log` are the commits that touched the files concerned, where they are known."""
    book = Path(os.path.abspath(book))
    files = list(dict.fromkeys(_path(each[0]) for each in asked))
    lines = _lines(book, files, Log(log if log is not None else _commits(book, files)))
    return {each: _kept(each, lines[_path(each[0])]) for each in asked}


def _commits(book: Path, files: Sequence[Path]) -> list[Commit]:
    try:
        return commits(book, *files)
    except git.NotKept:
        if git.run(book, "rev-list", "--max-count=1", "--all"):  # raises where git cannot work here at all
            raise
        return []  # nothing is committed yet


def _lines(book: Path, files: Sequence[Path], log: Log) -> dict[Path, Lineage]:
    lines = {path: Lineage(log, path.relative_to(book).as_posix()) for path in files}
    wanted = [(sha, path) for path, line in lines.items() for sha in line.versions]
    held = iter(contents(book, wanted) if wanted else [])
    for line in lines.values():
        line.contents = {sha: next(held) for sha in line.versions}
    return lines


def _kept(asked: Asked, line: Lineage) -> Kept:
    """Followed back from the newest version: through the first that changed it, to the one that brought its record."""
    address, where, now = _found(asked)
    version = line.newest
    if address is None or version is None or line.node(version, address.record) is None:
        return Kept(where, None, None, True, None)
    node = line.node(version, address.steps)
    in_git, changed = _text(node), None
    while True:
        while (parent := line.only_added_to(version)) is not None and _ended_before(node, line, parent):
            version = parent
        before = line.before(version, address.record)
        if not before:
            return Kept(where, version.commit, changed, in_git != now, in_git if in_git != now else None)
        nodes = [line.node(parent, (*steps, *address.below)) for parent, steps in before]
        texts = [_text(each) for each in nodes]
        text = _text(node)
        if text not in texts and changed is None:
            changed = Change(version.commit, texts[0])
        chosen = texts.index(text) if text in texts else 0
        (version, steps), node = before[chosen], nodes[chosen]
        address = _Address(steps, address.below)


def _ended_before(node: Node | None, line: Lineage, version: Version) -> bool:
    """Whether a node ends before the end of this version of its file."""
    content = line.contents[version.commit.sha] or b""
    return node is not None and node.end <= _length(content)


@cache
def _length(content: bytes) -> int:
    return len(content) if content.isascii() else len(content.decode("utf-8-sig", errors="replace"))


class _Address(NamedTuple):
    """A place in a file: the record that it is in (an item of a list, or else a field at the top), and the way on."""

    record: Steps
    below: Steps

    @property
    def steps(self) -> Steps:
        return (*self.record, *self.below)


def _found(asked: Asked) -> tuple[_Address | None, Where, str | None]:
    """The address of a place, where exactly it is, and what stands there; None where its file holds no such place."""
    try:
        content = _path(asked[0]).read_bytes()
    except OSError:
        return None, asked[0], None
    steps = _places(content).get((asked[0].line, asked[0].column))
    if steps is None:
        return None, asked[0], None
    steps += asked[1]
    where = asked[0]
    parent = find(content, steps[:-1])
    last = steps[-1] if steps else None
    if isinstance(parent, MapNode) and isinstance(last, str):
        line = parent.where_of(last)
        where = Where(where.file, line.line, line.column)
    listed = bool(steps) and isinstance(find(content, steps[:1]), ListNode)
    return _Address(steps[: 1 + listed], steps[1 + listed :]), where, _text(find(content, steps))


@cache
def _places(content: bytes) -> dict[tuple[int, int], Steps]:
    """Line and column → what begins there in a file, the outermost. Its top is what the records say of fields there."""
    root = tree(content)
    found: dict[tuple[int, int], Steps] = {(1, 1): ()} if root is not None else {}

    def add(node: Node, above: Steps) -> None:
        below = inside(node)
        named = [node.keys[name] for name in node.values] if isinstance(node, MapNode) else list(below.values())
        for (step, inner), name in zip(below.items(), named, strict=True):
            for where in (name.where, inner.where):
                found.setdefault((where.line, where.column), (*above, step))
            add(inner, (*above, step))

    if root is not None:
        add(root, ())
    return found


def _text(node: Node | None) -> str | None:
    """What stands at a place, on one line; None where nothing does."""
    match node:
        case None:
            return None
        case TextNode():
            return node.text
        case ListNode():
            return ", ".join(_text(each) or "" for each in node.items)
        case MapNode():
            return ", ".join(f"{name}: {_text(each)}" for name, each in node.items())


def _path(where: Where) -> Path:
    return Path(os.path.abspath(where.file))
