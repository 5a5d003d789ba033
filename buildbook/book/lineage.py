"""How one file came to be what it is: its versions in git, each with those that it came from, through merges as well.

Pure: commits and contents are given. A record is followed back by its id; where a merge gave it another one, which it
says in its note (`entered as W5`), it is followed under the id that it had before.
"""

import re
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import NamedTuple

from buildbook.book.commits import Commit
from buildbook.book.loader import decode, parse
from buildbook.records.tree import ListNode, MapNode, Node, TextNode

Step = str | int  # a field's name or a record's id; a position in a list whose items have no ids
Steps = tuple[Step, ...]


@lru_cache(maxsize=1024)
def tree(content: bytes | None) -> MapNode | None:
    """The tree of a file's content, where it can be read."""
    text = decode(content, "")[0] if content is not None else None
    return parse(text, "")[0] if text is not None else None


def inside(node: Node | None) -> dict[Step, Node]:
    """What a group or a list holds: by field, by the records' ids, or by position where they have none."""
    if isinstance(node, MapNode):
        return dict(node.items())
    found: dict[Step, Node] = {}
    for at_, item in enumerate(node.items if isinstance(node, ListNode) else ()):
        id_ = item.get("id") if isinstance(item, MapNode) else None
        step: Step = id_.text if isinstance(id_, TextNode) and id_.text not in found else at_
        found[step] = item
    return found


def at(root: Node | None, steps: Sequence[Step]) -> Node | None:
    """What a tree holds at a place, None where there is nothing."""
    for step in steps:
        root = inside(root).get(step)
    return root


def find(content: bytes | None, steps: Steps) -> Node | None:
    """What a file of that content has at a place, None where there is nothing."""
    if content is None or not steps:
        return tree(content)
    return at(_upper(content).get(steps[:2]), steps[2:])


@lru_cache(maxsize=1024)
def _upper(content: bytes) -> dict[Steps, Node]:
    """A file's first two levels by their places: looked up often, in every version that there was."""
    found: dict[Steps, Node] = {}
    for step, node in inside(tree(content)).items():
        found[step,] = node
        found |= {(step, deeper): each for deeper, each in inside(node).items()}
    return found


def same(one: Node | None, other: Node | None) -> bool:
    """Whether two places hold the same values, however they are written."""
    if isinstance(one, TextNode) and isinstance(other, TextNode):
        return (one.text, type(one.value)) == (other.text, type(other.value))
    if one is None or other is None or isinstance(one, TextNode) or type(one) is not type(other):
        return one is None and other is None
    mine, theirs = inside(one), inside(other)
    return list(mine) == list(theirs) and all(same(mine[step], theirs[step]) for step in mine)


# What tells a record from another one that has the same id at another bench.
_TELLING = ("taken", "by", "with", "what", "stage", "decided", "because")

_entered_as = re.compile(r"(?:^| \()entered as (\S+?)\)?$").search


def was(record: Node | None) -> str | None:
    """The id that a record had before a merge gave it its own."""
    note = record.get("note") if isinstance(record, MapNode) else None
    said = _entered_as(note.text) if isinstance(note, TextNode) else None
    return said[1] if said else None


def _is(one: Node | None, other: Node | None) -> bool:
    """Whether two records are one and the same, whatever their ids."""
    if not isinstance(one, MapNode) or not isinstance(other, MapNode):
        return one is not None and other is not None
    return all(same(one.get(name), other.get(name)) for name in _TELLING)


@lru_cache(maxsize=65536)
def _begins(after: bytes, before: bytes) -> bool:
    return before.endswith(b"\n") and after.startswith(before)


def _spells(content: bytes | None, steps: Steps) -> bool:
    """Whether a file can have such a record at all: one that does not spell its id has none, and need not be parsed."""
    id_ = steps[1] if len(steps) > 1 else None
    return not isinstance(id_, str) or content is None or id_.encode() in content or b"\\" in content


class Version(NamedTuple):
    """A file as a commit left it, and the commits whose versions of it that one came from."""

    commit: Commit
    parents: tuple[str, ...]


