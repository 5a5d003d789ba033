"""What the next commit would bring into a book: the errors that are in what is staged, and were not in it before."""

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from buildbook.book import git
from buildbook.book.commits import contents
from buildbook.book.kept import kind_of
from buildbook.book.places import builds, folder_of
from buildbook.book.reading import Reader
from buildbook.records.finding import Finding
from buildbook.records.read import BUILD_FILES


def staged_errors(book: Path, tree: str | None = None) -> tuple[list[str], list[Finding]]:
    """The builds that are touched by what is staged, and the errors that it would bring. Raises NotKept.

    `tree` is git's name for what is about to be committed, as `git write-tree` tells it to a hook; without it, what is
    staged now. What is only on disk plays no part. A change of shop.yaml is checked in itself, and in those builds.
    """
    before, after = _last(book), _tree(book, tree)
    said = git.run(book, "diff-tree", "-r", "-z", "--name-only", "--no-renames", before, after).decode(errors="replace")
    own = [each for name in said.split("\0") if name and (each := kind_of(book, book / name)) is not None]
    touched: list[str] = []
    for subject, build, kind in own:
        if build is not None:
            touched.append(build)
        elif kind == "engine":
            touched += [f"{subject}/{each}" for each in builds(book, subject)]
    names = list(dict.fromkeys(touched))
    known = Counter(map(_same, _errors(book, before, names)))
    new = []
    for error in _errors(book, after, names):
        known[_same(error)] -= 1
        if known[_same(error)] < 0:
            new.append(error)
    return names, new


def _same(error: Finding) -> tuple[str, str, str]:
    """What an error is known by when lines were added above it."""
    return error.where.file, error.rule, error.what


def _tree(book: Path, name: str | None) -> str:
    """The tree of that name, or that of what is staged. Raises NotKept, also for what would be an option to git."""
    if name is None:
        return git.run(book, "write-tree").decode().strip()
    said = git.run(book, "rev-parse", "--verify", "--quiet", "--end-of-options", f"{name}^{{tree}}")
    return said.decode().strip()


def _last(book: Path) -> str:
    """The last commit, or a tree without files where there is none yet."""
    try:
        return git.run(book, "rev-parse", "--verify", "--quiet", "HEAD^{commit}").decode().strip()
    except git.NotKept:
        return git.run(book, "mktree").decode().strip()


def _errors(book: Path, state: str, names: list[str]) -> list[Finding]:
    """The errors of the shop and of these builds in a state of the book; a build that is not in it has none."""
    paths = [book / "shop.yaml", *dict.fromkeys(path for name in names for path in _files(book, name))]
    held = dict(zip(paths, contents(book, [(state, path) for path in paths]), strict=True))
    if held[book / "shop.yaml"] is None:
        return []
    reader = Reader(book, held)
    found = [*reader.shop()[1]]
    for name in names:
        if held[folder_of(book, name) / "build.yaml"] is not None:
            found += _of_build(reader, name)
    return [each for each in dict.fromkeys(found) if each.severity == "error"]


def _files(book: Path, name: str) -> Iterator[Path]:
    folder = folder_of(book, name)
    yield folder.parent / "engine.yaml"
    yield from (folder / f"{kind}.yaml" for kind in BUILD_FILES)


def _of_build(reader: Reader, name: str) -> Iterator[Finding]:
    from buildbook.figures import work_out

    loaded = reader.load(name)
    yield from loaded.findings
    if loaded.build is not None:
        yield from work_out(loaded.build).thorough_findings
