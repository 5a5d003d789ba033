"""What shop.yaml says of the people and the instruments of sealed builds: it is in git, and not under their seals.

What is added there later changes nothing (a later calibration, another person). What was said when a build was sealed
and is otherwise now, or gone, is found: the records of that build are read by it.
"""

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from buildbook.book.auditing import seal
from buildbook.book.auditing.seal import Altered
from buildbook.book.history import History
from buildbook.book.lineage import find, inside, same, tree
from buildbook.figures.audit_rules import records_of
from buildbook.records.finding import Finding
from buildbook.records.model import Build
from buildbook.records.read import BUILD_FILES
from buildbook.records.tree import Node

# How to reach a person or to tell an instrument from others is no fact that a record rests on.
_PASSING = {"email", "role", "note", "description"}


class Otherwise(NamedTuple):
    """Something that shop.yaml says otherwise than when a build was sealed, and who made it so."""

    altered: Altered
    who: str


def otherwise(history: History, sealed: Build, sha: str) -> Iterator[Otherwise]:
    """What shop.yaml said in a commit of those that the build of that commit names, and does not say today."""
    path = history.book / "shop.yaml"
    then, now = history.shop(sha), path.read_bytes() if path.is_file() else None
    if then is None or now is None or then == now or tree(now) is None:
        return
    named = {("people", each) for each in _people(sealed)} | {("instruments", each) for each in _instruments(sealed)}
    for altered in seal.differences({path: then}, {path: now}):
        steps = altered.steps or ()
        if steps[:2] not in named or find(then, steps) is None or {*steps[2:]} & _PASSING:
            continue
        if steps[2:3] == ("recalibrated",) and _all_there(find(then, steps[:3]), find(now, steps[:3])):
            continue
        yield Otherwise(altered, history.who(altered, now, since=sha))


def _all_there(then: Node | None, now: Node | None) -> bool:
    """Whether every item of a list is in another one, wherever it stands."""
    return all(any(same(each, other) for other in inside(now).values()) for each in inside(then).values())


def _people(build: Build) -> set[str]:
    entries = [entry for file in BUILD_FILES for entry in records_of(build, file)]
    return {entry.by for entry in (*entries, *build.sign_offs, *build.reopened) if entry.by}


def _instruments(build: Build) -> set[str]:
    return {entry.with_ for file in BUILD_FILES for entry in records_of(build, file) if entry.with_}


def findings(found: Iterable[tuple[str, Otherwise]]) -> Iterator[Finding]:
    """One finding for each thing that is otherwise, with the sealed builds that it is of."""
    builds: dict[str, list[str]] = {}
    first: dict[str, Otherwise] = {}
    for build, each in found:
        builds.setdefault(each.altered.what, []).append(build)
        first.setdefault(each.altered.what, each)
    for what, each in first.items():
        of = builds[what]
        more = f" and {len(of) - 3} more" if len(of) > 3 else ""
        said = f"{what}, since builds that name it were signed ({', '.join(of[:3])}{more}): {each.who}"
        why = "The records of a sealed build are read by what shop.yaml says of who and what measured."
        remedy = (
            "bring it back; a later calibration goes under recalibrated, and another instrument has an id of its own"
        )
        yield Finding("warning", "shop-changed", each.altered.where, said, why, remedy)
