"""Seals what was signed at its last stage: at once, or later where a command was killed in between or git could not.

A tag is only made where nothing is in doubt. The sign-off holds the digest of the build just before it was added: the
commit before the sign-off's own must have that digest, the sign-off must be all that its commit added, and its figures
must be those that the records of that commit give.
"""

from pathlib import Path

from buildbook.book import past
from buildbook.book.auditing import seal
from buildbook.book.auditing.seal import Files
from buildbook.book.lineage import find, inside
from buildbook.book.places import Misuse, folder_of
from buildbook.figures import work_out
from buildbook.figures.audit_rules import sealed_by
from buildbook.figures.frozen import compared, figures_digest
from buildbook.figures.named import named_figures
from buildbook.records.model import Build, SignOff


class NotSealed(Exception):
    """Why no seal may be made for a sign-off."""


def without_seal(book: Path, build: Build) -> SignOff | None:
    """The sign-off that closes a build and says that it was sealed, where it has no seal. Raises NotKept."""
    closing = sealed_by(build)
    if closing is None or closing.id is None or closing.digest is None:
        return None
    made = past.sign_off_at(book, build.name, closing.id)
    tags = [each for each in seal.seals(book) if each.build == build.name]
    has = any(each.sign_off == closing.id or (made and each.commit == made.sha) for each in tags)
    return None if has else closing


def make_seal(book: Path, build: Build, closing: SignOff, who: str, *, late: str | None = None) -> str:
    """Seal a build at the commit that brought the sign-off which closes it, and say how. Raises NotSealed, NotKept.

    `who` is `Name <email>`, where git knows no one of its own; `late` the moment of a seal that is made afterwards.
    """
    made = past.sign_off_at(book, build.name, str(closing.id))
    if made is None:
        raise NotSealed(f"{closing.id} is not in git's history")
    try:
        then = past.load_at(book, build.name, made.sha).build
    except Misuse as reason:
        raise NotSealed(reason.what) from None
    signed = next((each for each in then.sign_offs if each.id == made.id), None) if then is not None else None
    if then is None or signed is None:
        raise NotSealed(f"the build cannot be read as it was in {made.sha[:7]}")
    states = seal.committed_all(book, [(build.name, made.sha), (build.name, f"{made.sha}^")])
    after, before = states.values()
    if signed.digest != seal.digest_of(book, before):
        raise NotSealed(f"what git has from before {closing.id} is not what it was signed on: its digest is another")
    if not _added_alone(folder_of(book, build.name) / "build.yaml", made.id, before, after):
        raise NotSealed(f"{made.sha[:7]}, which brought {closing.id}, changed more than that")
    if differing := compared(signed.figures, signed.units, named_figures(work_out(then))).differing:
        raise NotSealed(f"{differing[0].name} was signed as {differing[0].signed}, and comes out otherwise")
    person = build.shop.people.get(signed.by or "")
    name = " ".join((person.name if person and person.name else signed.by or "nobody").split())
    seal_made = f"\nThe seal was made later, on {late}: all was still as it had been signed." if late else ""
    text = (
        f"{build.name}: {signed.stage}, sealed ({closing.id})\n\n"
        f"Signed by {name} on {signed.taken.text if signed.taken else 'no day'}, with "
        f"buildbook {signed.version}.\n{len(signed.figures)} figures of that day are frozen in build.yaml.{seal_made}"
    )
    return seal.make(book, build.name, str(closing.id), made.sha, text, figures_digest(signed.figures), who)


def _added_alone(path: Path, id_: str, before: Files, after: Files) -> bool:
    """Whether a sign-off is all that came between two states of a build, byte for byte."""
    changes = seal.differences(before, after)
    if [each.path for each in changes] != [path] or changes[0].steps not in {("sign_offs",), ("sign_offs", id_)}:
        return False
    old, new = before[path], after[path]
    same = _alike(old, new)
    left = _alike(old[same:][::-1], new[same:][::-1])
    made_way = old[same : len(old) - left].strip()  # an empty list, for the first of them
    ids = [inside(find(content, ("sign_offs",))) for content in (old, new)]
    return made_way in {b"", b"[]"} and ids[1].keys() == {*ids[0], id_}


def _alike(one: bytes, other: bytes) -> int:
    """How many bytes two contents have in common at the beginning."""
    differing = (at for at, (mine, theirs) in enumerate(zip(one, other, strict=False)) if mine != theirs)
    return next(differing, min(len(one), len(other)))
