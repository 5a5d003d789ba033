"""The lives of builds as git and the records tell them: which commits made what, and which one brought which record."""

import re
from collections.abc import Sequence
from pathlib import Path, PurePosixPath
from typing import Literal

from buildbook.book.commits import Commit
from buildbook.figures import timeline
from buildbook.figures.timeline import Event, Kept, Known
from buildbook.records.model import Build


def kept(commits: Sequence[Commit], folder: str) -> list[Kept]:
    """The commits that touched files of one folder of a book (`heron-07/2025-06-first`, or an engine's own), as a
    timeline wants them, newest first."""
    found = [_kept(commit, folder) for commit in commits]
    return [each for each in found if each.files]


def _kept(commit: Commit, folder: str) -> Kept:
    """A commit with those of its files that lie in the folder itself."""
    paths = map(PurePosixPath, commit.paths)
    files = tuple(path.stem for path in paths if path.parent == PurePosixPath("engines", folder))
    how = _how(commit)
    # an edit by hand names what it changed as well as what it added, and so does not say what it brought
    named = commit.trailers.get("Record") or _named_in(commit.subject) if how in {"command", "opened", "begun"} else ""
    records = tuple(each for each in re.split(r"[,\s]+", named) if each)
    subject = commit.subject.removeprefix(f"Edit {folder}: ")  # `keep` says whose edit it was
    return Kept(commit.sha, commit.when, commit.author, subject, how, records, files)


_begins_with_record = re.compile(r"Record ([A-Za-z][\w.-]*): ").match


def _named_in(subject: str) -> str:
    """The record that a command's own subject names, `Record W3: piston`."""
    named = _begins_with_record(subject)
    return named[1] if named else ""


_is_command = re.compile(r"(Record [A-Za-z][\w.-]*|Match [\w./-]+):|Set the bobweights of ").match


def _how(commit: Commit) -> Literal["command", "opened", "begun", "hand", "merged"]:
    """How a commit was made. A command leaves trailers, or begins the book or an engine; what was edited by hand has
    trailers too, where `keep` committed it."""
    if len(commit.parents) > 1:
        return "merged"
    if commit.subject.startswith(("Begin the book", "Begin a practice book", "Begin engine ")):
        return "begun"
    if "Build" not in commit.trailers:
        return "hand"
    if commit.subject.startswith("Begin build "):
        return "opened"
    return "command" if _is_command(commit.subject) else "hand"


def life(book: Path, build: Build, commits: Sequence[Commit], *, exactly: bool) -> list[Event]:
    """The life of a build.

    The list of commits tells most of it. The files as they were are looked into for who called a record void, and for
    which commit brought a record: of all of them (`exactly`), or where that matters and cannot be told otherwise. Where
    benches were brought together it never can: two of them may have given one id to two records.
    """
    of_build = kept(commits, build.name)
    by_id = {(each.file, each.record): each for each in timeline.records_of(build) if each.record is not None}
    wanted = [key for key, each in by_id.items() if each.void is not None]
    if exactly or any(each.how == "merged" for each in of_build):
        wanted = [*by_id]
    else:
        wanted += timeline.uncertain(build, of_build)
    brought, voided = _looked_into(book, build.name, [by_id[key] for key in wanted], commits) if wanted else ({}, {})
    return timeline.life(build, of_build, brought, voided)


def _looked_into(book: Path, build: str, events: Sequence[Event], commits: Sequence[Commit]) -> tuple[Known, Known]:
    """Which commit brought each record, and which one called it void since."""
    from buildbook.book.blame import blame

    ways: tuple[tuple[str, ...], ...] = ((), ("void",))
    asked = [(each.where, way) for each in events if each.where is not None for way in ways]
    found = blame(book, asked, commits) if commits else {}
    brought: dict[tuple[str, str | None], Kept] = {}
    voided: dict[tuple[str, str | None], Kept] = {}
    for event in events:
        record, void = (found.get((event.where, way)) if event.where is not None else None for way in ways)
        if record is not None and record.brought is not None:
            brought[event.file, event.record] = _kept(record.brought, build)
        if void is not None and void.changed is not None:
            voided[event.file, event.record] = _kept(void.changed.commit, build)
    return brought, voided
