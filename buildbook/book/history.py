"""What git has of a whole book, each part read once: its commits and seals, and who brought what.

Benches are brought together by merges, so the commits are no line: a commit comes before another one only where that
has it among all that it came from. Who changed something since it was signed is looked for along the commits that came
after the signing, and from a merge on along the other bench's own.
"""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from buildbook.book import git
from buildbook.book.auditing import seal
from buildbook.book.auditing.seal import Altered, Files, Renamed, Seal
from buildbook.book.commits import Commit, commits, contents
from buildbook.book.lineage import Lineage, Log, Steps, Version, find, inside, same, was
from buildbook.book.past import Origin
from buildbook.book.places import folder_of
from buildbook.book.reading import Reader
from buildbook.records.model import Build
from buildbook.records.read import BUILD_FILES
from buildbook.records.tree import MapNode, Node


class Brought(NamedTuple):
    """The commit that brought a value in; and the merge that brought it to this bench since, if one did."""

    commit: Commit
    merge: Commit | None


class History:
    """What git has of a book. Raises NotKept where there is no history."""

    def __init__(self, book: Path) -> None:
        self.book = book
        self.log = Log(commits(book))
        self.head = next(iter(self.log.commits))
        self.tags: dict[str, dict[str, Seal]] = {}  # build → the sign-off in its name → its seal
        for each in seal.seals(book):
            self.tags.setdefault(each.build, {})[each.sign_off] = each
        self._loaded: dict[tuple[str, str], Build | None] = {}
        self._files: dict[tuple[str, str], dict[Path, bytes]] = {}
        self._shops: dict[str, bytes | None] = {}
        self._lines: dict[Path, Lineage] = {}
        self._after: dict[str, set[str]] = {}
        self._behind: dict[str, set[str]] = {}

    # what was there

    def then(self, build: str, sha: str) -> Build | None:
        """A build as it was in a commit, None where it was not there or cannot be read today."""
        if (build, sha) not in self._loaded:
            folder = folder_of(self.book, build)
            held: dict[Path, bytes | None] = {folder / f"{kind}.yaml": None for kind in BUILD_FILES}
            held[folder.parent / "engine.yaml"] = None
            held |= self.files(build, sha)
            held[self.book / "shop.yaml"] = self.shop(sha)
            self._loaded[build, sha] = Reader(self.book, held).load(build).build
        return self._loaded[build, sha]

    def shop(self, sha: str) -> bytes | None:
        if sha not in self._shops:
            (self._shops[sha],) = contents(self.book, [(sha, self.book / "shop.yaml")])
        return self._shops[sha]

    def files(self, build: str, revision: str) -> dict[Path, bytes]:
        """The files of a build in a commit, `3fe21ab^` for the one before."""
        if (build, revision) not in self._files:
            self._files[build, revision] = seal.committed(self.book, build, revision)
        return self._files[build, revision]

    def read_all(self, names: Sequence[str]) -> None:
        """Read at once what the audit of many builds will ask for one by one. Raises NotKept."""
        paths = {name: folder_of(self.book, name) / "build.yaml" for name in names}
        self.read_ahead(list(paths.values()))
        states: dict[seal.State, None] = {}
        for name, path in paths.items():
            brought = [each.sha for each in self.origins(path, "sign_offs").values()]
            tagged = [each.commit for each in self.tags.get(name, {}).values()]
            if brought or tagged:
                revisions = (*brought, *tagged, self.head, *(f"{sha}^" for sha in (*brought, *tagged)))
                states |= dict.fromkeys((name, revision) for revision in revisions)
        self._files = seal.committed_all(self.book, states)
        shas = list(dict.fromkeys(sha for _, sha in states if not sha.endswith("^")))
        shops = contents(self.book, [(sha, self.book / "shop.yaml") for sha in shas])
        self._shops = dict(zip(shas, shops, strict=True))

    # how it came to be

    def line(self, path: Path) -> Lineage:
        """The versions of a file."""
        if path not in self._lines:
            self.read_ahead([path])
        return self._lines[path]

    def read_ahead(self, paths: Sequence[Path]) -> None:
        """Read the versions of many files at once, where they will all be asked for."""
        lines = {path: Lineage(self.log, path.relative_to(self.book).as_posix()) for path in paths}
        held = iter(contents(self.book, [(sha, path) for path, line in lines.items() for sha in line.versions]))
        for line in lines.values():
            line.contents = {sha: next(held) for sha in line.versions}
        self._lines |= lines

    def origins(self, path: Path, field: str) -> dict[str, Origin]:
        """Id of a record in a list of a file → the commit that brought it; also of those that are gone."""
        line = self.line(path)
        found: dict[str, Origin] = {}
        for version in reversed(line.versions.values()):
            content = line.contents[version.commit.sha] or b""
            if field.encode() not in content and b"\\" not in content:  # most builds were never signed
                continue
            for id_ in inside(line.node(version, (field,))):
                if str(id_) not in found:
                    bringing, steps = line.back(version, (field, id_))[-1]
                    found[str(id_)] = Origin(bringing.commit.sha, str(steps[-1]))
        return found

    def after(self, sha: str) -> set[str]:
        """The commits that came from this one."""
        if sha not in self._after:
            found: set[str] = set()
            for each, commit in reversed(self.log.commits.items()):
                if any(parent == sha or parent in found for parent in commit.parents):
                    found.add(each)
            self._after[sha] = found
        return self._after[sha]

    def behind(self, sha: str) -> set[str]:
        """The commits that this one came from."""
        if sha not in self._behind:
            found: set[str] = set()
            wanted = [sha]
            while wanted:
                commit = self.log.commits.get(wanted.pop())
                new = [parent for parent in (commit.parents if commit else ()) if parent not in found]
                found.update(new)
                wanted += new
            self._behind[sha] = found
        return self._behind[sha]

    def leads_to(self, sha: str) -> bool:
        """Whether a commit that is not in the history came from the last one that is: the book was put back since."""
        try:
            git.run(self.book, "merge-base", "--is-ancestor", self.head, sha)
        except git.NotKept:
            return False
        return True

    def apart(self, one: str, other: str) -> bool:
        """Whether two commits were made at two benches, neither of which had the other's."""
        both = one in self.log.commits and other in self.log.commits
        return both and one != other and one not in self.after(other) and one not in self.behind(other)

    def renamed(self, files: Files, base: str, sha: str) -> Renamed:
        """What merges between two commits renumbered: (file, list, id in `base`) → the id in the later one."""
        found: Renamed = {}
        for path, content in files.items():
            if not self.log.merged or b"entered as " not in content:
                continue
            line = self.line(path)
            start, end = line.at(sha), line.at(base)
            for field, listed in inside(line.node(start, ())).items() if start and end else ():
                for id_, record in inside(listed).items():
                    if was(record) is not None and start is not None:
                        way = {each.commit.sha: steps for each, steps in line.back(start, (field, id_))}
                        before = way.get(end.commit.sha) if end else None
                        if before is not None and before[-1] != id_:
                            found[path, field, before[-1]] = str(id_)
        return found

    # who it was

    def who(self, altered: Altered, now: bytes | None, *, since: str | None = None, at: str | None = None) -> str:
        """Who brought a value in, and when: `by Ava Merrow on 2026-10-05 (3fe21ab)`; as `brought` looks for it."""
        found = self.brought(altered, now, since=since, at=at)
        if isinstance(found, str):
            return found
        said = _by(found.commit)
        return said if found.merge is None else f"{said}, brought together in {found.merge.sha[:7]}"

    def brought(
        self, altered: Altered, now: bytes | None, *, since: str | None = None, at: str | None = None
    ) -> "Brought | str":
        """The commit that brought a value in, or in words why there is none.

        `now` is the file that holds it; `since` the commit since when it is another, and `at` that in which it is
        looked for, the last one if none is given.
        """
        line = self.line(altered.path)
        top = line.at(at or self.head)
        wanted = now if altered.steps is None else find(now, altered.steps)
        if top is None:
            return _NOWHERE if wanted is None else _BY_HAND
        if not _same(_value(line, top, altered.steps), wanted):
            return _BY_HAND
        version, merge = self._brought(line, top, altered.steps, wanted, since)
        if wanted is None and not version.parents:
            return _NOWHERE
        return Brought(version.commit, merge.commit if merge else None)

    def _brought(
        self, line: Lineage, top: Version, steps: Steps | None, wanted: Node | bytes | None, since: str | None
    ) -> tuple[Version, Version | None]:
        """The version that brought a value in since a commit, and the merge through which it came, if any."""
        version, at_ = top, steps
        after = self.after(since) if since is not None else set()
        while version.commit.sha in after:
            same_before = list(_carrying(line, version, at_, wanted))
            onward = {
                each.commit.sha for q in version.commit.parents if q in after and (each := line.at(q)) is not None
            }
            along = next((each for each in same_before if each[0].commit.sha in onward & after), None)
            if along is None:
                assert since is not None
                older = self.behind(since) | {since}
                aside = next((each for each in same_before if each[0].commit.sha not in older), None)
                if aside is None:
                    return version, None
                elsewhere = _origin(line, *aside, wanted)
                # what the other bench only had from before was put back by the merge itself
                return (version, None) if elsewhere.commit.sha in older else (elsewhere, version)
            version, at_ = along
        return _origin(line, version, at_, wanted), None


