"""Git's trees as plain values: every file of a commit with the id of its content, read and written in one go."""

from collections import defaultdict
from collections.abc import Iterable
from pathlib import Path, PurePosixPath
from typing import NamedTuple

from buildbook.book import git
from buildbook.records.read import BUILD_FILES

# No remote's address can name a program, and nothing goes on in the background.
_CAREFUL = ("-c", "protocol.ext.allow=never", "-c", "gc.auto=0")


class Entry(NamedTuple):
    """One file of a tree: its mode and the id of its content."""

    mode: str
    blob: str


Tree = dict[str, Entry]


def run(book: Path, *arguments: str, stdin: bytes = b"") -> bytes:
    return git.run(book, *_CAREFUL, *arguments, stdin=stdin)


def answer(book: Path, *arguments: str) -> str | None:
    """What git answers, None where it has no answer."""
    try:
        return run(book, *arguments).decode(errors="replace").strip()
    except git.NotKept:
        return None


def tree_at(book: Path, commit: str) -> Tree:
    """Every file of a commit."""
    tree = {}
    for line in run(book, "ls-tree", "-r", "-z", "--full-tree", commit).split(b"\0"):
        if line:
            about, _, path = line.partition(b"\t")
            mode, _, blob = about.decode().split(" ")
            tree[path.decode(errors="surrogateescape")] = Entry(mode, blob)
    return tree


def write_tree(book: Path, tree: Tree) -> str:
    """Keep a tree in git, folder by folder from the deepest: one process for each depth."""
    folders: dict[str, dict[str, tuple[str, str, str]]] = defaultdict(dict)
    for path, entry in tree.items():
        folder, _, name = path.rpartition("/")
        folders[folder][name] = (entry.mode, "blob" if entry.mode != "160000" else "commit", entry.blob)
        while folder:  # every folder on the way up, also those that hold only folders
            folder = folder.rpartition("/")[0]
            folders[folder]
    by_depth: dict[int, list[str]] = defaultdict(list)
    for folder in folders:
        by_depth[len(folder.split("/")) if folder else 0].append(folder)
    ids: list[str] = []
    for depth in sorted(by_depth, reverse=True):
        listed = [
            b"".join(
                f"{mode} {what} {id_}\t{name}".encode(errors="surrogateescape") + b"\0"
                for name, (mode, what, id_) in folders[folder].items()
            )
            for folder in by_depth[depth]
        ]
        ids = run(book, "mktree", "-z", "--batch", stdin=b"\0".join(listed)).decode().split()
        for folder, id_ in zip(by_depth[depth], ids, strict=True):
            if folder:
                above, _, name = folder.rpartition("/")
                folders[above][name] = ("040000", "tree", id_)
    return ids[0]


def blobs(book: Path, wanted: Iterable[str]) -> dict[str, bytes]:
    """Contents by their ids, all through one process."""
    ids = list(dict.fromkeys(wanted))
    if not ids:
        return {}
    said = run(book, "cat-file", "--batch", stdin="".join(f"{id_}\n" for id_ in ids).encode())
    found, at = {}, 0
    for id_ in ids:
        end = said.index(b"\n", at)
        size = int(said[at:end].rsplit(b" ", 1)[1])
        found[id_] = said[end + 1 : end + 1 + size]
        at = end + 1 + size + 1
    return found


def changed(old: Tree, new: Tree) -> list[str]:
    return [path for path in sorted({*old, *new}) if old.get(path) != new.get(path)]


def keep_blob(book: Path, content: bytes) -> str:
    return run(book, "hash-object", "-w", "--no-filters", "--stdin", stdin=content).decode().strip()


def kind_of(path: str) -> str | None:
    """The kind of ledger file that a path of the book is, None where it is none."""
    parts = PurePosixPath(path).parts
    name = parts[-1].removesuffix(".yaml") if parts and parts[-1].endswith(".yaml") else None
    if parts == ("shop.yaml",):
        return "shop"
    if len(parts) == 3 and parts[0] == "engines" and name == "engine":
        return "engine"
    return name if len(parts) == 4 and parts[0] == "engines" and name in BUILD_FILES else None
