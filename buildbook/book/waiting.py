"""What the engines of a whole book wait for."""

from collections.abc import Callable, Iterator
from contextlib import suppress
from typing import TYPE_CHECKING, NamedTuple

from buildbook.book import standing
from buildbook.book.library import Library
from buildbook.book.places import folder_of
from buildbook.records.finding import Finding
from buildbook.records.model import LAST_STAGE
from buildbook.records.tree import ListNode, MapNode, Node, TextNode

if TYPE_CHECKING:
    from buildbook.figures.next import Task


class Waiting(NamedTuple):
    """A build on which something is left to do, and the day of its last record; of one that cannot be read, why not.

    An engine that no build has been begun of stands under its own name.
    """

    build: str
    since: str | None
    left: "tuple[Task, ...]"
    findings: tuple[Finding, ...] = ()


def _open_builds(library: Library, engine: str) -> Iterator[str]:
    """The builds of an engine that may wait for something: the newest, and an older one that no build follows, or that
    was opened again after it was signed. A sealed build waits for nothing."""
    names = library.builds(engine)
    roots = {name: _root(library, name) for name in names}
    follows = [_field(root, "follows") for root in roots.values()]
    followed = {f"{engine}/{node.text}" for node in follows if isinstance(node, TextNode)}
    for name, root in roots.items():
        reopened = _field(root, "reopened") is not None
        if (reopened or not _is_signed_to_the_end(root)) and (reopened or name == names[-1] or name not in followed):
            yield name


_KEPT = "waiting"


def waiting_builds(library: Library, step: Callable[[], None]) -> list[Waiting]:
    """All that wait for something, who waits longest first; `step` is called after each engine.

    An engine that is as git had it when it was looked at last is not looked at again.
    """
    stands = standing.ask(library.book)()
    known = stands.recall(_KEPT) if stands else {}
    kept: dict[str, object] = {}
    found: list[Waiting] = []
    try:
        for engine in library.engines:
            digest = stands.digest_of_all(engine) if stands else None
            of_engine = _recalled(known.get(engine), digest) if digest else None
            if of_engine is None:
                of_engine = list(_of_engine(library, engine))
            if digest and not any(each.findings for each in of_engine):
                kept[engine] = [digest, of_engine]
            found += of_engine
            step()
    finally:
        if stands is not None and kept != known:  # what was done before Ctrl-C need not be done again
            stands.keep(_KEPT, known | kept)
    return sorted(found, key=lambda each: (each.since or "", each.build))


def _of_engine(library: Library, engine: str) -> Iterator[Waiting]:
    from buildbook.figures.next import first_build

    if not library.builds(engine):
        yield Waiting(engine, None, (first_build(engine),))
    for name in _open_builds(library, engine):
        if (waiting := _waiting(library, name)) is not None:
            yield waiting


def _recalled(known: object, digest: str) -> list[Waiting] | None:
    """What was kept of an engine, where it was of this digest; a build that cannot be read is never kept."""
    from buildbook.figures.next import Task

    if not isinstance(known, list) or known[:1] != [digest]:
        return None
    with suppress(TypeError, ValueError, IndexError):  # a spoiled cache
        return [
            Waiting(build, since, tuple(Task(name, what, how, tuple(waits)) for name, what, how, waits in left))
            for build, since, left, _ in known[1]
        ]
    return None


def _waiting(library: Library, name: str) -> Waiting | None:
    """What is left to do on a build; None where nothing is."""
    from buildbook.figures import work_out
    from buildbook.figures.next import job, last_record

    loaded = library.reader.load(name)
    library.reader.forget(folder_of(library.book, name))
    if loaded.build is None:
        return Waiting(name, None, (), tuple(each for each in loaded.findings if each.severity == "error"))
    left = job(work_out(loaded.build)).left
    since = last_record(loaded.build)
    return Waiting(name, since.isoformat() if since else None, left) if left else None


def _root(library: Library, name: str) -> MapNode | None:
    return library.reader.file("build", folder_of(library.book, name) / "build.yaml", needed=True)[0]


def _field(root: MapNode | None, name: str) -> Node | None:
    return root.get(name) if root is not None else None


def _is_signed_to_the_end(root: MapNode | None) -> bool:
    """Whether a sign-off of the last stage is there, as `SignOff.seals` has it."""
    signed = _field(root, "sign_offs")
    for each in signed.items if isinstance(signed, ListNode) else ():
        if isinstance(each, MapNode):
            stage = each.get("stage")
            if "digest" in each.values or (isinstance(stage, TextNode) and stage.text == LAST_STAGE):
                return True
    return False