_BY_HAND = "edited by hand, and not committed"
_NOWHERE = "and it is nowhere in the history as git has it now"


def _by(commit: Commit) -> str:
    committed = f", committed by {commit.committer}" if commit.committer != commit.author else ""
    merge = ", in the merge itself" if len(commit.parents) > 1 else ""
    return f"by {commit.author} on {commit.when.date()} ({commit.sha[:7]}{committed}{merge})"


def _value(line: Lineage, version: Version, steps: Steps | None) -> Node | bytes | None:
    return line.contents[version.commit.sha] if steps is None else line.node(version, steps)


def _same(one: Node | bytes | None, other: Node | bytes | None) -> bool:
    return one == other if isinstance(one, bytes) or isinstance(other, bytes) else same(one, other)


def _carrying(
    line: Lineage, version: Version, steps: Steps | None, wanted: Node | bytes | None
) -> Iterator[tuple[Version, Steps | None]]:
    """The versions before one that had the same value, and where: a whole record is the same by what tells it from
    others."""
    if steps is None or wanted is None:
        for parent in (line.versions[sha] for sha in version.parents):
            if _same(_value(line, parent, steps), wanted):
                yield parent, steps
        return
    for parent, record in line.before(version, steps[:2]):
        there = (*record, *steps[2:])
        if (len(steps) == 2 and _is_record(wanted)) or _same(line.node(parent, there), wanted):
            yield parent, there


def _is_record(node: Node | bytes | None) -> bool:
    return isinstance(node, MapNode) and "id" in node.values


def _origin(line: Lineage, version: Version, steps: Steps | None, wanted: Node | bytes | None) -> Version:
    while (before := next(_carrying(line, version, steps, wanted), None)) is not None:
        version, steps = before
    return version
