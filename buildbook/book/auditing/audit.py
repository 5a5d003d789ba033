"""Audits a book: every build, what is sealed and gone, what they say of the shop, and git's own store."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from datetime import datetime
from pathlib import Path, PurePosixPath
from typing import NamedTuple

from buildbook.book import git
from buildbook.book.auditing import outside, seal
from buildbook.book.auditing.build_audit import ORDER, SEALED, BuildAudit, audit_build, one_line
from buildbook.book.history import History
from buildbook.book.places import folder_of, top_of
from buildbook.book.reading import Reader
from buildbook.records.finding import Finding, Where


class BookAudit(NamedTuple):
    """Every build, worst first, and what was found in the book as a whole."""

    builds: Sequence[BuildAudit]
    findings: Sequence[Finding]


def audit(
    book: Path, names: Sequence[str], now: datetime, *, whole: bool, step: Callable[[], None] = lambda: None
) -> BookAudit:
    """Audit these builds, and call `step` after each; with `whole`, also what git has of builds that are gone."""
    findings: list[Finding] = []
    history: History | None = None
    top = top_of(book / "shop.yaml")
    try:
        history = History(book)
    except git.NotKept as reason:
        why = "Without it nobody can tell whether a sealed file was changed, and when, and by whom."
        amiss = reason.situation
        what = f"there is no history to audit: {amiss.what if amiss else reason}"
        remedy = f"{amiss.remedy if amiss else 'keep the book in git'}; until then an audit sees only what the files "
        remedy += "say of themselves"
        findings.append(Finding("warning", "no-history", top, what, why, remedy))
    if history is not None:
        findings += _unsound(book, top)
        with suppress(git.NotKept):  # said of the build that it is of
            history.read_all(names)
        for name, revision in sorted(_gone(history, names).items()) if whole else ():
            what = f"{name} is sealed in git, and its folder is gone"
            back = seal.command(book, f"checkout {revision} --", folder_of(book, name))
            remedy = f"bring it back: {back}; then 'buildbook keep'"
            findings.append(Finding("error", "sealed-gone", top, what, SEALED, remedy))
    reader = Reader(book)
    builds = []
    for name in names:
        builds.append(audit_build(history, reader, name, now))
        step()
    findings += outside.findings((each.build, one) for each in builds for one in each.outside)
    return BookAudit(sorted(builds, key=_badness, reverse=True), findings)


def _badness(audited: BuildAudit) -> list[int]:
    return [sum(each.severity == severity for each in audited.findings) for severity in ORDER[:2]]


def _gone(history: History, names: Sequence[str]) -> dict[str, str]:
    """Builds that were sealed and are not there any more → their seal, or the commit that has the sign-off where that
    is gone as well."""
    found = {name: list(tags.values())[-1].tag for name, tags in history.tags.items() if name not in names}
    for path in map(PurePosixPath, history.log.touching):
        name = "/".join(path.parts[1:3])
        if path.parts[3:] != ("build.yaml",) or name in found or name in names:
            continue
        for origin in history.origins(history.book / path, "sign_offs").values():
            then = history.then(name, origin.sha)
            if then is not None and any(each.seals and each.id == origin.id for each in then.sign_offs):
                found[name] = origin.sha[:10]
    return found


def _unsound(book: Path, top: Where) -> Iterator[Finding]:
    try:
        git.run(book, "fsck", "--full", "--strict", "--no-dangling", "--no-progress")
    except git.NotKept as reason:
        what = f"git's store of this book is damaged: {one_line(str(reason))}"
        why = "What is damaged can neither be read back nor compared."
        remedy = "copy the folder first; then bring the objects in from another copy of the book (git fetch)"
        yield Finding("error", "git-store", top, what, why, remedy)
