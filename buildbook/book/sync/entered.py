"""What one bench entered: the records that came between two commits, in words, and by whom."""

from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path, PurePosixPath
from typing import NamedTuple

from buildbook.book.loader import decode, parse
from buildbook.book.sync.splicing import meaning
from buildbook.book.sync.trees import Tree, blobs, changed, kind_of
from buildbook.records.model import MEASUREMENT_KINDS, WEIGHING_KINDS
from buildbook.records.tree import ListNode, MapNode, TextNode


class Entered(NamedTuple):
    """What one bench entered into one build (or the shop's or an engine's own file)."""

    build: str
    records: tuple[str, ...]  # each in words: `W4 piston`
    by: tuple[str, ...]
    files: tuple[str, ...]
    removed: tuple[str, ...] = ()  # records that were taken out, in words


def entered(book: Path, old: Tree, new: Tree) -> tuple[Entered, ...]:
    """What came between two trees, by build: its records in words, and by whom; and those that are gone."""
    paths = changed(old, new)
    contents = blobs(book, [tree[path].blob for path in paths for tree in (old, new) if path in tree and kind_of(path)])
    by_build: dict[str, list[tuple[str, list[str], list[str], list[str]]]] = defaultdict(list)
    for path in paths:
        records: list[str] = []
        people: list[str] = []
        gone: list[str] = []
        if kind_of(path):
            before, now = (contents.get(tree[path].blob) if path in tree else None for tree in (old, new))
            for words, by in _new_records(before, now):
                records.append(words)
                people += [by] if by else []
            gone = _gone(before, now)
        by_build[_build_of(path)].append((path, records, people, gone))
    return tuple(
        Entered(
            build,
            tuple(words for _, records, _, _ in each for words in records),
            tuple(sorted({by for _, _, people, _ in each for by in people})),
            tuple(path for path, _, _, _ in each),
            tuple(words for _, _, _, gone in each for words in gone),
        )
        for build, each in sorted(by_build.items())
    )


def _build_of(path: str) -> str:
    parts = PurePosixPath(path).parts
    return "/".join(parts[1:3]) if len(parts) > 3 else parts[1] if len(parts) == 3 else "the shop"


def _new_records(old: bytes | None, new: bytes | None) -> Iterator[tuple[str, str | None]]:
    """The records of `new` that `old` has not, or has otherwise: in words, and by whom."""
    before = {(name, _text(record, "id")): meaning(record) for name, record in _records(old)}
    for name, record in _records(new):
        id_ = _text(record, "id")
        known = before.get((name, id_))
        if known != meaning(record):
            yield _in_words(record) + (", changed" if known is not None else ""), _by(record)


def _gone(old: bytes | None, new: bytes | None) -> list[str]:
    """The records of `old` that `new` has not, in words."""
    there = {(name, _text(record, "id")) for name, record in _records(new)}
    return [_in_words(record) for name, record in _records(old) if (name, _text(record, "id")) not in there]


def _records(content: bytes | None) -> Iterator[tuple[str, MapNode]]:
    text = decode(content, "")[0] if content is not None else None
    root = parse(text, "")[0] if text is not None else None
    for name, node in root.items() if root is not None else ():
        for record in node.items if isinstance(node, ListNode) else ():
            if isinstance(record, MapNode) and "id" in record.values:
                yield name, record


def _in_words(record: MapNode) -> str:
    return f"{_text(record, 'id')} {_title(record)}".strip()


def _title(record: MapNode) -> str:
    what = _text(record, "what") or _text(record, "stage")
    if what:
        kind = WEIGHING_KINDS.get(what) or MEASUREMENT_KINDS.get(what)
        return kind.title if kind else what
    own = {"id", "taken", "by", "with", "note", "void", "decided", "because"}
    return next((name for name in record.values if name not in own), "")


def _by(record: MapNode) -> str | None:
    decided = record.get("decided")
    return _text(record, "by") or (_text(decided, "by") if isinstance(decided, MapNode) else None)


def _text(record: MapNode, name: str) -> str | None:
    node = record.get(name)
    return node.text if isinstance(node, TextNode) and not node.is_null else None
