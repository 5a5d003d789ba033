"""Merges the trees of two benches, file by file: the ledger's by their records, all others as git does."""

import tempfile
from collections import defaultdict
from collections.abc import Mapping
from pathlib import Path, PurePosixPath
from typing import NamedTuple

from buildbook.book import git
from buildbook.book.loader import decode
from buildbook.book.sync.merging import Merged, marked, merge_texts
from buildbook.book.sync.renumbering import Renumbered, Side
from buildbook.book.sync.trees import Entry, Tree, blobs, keep_blob, kind_of, run
from buildbook.book.sync.undecided import NOTHING, WHOLE_FILE, Mark, beside

# Records name those of the files before theirs.
_ORDER = ("weighings", "clearances", "parts", "build", "spins", "pairings")


class Saved(NamedTuple):
    """The other bench's file that could not be merged in: where it is kept whole, beside ours, and why."""

    path: str
    why: str


class Made(NamedTuple):
    tree: Tree
    marks: list[tuple[str, Mark]]  # with the file that holds each
    renumbered: list[Renumbered]
    saved: list[Saved]


def merge_trees(book: Path, base: Tree, ours: Tree, theirs: Tree, tip: str) -> Made:
    """The merged tree of three, file by file."""
    made = Made({}, [], [], [])
    both: list[str] = []
    gone: dict[str, Entry] = {}
    kept: set[PurePosixPath] = set()  # folders of files that one bench alone has, and that stay
    for path in sorted({*ours, *theirs}):
        old, mine, other = base.get(path), ours.get(path), theirs.get(path)
        if mine and other and mine != other:
            both.append(path)  # also where one side left it alone: what it names may have been renumbered
        elif mine and other:
            made.tree[path] = mine
        elif (mine or other) != old:  # new, or changed here and taken out there
            made.tree[path] = entry = mine or other  # type: ignore[assignment]
            assert entry is not None
            if kind_of(path):
                kept.add(PurePosixPath(path).parent)
            if old:
                _mark_as_kept(book, path, entry, made)
        elif old:
            gone[path] = old
    # a build that one bench took out and the other went on with stays whole, and its engine: else it could not be read
    for path, old in gone.items():
        folder = PurePosixPath(path).parent
        if folder in kept or (kind_of(path) == "engine" and any(folder in each.parents for each in kept)):
            made.tree[path] = old
    contents = blobs(book, [tree[path].blob for path in both for tree in (base, ours, theirs) if path in tree])
    followed: dict[str, dict[Side, dict[str, str]]] = defaultdict(lambda: {"ours": {}, "theirs": {}})
    for path in sorted(both, key=_in_order):
        _merge_file(book, path, (base, ours, theirs), contents, tip, followed[path.rpartition("/")[0]], made)
    return made


def _mark_as_kept(book: Path, path: str, entry: Entry, made: Made) -> None:
    """A file that one bench took out and the other changed: it stays, and says so."""
    mark = Mark(WHOLE_FILE, "it", NOTHING)
    made.marks.append((path, mark))
    text, _ = decode(blobs(book, [entry.blob])[entry.blob], path)
    if text is not None and kind_of(path) is not None:
        made.tree[path] = entry._replace(blob=keep_blob(book, marked(text, mark).encode()))


def _in_order(path: str) -> tuple[str, int, str]:
    folder, _, name = path.rpartition("/")
    kind = kind_of(path)
    return folder, _ORDER.index(kind) if kind in _ORDER else 0, name


def _merge_file(
    book: Path,
    path: str,
    trees: tuple[Tree, Tree, Tree],
    contents: Mapping[str, bytes],
    tip: str,
    followed: dict[Side, dict[str, str]],
    made: Made,
) -> None:
    _, ours, theirs = trees
    old, mine, other = (contents[tree[path].blob] if path in tree else None for tree in trees)
    assert mine is not None
    assert other is not None
    modes = [tree[path].mode if path in tree else "" for tree in trees]
    mode = modes[2] if modes[1] == modes[0] else modes[1]
    content, merged = merge_contents(book, kind_of(path), path, old, mine, other, followed)
    blob = ours[path].blob if content == mine else theirs[path].blob if content == other else keep_blob(book, content)
    made.tree[path] = Entry(mode, blob)
    made.marks.extend((path, each) for each in merged.marks)
    made.renumbered.extend(each._replace(file=path) for each in merged.renumbered)
    for each in merged.renumbered:
        followed[each.side][each.old] = each.new
    if merged.apart:
        name = beside(path, tip)
        made.tree[name] = Entry("100644", theirs[path].blob)
        made.saved.append(Saved(name, merged.apart))


def merge_contents(
    book: Path,
    kind: str | None,
    path: str,
    base: bytes | None,
    ours: bytes,
    theirs: bytes,
    followed: Mapping[Side, Mapping[str, str]] | None = None,
    unsent: Side = "ours",
) -> tuple[bytes, Merged]:
    """Merge one file: a ledger's by its records, any other as git does. Where that cannot be, ours, and `apart`."""
    texts = [decode(content, path)[0] if content is not None else None for content in (base, ours, theirs)]
    if kind is not None and texts[1] is not None and texts[2] is not None and (base is None or texts[0] is not None):

        def line_merge(*versions: str) -> str | None:
            merged = _merged_by_lines(book, *(version.encode() for version in versions))
            return merged.decode() if merged is not None else None

        merged = merge_texts(
            kind, texts[0], texts[1], texts[2], line_merge=line_merge, followed=followed, unsent=unsent
        )
        if merged.text == texts[1]:
            return ours, merged
        mark = ours[: len(ours) - len(texts[1].encode())]  # a byte-order mark stays where it was
        return mark + merged.text.encode(), merged
    if theirs in (base, ours):
        return ours, Merged("")
    by_lines = theirs if ours == base else _merged_by_lines(book, base or b"", ours, theirs)
    if by_lines is not None:
        return by_lines, Merged("")
    return ours, Merged("", apart="both benches changed it in the same place")


def _merged_by_lines(book: Path, base: bytes, ours: bytes, theirs: bytes) -> bytes | None:
    """Git's own merge of three contents, None where it conflicts."""
    with tempfile.TemporaryDirectory() as folder:
        names = []
        for name, content in (("ours", ours), ("base", base), ("theirs", theirs)):
            (Path(folder) / name).write_bytes(content)
            names.append(str(Path(folder) / name))
        try:
            return run(book, "merge-file", "-p", "--quiet", *names)
        except git.NotKept:
            return None