class Log:
    """Commits, newest first and each before all that it came from, and which of them touched which file."""

    def __init__(self, commits: Sequence[Commit]) -> None:
        self.commits = {commit.sha: commit for commit in commits}
        self.newest = commits[0].sha if commits else None
        self.merged = any(len(commit.parents) > 1 for commit in commits)
        self.touching: dict[str, list[Commit]] = {}
        for commit in commits:
            for name in commit.paths:
                self.touching.setdefault(name, []).append(commit)

    def versions(self, name: str) -> dict[str, Version]:
        """The versions of a file by their commits, oldest first."""
        touching = self.touching.get(name, [])
        if not self.merged:
            shas = [commit.sha for commit in touching]
            return {
                commit.sha: Version(commit, tuple(shas[at_ + 1 : at_ + 2]))
                for at_, commit in reversed(list(enumerate(touching)))
            }
        found: dict[str, Version] = {}
        changed = {commit.sha for commit in touching}
        has: dict[str, str | None] = {}
        for sha, commit in reversed(self.commits.items()):
            came_from = dict.fromkeys(has.get(parent) for parent in commit.parents)
            has[sha] = next(iter(came_from), None)
            if sha in changed or len(came_from) > 1:  # a merge is a version where those before it differ
                found[sha] = Version(commit, tuple(parent for parent in came_from if parent is not None))
                has[sha] = sha
        return found


class Lineage:
    """The versions of one file, and what they hold: by commit, None where the file was not there."""

    def __init__(self, log: Log, name: str) -> None:
        self.log = log
        self.versions = log.versions(name)
        self.contents: Mapping[str, bytes | None] = {}

    @property
    def newest(self) -> Version | None:
        return self.at(self.log.newest) if self.log.newest is not None else None

    def at(self, sha: str) -> Version | None:
        """The version that a commit had; None where it had none, or is not in the log."""
        while sha not in self.versions:
            commit = self.log.commits.get(sha)
            if commit is None or not commit.parents:
                return None
            sha = commit.parents[0]  # a merge that is no version itself has that of any of its parents
        return self.versions[sha]

    def node(self, version: Version, steps: Steps) -> Node | None:
        """What a version has at a place."""
        return find(self.contents[version.commit.sha], steps)

    def before(self, version: Version, steps: Steps) -> list[tuple[Version, Steps]]:
        """The versions that one came from, as far as they had the record or the field at `steps`, and where."""
        shorter = self.only_added_to(version)
        if shorter is not None and not _spells(self.contents[shorter.commit.sha], steps):
            return []
        parents = self._readable(version.parents)
        there = [(parent, steps) for parent in parents if self.node(parent, steps) is not None]
        if len(parents) < 2 or len(steps) < 2:
            return there
        record = self.node(version, steps)
        found: list[tuple[Version, Steps]] = []
        for parent in parents:
            for id_ in (steps[-1], was(record)):
                known: Steps = (*steps[:-1], id_ or "")
                if _is(record, self.node(parent, known)):
                    found.append((parent, known))
                    break
        return found or there  # changed in the merge itself, in what tells it from others

    def only_added_to(self, version: Version) -> Version | None:
        """The version that this one only added lines to, at the end, if it is one. What this one has of it is there as
        well: reading every version of a long file would take seconds."""
        if len(version.parents) != 1:
            return None
        before, after = (self.contents[sha] for sha in (version.parents[0], version.commit.sha))
        return self.versions[version.parents[0]] if before and after and _begins(after, before) else None

    def _readable(self, shas: Sequence[str]) -> list[Version]:
        """These versions; where one cannot be read, those that it came from."""
        found: dict[str, Version] = {}
        for sha in shas:
            spoilt = self.contents[sha] is not None and tree(self.contents[sha]) is None
            found |= (
                {sha: self.versions[sha]}
                if not spoilt
                else {each.commit.sha: each for each in self._readable(self.versions[sha].parents)}
            )
        return list(found.values())

    def back(self, start: Version, steps: Steps) -> list[tuple[Version, Steps]]:
        """A record's way back from a version to the one that brought it, and its place in each."""
        way = [(start, steps)]
        while found := self.before(*way[-1]):
            way.append(found[0])
        return way
