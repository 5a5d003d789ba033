"""Which commit brought a record into the book, and which one last changed a reading in it.

One pass over the history of the files concerned (`git log`), and one process for all that they ever held.
"""

import os
from collections.abc import Iterator, Sequence
from functools import cache
from pathlib import Path
from typing import NamedTuple

from buildbook.book import git
from buildbook.book.loader import decode, parse
from buildbook.book.past import Commit, commits, contents
from buildbook.records.finding import Where
from buildbook.records.tree import ListNode, MapNode, Node, TextNode

# Steps from the top of a file: a field's name, or an item of a list, by its `id` or else by its number.
_Address = tuple["str | int | _Id", ...]


class _Id(NamedTuple):
    id: str


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


def blame(book: Path, asked: Sequence[Asked]) -> dict[Asked, Kept]:
    """What git knows of each of these places. Raises NotKept where the book is not in git."""
    if not (book / ".git").exists():
        raise git.NotKept("this book is not in git")
    files = list(dict.fromkeys(_path(each[0]) for each in asked))
    history = _histories(Path(os.path.abspath(book)), files)
    return {each: _kept(each, history[_path(each[0])]) for each in asked}


class _Version(NamedTuple):
    """A file as a commit left it, and as each of the commit's parents had it."""

    commit: Commit
    before: tuple[bytes | None, ...]
    after: bytes | None


class _History(NamedTuple):
    versions: tuple[_Version, ...]  # oldest first
    head: bytes | None


def _histories(book: Path, files: Sequence[Path]) -> dict[Path, _History]:
    try:
        log = commits(book, *files)[::-1]
    except git.NotKept:
        if git.run(book, "rev-list", "--max-count=1", "--all"):  # raises where git cannot work here at all
            raise
        log = []  # nothing is committed yet
    wanted: list[tuple[Path, Commit, tuple[str, ...]]] = []
    for commit in log:
        # git lists no files for a merge: whether it changed one shows against both its parents
        parents: tuple[str, ...] = ("^",) if commit.paths else ("^1", "^2")
        touched = [path for path in files if not commit.paths or path.relative_to(book).as_posix() in commit.paths]
        wanted += [(path, commit, parents) for path in touched]
    pairs = [(commit.sha + parent, path) for path, commit, parents in wanted for parent in ("", *parents)]
    heads = [("HEAD", path) for path in files] if log else []
    held = iter(contents(book, [*pairs, *heads]) if log else [])
    versions: dict[Path, list[_Version]] = {path: [] for path in files}
    for path, commit, parents in wanted:
        after = next(held)
        versions[path].append(_Version(commit, tuple(next(held) for _ in parents), after))
    return {path: _History(tuple(versions[path]), next(held, None)) for path in files}


def _kept(asked: Asked, history: _History) -> Kept:
    address, where, now = _found(asked)
    if address is None:
        return Kept(where, None, None, True, None)
    record = _record(address)
    brought, changed, there = None, None, False
    for version in history.versions:
        commit, before, after = version
        if _says_nothing(version, record, there) or _at(after, record) is None:
            continue
        text, texts = _text(_at(after, address)), [_text(_at(each, address)) for each in before]
        there = text is not None
        if brought is None:
            brought = commit if all(_at(each, record) is None for each in before) else None
        elif text not in texts:
            changed = Change(commit, texts[0])
    if _at(history.head, record) is None:
        return Kept(where, None, None, True, None)
    in_git = _text(_at(history.head, address))
    return Kept(where, brought, changed, in_git != now, in_git if in_git != now else None)


def _says_nothing(version: _Version, record: _Address, there: bool) -> bool:
    """Whether a version need not be read at all: where the record's id is not in it, and where lines were only added at
    the end of what held the reading (`there`) before. Reading every version of a long file would take seconds."""
    after, last = version.after or b"", record[-1] if record else None
    if isinstance(last, _Id) and last.id.encode() not in after and b"\\" not in after:
        return True
    only_added = all(each is not None and each.endswith(b"\n") and after.startswith(each) for each in version.before)
    return there and only_added


def _record(address: _Address) -> _Address:
    """The record that a place is in: the first item of a list on the way to it, or the field at the top of the file."""
    item = next((number for number, step in enumerate(address) if not isinstance(step, str)), 0)
    return address[: item + 1]


def _found(asked: Asked) -> tuple[_Address | None, Where, str | None]:
    """The address of a place, where exactly it is, and what stands there; None where its file holds no such place."""
    try:
        content = _path(asked[0]).read_bytes()
    except OSError:
        return None, asked[0], None
    root = _tree(content)
    address = next(_addresses(root, asked[0], ()), None) if root is not None else None
    if address is None:
        return None, asked[0], None
    address += asked[1]
    node = _at(content, address)
    where = asked[0]
    parent = _at(content, address[:-1])
    last = address[-1] if address else None
    if isinstance(parent, MapNode) and isinstance(last, str):
        line = parent.where_of(last)
        where = Where(where.file, line.line, line.column)
    return address, where, _text(node)


def _addresses(node: Node, where: Where, above: _Address) -> Iterator[_Address]:
    """The addresses of whatever begins there, the outermost first."""
    if not above and (where.line, where.column) == (1, 1):
        yield ()  # the records say so of what stands at the top of a file
    below: list[tuple[_Address, Node]] = []
    if isinstance(node, MapNode):
        below = [((*above, name), inner) for name, inner in node.items()]
        named = [node.keys[name].where for name in node.values]
    elif isinstance(node, ListNode):
        below = [((*above, _item(number, each)), each) for number, each in enumerate(node.items)]
        named = [each.where for each in node.items]
    for (address, inner), begins in zip(below, named if below else [], strict=True):
        if (where.line, where.column) in {begins[1:], inner.where[1:]}:
            yield address
        yield from _addresses(inner, where, address)


def _item(number: int, node: Node) -> int | _Id:
    id_ = node.get("id") if isinstance(node, MapNode) else None
    return _Id(id_.text) if isinstance(id_, TextNode) else number


def _at(content: bytes | None, address: _Address) -> Node | None:
    """What a file of that content has at an address."""
    if content is None:
        return None
    if not address:
        return _tree(content)
    node = _records(content).get(address[:2])
    for step in address[2:]:
        if isinstance(step, str):
            node = node.get(step) if isinstance(node, MapNode) else None
        else:
            listed = node.items if isinstance(node, ListNode) else ()
            node = next((each for number, each in enumerate(listed) if _item(number, each) == step), None)
    return node


@cache
def _records(content: bytes) -> dict[_Address, Node]:
    """Everything in a file's first two levels by its address: looked up often, in every version that there was."""
    root = _tree(content)
    found: dict[_Address, Node] = {}
    for name, node in root.items() if root is not None else ():
        found[(name,)] = node
        if isinstance(node, MapNode):
            found |= {(name, inner): each for inner, each in node.items()}
        elif isinstance(node, ListNode):
            for number, each in enumerate(node.items):
                found.setdefault((name, _item(number, each)), each)
    return found


@cache
def _tree(content: bytes) -> MapNode | None:
    text, _ = decode(content, "")
    return parse(text, "")[0] if text is not None else None


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
