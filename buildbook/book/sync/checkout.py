"""Brings a book to a later commit, so that it loads whenever that is cut off; and takes back what is half done."""

from contextlib import suppress
from pathlib import Path, PurePosixPath

from buildbook.book import git
from buildbook.book.places import Misuse
from buildbook.book.sync.trees import Tree, answer, blobs, changed, kind_of, run, tree_at
from buildbook.book.writing import lock, replace

# Names the commit that is being checked out, so that a checkout that was killed half-way is known for what it is.
_COMING = "refs/buildbook/coming"


def refuse_in_the_way(book: Path, ours: Tree, new: Tree) -> None:
    for path in changed(ours, new):
        there = book / path
        if path not in ours and (there.exists() or there.is_symlink()):
            raise Misuse(f"{path} comes from the other bench, and a file of that name is here", "move it away first")
        above = book
        for part in PurePosixPath(path).parts[:-1]:
            above /= part
            if above.is_symlink() or (above.exists() and not above.is_dir()):
                raise Misuse(
                    f"{path} comes from the other bench, and {part} is not a folder here", "move it away first"
                )


def bring_to(book: Path, head: str, ours: Tree, commit: str, new: Tree) -> None:
    """Move the branch and the files that differ to a later commit, all or nothing. Raises NotKept."""
    run(book, "update-ref", _COMING, commit)
    try:
        _write_files(book, head, ours, commit, new)
        run(book, "update-ref", "-m", "sync", "HEAD", commit, head)
    except (git.NotKept, OSError) as error:
        take_back(book)
        if isinstance(error, OSError):
            raise git.NotKept(f"{error.filename or 'a file'} could not be written: {error.strerror}") from None
        raise
    answer(book, "update-index", "-q", "--refresh")
    run(book, "update-ref", "-d", _COMING)


def _write_files(book: Path, head: str, ours: Tree, commit: str, new: Tree) -> None:
    """Bring the files and git's index to a later commit. Each file of the ledger changes at one instant, so that the
    book loads whenever this is cut off; git itself writes the others, with whatever filters it has for them."""
    paths = changed(ours, new)
    contents = blobs(book, [new[path].blob for path in paths if path in new])
    others = []
    for path in paths:
        there = book / path
        if path not in new:
            there.unlink(missing_ok=True)
            with suppress(OSError):  # not empty
                for folder in there.relative_to(book).parents:
                    (book / folder).rmdir()
        elif kind_of(path) is None:
            others.append(path)
        else:
            there.parent.mkdir(parents=True, exist_ok=True)
            replace(there, contents[new[path].blob])
            there.chmod(0o755 if new[path].mode == "100755" else 0o644)
    run(book, "read-tree", "-i", "-m", head, commit)
    run(book, "checkout-index", "--force", "--quiet", "-z", "--stdin", stdin="\0".join(others).encode())


def take_back(book: Path) -> list[Path]:
    """After a checkout that stopped half-way: the files that it had written, or begun to write, and only those, as they
    are at the commit where the book stands; the next sync brings them again. Which these were. Raises NotKept."""
    coming = answer(book, "rev-parse", "--verify", "--quiet", f"{_COMING}^{{commit}}")
    if not coming:
        return []
    with lock(book):
        old, new = tree_at(book, "HEAD"), tree_at(book, coming)
        paths = changed(old, new)
        contents = blobs(book, [tree[path].blob for path in paths for tree in (old, new) if path in tree])
        back = []
        for path in paths:
            there = book / path
            before = contents[old[path].blob] if path in old else None
            wrote = contents[new[path].blob] if path in new else b""
            found = there.read_bytes() if there.is_file() else None
            if found == before or not wrote.startswith(found or b""):
                continue
            back.append(there)
            if before is None:
                there.unlink()
            else:
                there.parent.mkdir(parents=True, exist_ok=True)
                replace(there, before)
        if paths:
            listed = ("--pathspec-from-file=-", "--pathspec-file-nul")
            run(book, "--literal-pathspecs", "reset", "--quiet", *listed, stdin="\0".join(paths).encode())
        run(book, "update-ref", "-d", _COMING)
        return back
