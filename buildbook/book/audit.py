"""Audits a book: is what was signed still what it was, and do today's formulas still give it."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from pathlib import Path
from typing import NamedTuple

from buildbook.book import git, past, seal
from buildbook.book.places import folder_of, top_of
from buildbook.book.reading import Reader
from buildbook.book.seal import Altered, Files, Seal, Step
from buildbook.figures import work_out
from buildbook.figures.audit_rules import ENTERED_AFTER, audit_findings, covered, reopening_of, sealed_by, voided
from buildbook.figures.frozen import Difference, compared, figures_digest
from buildbook.figures.named import Named, named_figures
from buildbook.records.finding import Finding, Severity, Where
from buildbook.records.model import Build, Reopening, SignOff
from buildbook.records.read import BUILD_FILES
from buildbook.records.tree import Node

_ORDER: tuple[Severity, ...] = ("error", "warning", "note")


class Drift(NamedTuple):
    """A signed figure that comes out differently today: in which sign-off, and which version had worked it out."""

    sign_off: str
    version: str | None
    difference: Difference


@dataclass(slots=True)
class BuildAudit:
    """What an audit found in one build. `sign_off` is the one that closes it, or else the last one.

    `differing` is of today's formulas and the records as they were signed; `moved`, of the records as they are today.
    """

    build: str
    sign_off: SignOff | None = None
    closed: bool = False
    reopened: Reopening | None = None
    seal: Seal | None = None
    as_signed: bool = True  # whether nothing that was signed has changed
    checked: int = 0
    differing: list[Drift] = field(default_factory=list)
    moved: Sequence[Difference] = ()  # signed figures that what was changed since would make others
    findings: list[Finding] = field(default_factory=list)


class BookAudit(NamedTuple):
    """Every build, worst first, and what was found in the book as a whole."""

    builds: Sequence[BuildAudit]
    findings: Sequence[Finding]


class History:
    """What git has of a book, each part read once. Raises NotKept where there is no history."""

    def __init__(self, book: Path) -> None:
        self.book = book
        self.commits = past.commits(book)
        self.place = {commit.sha: at for at, commit in enumerate(self.commits)}
        self.touching: dict[str, list[past.Commit]] = {}
        for commit in self.commits:
            for name in commit.paths:
                self.touching.setdefault(name, []).append(commit)
        self.tags: dict[str, dict[str, Seal]] = {}  # build → sign-off → its seal
        for each in seal.seals(book):
            self.tags.setdefault(each.build, {})[each.sign_off] = each
        self._loaded: dict[tuple[str, str], Build | None] = {}
        self._files: dict[tuple[str, str], dict[Path, bytes]] = {}
        self._shops: dict[str, bytes | None] = {}
        self._versions: dict[Path, list[tuple[past.Commit, bytes | None]]] = {}

    @cached_property
    def head(self) -> str:
        return self.commits[0].sha

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
            (held,) = seal.objects(self.book, [f"{sha}:shop.yaml"])
            self._shops[sha] = held.body if held else None
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
            brought = self.first_with(path, "sign_offs").values()
            tagged = [each.commit for each in self.tags.get(name, {}).values()]
            if brought or tagged:
                revisions = (*brought, *tagged, self.head, *(f"{sha}^" for sha in tagged))
                states |= dict.fromkeys((name, revision) for revision in revisions)
        self._files = seal.committed_all(self.book, states)
        commits = list(dict.fromkeys(sha for _, sha in states if not sha.endswith("^")))
        held = seal.objects(self.book, [f"{sha}:shop.yaml" for sha in commits])
        self._shops = {sha: each.body if each else None for sha, each in zip(commits, held, strict=True)}

    def versions(self, path: Path) -> list[tuple[past.Commit, bytes | None]]:
        """What a file was in each commit that touched it, newest first."""
        if path not in self._versions:
            self.read_ahead([path])
        return self._versions[path]

    def read_ahead(self, paths: Sequence[Path]) -> None:
        """Read the versions of many files at once, where they will all be asked for."""
        commits = [self.touching.get(path.relative_to(self.book).as_posix(), []) for path in paths]
        wanted = [(commit.sha, path) for path, theirs in zip(paths, commits, strict=True) for commit in theirs]
        held = iter(past.contents(self.book, wanted))
        for path, theirs in zip(paths, commits, strict=True):
            self._versions[path] = [(commit, next(held)) for commit in theirs]

    def first_with(self, path: Path, field_name: str) -> dict[str, str]:
        """Id of a record in a list of a file → the first commit that had it."""
        found: dict[str, str] = {}
        for commit, content in reversed(self.versions(path)):
            root = seal.tree(path, content)
            for id_ in seal.inside(root.get(field_name) if root else None):
                found.setdefault(str(id_), commit.sha)
        return found

    def who(self, altered: Altered, now: bytes | None, *, since: str | None = None) -> str:
        """Who brought a value in, and when: `by Ava Merrow on 2026-10-05 (3fe21ab)`. `now` is the file that holds it;
        `since` a commit that is older than what it is looked for in."""
        versions = [
            (commit, content)
            for commit, content in self.versions(altered.path)
            if since is None or self.place[commit.sha] > self.place[since]
        ]

        def value(content: bytes | None) -> Node | bytes | None:
            return content if altered.steps is None else seal.at(seal.tree(altered.path, content), altered.steps)

        today = value(now)
        brought: past.Commit | None = None
        for commit, content in versions:
            then = value(content)
            if then != today if isinstance(then, bytes) or isinstance(today, bytes) else not seal.same(then, today):
                break
            brought = commit
        else:
            if versions and today is None:
                return "and it is nowhere in the history as git has it now"
        if brought is None:
            return "edited by hand, and not committed"
        return f"by {brought.author} on {brought.when.date()} ({brought.sha[:7]})"


def audit(book: Path, names: Sequence[str], now: datetime, *, whole: bool) -> BookAudit:
    """Audit these builds; with `whole`, also what git has of builds that are not there any more."""
    findings: list[Finding] = []
    history: History | None = None
    top = top_of(book / "shop.yaml")
    try:
        history = History(book)
    except git.NotKept as reason:
        why = "Without it nobody can tell whether a sealed file was changed, and when, and by whom."
        remedy = "keep the book in git; until then an audit sees only what the files say of themselves"
        findings.append(Finding("warning", "no-history", top, f"there is no history to audit: {reason}", why, remedy))
    if history is not None:
        findings += _unsound(book, top)
        with suppress(git.NotKept):  # said of the build that it is of
            history.read_all(names)
        gone = sorted(set(history.tags) - set(names)) if whole else []
        for name in gone:
            what = f"{name} is sealed in git, and its folder is gone"
            remedy = f"bring it back: git checkout {_tag(history, name)} -- engines/{name}"
            findings.append(Finding("error", "sealed-gone", top, what, _SEALED, remedy))
    reader = Reader(book)
    builds = [audit_build(history, reader, name, now) for name in names]
    return BookAudit(sorted(builds, key=_badness, reverse=True), findings)


def audit_build(history: History | None, reader: Reader, name: str, now: datetime) -> BuildAudit:
    """Audit one build; without `history`, by what its files say of themselves."""
    try:
        return _BuildAuditor(history, reader, name, now).audit()
    except git.NotKept as reason:
        found = _BuildAuditor(None, reader, name, now).audit()
        what = f"what git has of {name} cannot be read: {_one_line(str(reason))}"
        why = "Whether anything was changed is not known."
        top = top_of(folder_of(reader.book, name) / "build.yaml")
        remedy = "copy the folder first; then bring the objects in from another copy of the book (git fetch)"
        found.findings.insert(0, Finding("error", "git-store", top, what, why, remedy))
        return found


def _badness(audited: BuildAudit) -> list[int]:
    return [sum(each.severity == severity for each in audited.findings) for severity in _ORDER[:2]]


def _tag(history: History, build: str) -> str:
    return list(history.tags[build].values())[-1].tag


def _unsound(book: Path, top: Where) -> Iterator[Finding]:
    try:
        git.run(book, "fsck", "--full", "--strict", "--no-dangling", "--no-progress")
    except git.NotKept as reason:
        what = f"git's store of this book is damaged: {_one_line(str(reason))}"
        why = "What is damaged can neither be read back nor compared."
        remedy = "copy the folder first; then bring the objects in from another copy of the book (git fetch)"
        yield Finding("error", "git-store", top, what, why, remedy)


_SEALED = "What was handed over with the engine is what was sealed; the record must say the same ten years on."
_ON_THE_WAY = "Who signed did not see it, and the figures that were signed do not have it."


class _BuildAuditor:
    """The audit of one build."""

    def __init__(self, history: History | None, reader: Reader, name: str, now: datetime) -> None:
        self.history = history
        self.book = reader.book
        self.name = name
        self.now = now
        self.loaded = reader.load(name)
        self.build = self.loaded.build
        self.path = folder_of(self.book, name) / "build.yaml"
        self.root = reader.file("build", self.path, needed=True)[0]
        self.found = BuildAudit(name)
        self.seen: set[tuple[Path, tuple[Step, ...] | None]] = set()
        self.figures: dict[str | None, Mapping[str, Named]] = {}

    def audit(self) -> BuildAudit:
        found = self.found
        if self.build is None:
            found.findings += [each for each in self.loaded.findings if each.severity == "error"]
        signed = self._signed()
        records = dict(signed)
        if self.history is not None:
            tags = self.history.tags.get(self.name, {})
            brought = self.history.first_with(self.path, "sign_offs")
            for id_ in (*brought, *tags):
                then = self._then(id_, brought.get(id_) or tags[id_].commit)
                if then is not None:
                    records.setdefault(id_, then)
            # the last stage signs for everything, so what it finds needs no other sign-off to find it again
            ids = dict.fromkeys((*signed, *brought, *tags))
            for id_ in sorted(ids, key=lambda id_: id_ not in tags and not (id_ in records and records[id_].seals)):
                self._sign_off(id_, signed.get(id_), tags.get(id_), brought.get(id_))
        else:
            for id_, sign_off in signed.items():
                self._figures(id_, sign_off, None)
        self._conclude(list(records.values()))
        if self.build is not None:
            self._records(self.build)
        found.findings = sorted(
            dict.fromkeys(found.findings), key=lambda each: (_ORDER.index(each.severity), each.where)
        )
        return found

    @cached_property
    def known(self) -> Build | None:
        """The build as it is today; or, where that cannot be read, as git had it last."""
        return self.build or (self.history.then(self.name, self.history.head) if self.history else None)

    def _conclude(self, records: Sequence[SignOff]) -> None:
        """Which sign-off the build stands under, and what its figures would be with what is there today."""
        found, known = self.found, self.known
        if not records:
            return
        closing = sealed_by(known) if known else None
        found.sign_off = closing or records[-1]
        found.closed = closing is not None
        found.reopened = reopening_of(known, found.sign_off) if known else None
        if self.build is not None and closing is not None and not found.as_signed:
            today = named_figures(work_out(self.build))
            then = next((each for each in records if each.id == closing.id), closing)
            found.moved = compared(then.figures, then.units, today).differing

    def _signed(self) -> dict[str, SignOff]:
        return {each.id: each for each in self.build.sign_offs if each.id} if self.build else {}

    def _say(self, severity: Severity, rule: str, where: Where, what: str, why: str, remedy: str) -> None:
        self.found.findings.append(Finding(severity, rule, where, what, why, remedy))

    def _sign_off(self, id_: str, today: SignOff | None, tag: Seal | None, brought: str | None) -> None:
        """One sign-off, as it stands today, with its tag and the commit that brought it."""
        where = today.where if today else top_of(self.path)
        signed = self._then(id_, brought) or today
        base = brought
        if tag is not None or (signed is not None and signed.digest is not None):
            whole = self._seal(id_, signed, tag, brought, where)
            if tag is not None and whole:
                self.found.seal = tag
                base = tag.commit
                signed = self._then(id_, base) or signed
        if base is not None:
            self._compare(id_, signed, base, sealed=self.found.seal is not None and self.found.seal.sign_off == id_)
        elif today is not None:
            what = f"{id_} is not in git's history yet"
            why = "Until it is committed, anybody can change it and nobody can tell."
            self._say("warning", "not-kept", where, what, why, "commit it: buildbook keep")
        if today is not None:
            self._figures(id_, today, base)

    def _then(self, id_: str, sha: str | None) -> SignOff | None:
        """A sign-off as it was in a commit."""
        then = self.history.then(self.name, sha) if self.history and sha else None
        return next((each for each in then.sign_offs if each.id == id_), None) if then else None

    def _seal(self, id_: str, signed: SignOff | None, tag: Seal | None, brought: str | None, where: Where) -> bool:
        """What is wrong with a seal itself; whether its tag can be relied upon."""
        history = self.history
        assert history is not None
        restore = "bring the tags in from another copy of the book: git fetch --tags"
        if tag is None:
            what = f"{id_} says that {self.name} was sealed, and there is no tag {seal.PREFIX}{self.name}/{id_}"
            self._say(
                "error", "seal-missing", where, what, _SEALED, f"{restore}; or reopen the build and sign it again"
            )
            self._signed_state(id_, signed, brought, where)
            return False
        fault = seal.fault_of(self.book, tag, history.files(self.name, tag.commit))
        if fault is None:
            fault = self._not_its_own(id_, tag, brought)
        if fault is not None:
            what = f"the seal of {id_} ({tag.tag}) does not hold: {fault}"
            self._say("error", "seal-moved", where, what, _SEALED, f"delete it (git tag -d {tag.tag}), then {restore}")
            self._signed_state(id_, signed, brought, where)
            return False
        if not tag.in_history:
            what = f"the commit that {id_} sealed ({tag.commit[:7]}) is not in the book's history any more"
            remedy = "somebody amended or rewrote it: compare with another copy of the book, and go on from that one"
            self._say("error", "history-rewritten", where, what, _SEALED, remedy)
        if tag.signed and (said := seal.signature_fault(self.book, tag)):
            told = any(
                word in said for word in ("BAD signature", "Signature verification failed", "incorrect signature")
            )
            rule, severity = ("signature", "error") if told else ("signature-unknown", "note")
            what = f"the signature of {tag.tag} {'is false' if told else 'cannot be checked here'}: {_one_line(said)}"
            remedy = restore if told else "tell git whose keys to trust (gpg, or gpg.ssh.allowedSignersFile)"
            self._say("error" if severity == "error" else "note", rule, where, what, _SEALED, remedy)
        return True

    def _not_its_own(self, id_: str, tag: Seal, brought: str | None) -> str | None:
        """Why a tag that agrees with its commit is still not the one that was made with the sign-off."""
        history = self.history
        assert history is not None
        sealed = self._then(id_, tag.commit)
        if sealed is None:
            return f"it points at a commit ({tag.commit[:7]}) in which the build has no {id_}"
        if tag.in_history and brought is not None and brought != tag.commit:
            return f"it points at {tag.commit[:7]}, and {id_} came with {brought[:7]}"
        if figures_digest(sealed.figures) != tag.said.get("Figures-Digest"):
            return "its message does not have the digest of the figures that were signed"
        if not self._is_before(sealed, tag.commit):
            return f"the commit before it ({tag.commit[:7]}) does not have the digest that {id_} was signed on"
        return None

    def _is_before(self, sign_off: SignOff, sha: str) -> bool:
        """Whether the commit before the sign-off's has the digest that the sign-off carries."""
        history = self.history
        assert history is not None
        return sign_off.digest == seal.digest_of(self.book, history.files(self.name, f"{sha}^"))

    def _signed_state(self, id_: str, signed: SignOff | None, brought: str | None, where: Where) -> None:
        """With no tag to rely upon, the sign-off's own digest still tells what it was signed on."""
        if signed is not None and signed.digest and brought is not None and not self._is_before(signed, brought):
            what = f"what git has from before {id_} is not what {id_} was signed on: its digest is another"
            remedy = "the history was rewritten, or the sign-off changed: compare with another copy of the book"
            self._say("error", "history-rewritten", where, what, _SEALED, remedy)

    def _compare(self, id_: str, signed: SignOff | None, base: str, *, sealed: bool) -> None:
        """The build as it was signed, against today's files and against git; or, where it was opened again, against
        what it was just before that."""
        history = self.history
        assert history is not None
        was = history.files(self.name, base)
        reopening = reopening_of(self.known, signed) if self.known and signed else None
        if reopening is not None:
            opened = history.first_with(self.path, "reopened").get(reopening.id or "")
            now = history.files(self.name, f"{opened}^" if opened else history.head)
            self._report(id_, signed, base, seal.differences(was, now), now, sealed, f"before {reopening.id}, ", opened)
            return
        head = history.files(self.name, history.head)
        today = seal.on_disk(self.book, self.name, {*was, *head})
        self._report(id_, signed, base, seal.differences(was, today), today, sealed)
        if head != today:
            self._report(id_, signed, base, seal.differences(was, head), head, sealed, "in git, though not on disk: ")

    def _report(
        self,
        id_: str,
        signed: SignOff | None,
        base: str,
        found: Iterable[Altered],
        now: Files,
        sealed: bool,
        lead: str = "",
        since: str | None = None,
    ) -> None:
        history = self.history
        assert history is not None
        everything = sealed or signed is None or signed.seals
        superseded = (
            self.known is not None
            and signed is not None
            and any(
                each.stage == signed.stage and each.id != id_ and reopening_of(self.known, each) is None
                for each in self.known.sign_offs[self._position(id_) + 1 :]
            )
        )
        for altered in found:
            key = (altered.path, altered.steps)
            if key in self.seen or not (everything or _concerns(signed, id_, altered, superseded)):
                continue
            self.seen.add(key)
            self.found.as_signed = self.found.as_signed and bool(since)
            who = history.who(altered, now.get(altered.path), since=since)
            what = f"{lead}{altered.what}, since {id_} was {'sealed' if sealed else 'signed'}: {who}"
            tag = f"{seal.PREFIX}{self.name}/{id_}"
            engine = altered.path.name == "engine.yaml"
            if since is not None:
                remedy = "if nobody can say why, treat it as tampering; the sealed state is still in git"
                self._say("warning", "changed-before-reopening", altered.where, what, _SEALED, remedy)
            elif everything:
                name = altered.path.relative_to(self.book).as_posix()
                back = f"bring it back: git checkout {tag if sealed else base[:10]} -- {name}"
                remedy = f"{back}; if it is meant, reopen the build first (buildbook reopen), and say why"
                rule = "engine-changed" if engine else "sealed-changed"
                self._say("warning" if engine else "error", rule, altered.where, what, _SEALED, remedy)
            else:
                rule = ENTERED_AFTER if altered.added else "changed-after"
                remedy = f"sign {signed.stage if signed else 'it'} again once this is seen, or bring the old state back"
                self._say("warning", rule, altered.where, what, _ON_THE_WAY, remedy)

    def _position(self, id_: str) -> int:
        ids = [each.id for each in self.known.sign_offs] if self.known else []
        return ids.index(id_) if id_ in ids else len(ids)

    def _figures(self, id_: str, sign_off: SignOff, base: str | None) -> None:
        """The signed figures against what today's formulas make of the records as they were then."""
        if not sign_off.figures:
            return
        if base not in self.figures:
            then = self.history.then(self.name, base) if self.history and base else self.build
            self.figures[base] = named_figures(work_out(then)) if then else {}
        if not self.figures[base]:
            what = f"the figures of {id_} cannot be worked out again: what was signed cannot be read today"
            why = "Whether they still hold is not known."
            self._say("warning", "not-recomputed", sign_off.where, what, why, "use the version that signed it")
            return
        result = compared(sign_off.figures, sign_off.units, self.figures[base])
        self.found.checked += result.checked
        self.found.differing += [Drift(id_, sign_off.version, each) for each in result.differing]
        kinds: dict[str, list[Difference]] = {}
        for each in result.differing:
            kinds.setdefault(each.name.partition(".")[0], []).append(each)
        version = f"version {sign_off.version}" if sign_off.version else "an unknown version"
        for differing in kinds.values():
            said = "; ".join(
                f"{each.name} {each.signed} → {each.today} {each.unit}".rstrip() + f" ({each.by})"
                if each.today is not None
                else f"{each.name} {each.signed} → {each.by or 'no such figure'}"
                for each in differing
            )
            what = f"signed in {id_} with {version}, and today's formulas give: {said}"
            why = "Either the figure was changed in the record, or the program works it out differently now."
            remedy = "compare the two versions' formulas for it, and correct what is wrong by reopening the build"
            self._say("error", "figures-differ", differing[0].where, what, why, remedy)

    def _records(self, build: Build) -> None:
        """What the records alone give away, and who made one void."""
        known = {each.where for each in self.found.findings if each.rule == ENTERED_AFTER}
        for finding in audit_findings(build, work_out(build), self.now):
            if finding.rule != ENTERED_AFTER or finding.where not in known:
                self.found.findings.append(finding)
        for each in build.reopened:
            sign_off = f"{each.sign_off} and " if each.sign_off else ""
            what = f"{each.id or 'a reopening'} opened {sign_off}what came before again: {each.because}"
            said = f" ({each.taken.text}, by {each.by})" if each.taken and each.by else ""
            why = "A change after it is on the record."
            self._say("note", "reopened", each.where, what + said, why, "sign the build again when it is done")
        for file, entry in voided(build):
            what = f"{entry.id or 'this record'} is void: {entry.void}"
            if self.history is not None:
                path = folder_of(self.book, self.name) / f"{file}.yaml"
                content = path.read_bytes()
                steps = _steps_to(seal.tree(path, content), entry.where)
                altered = Altered(path, (*steps, "void"), "", entry.where)
                what += f"; made void {self.history.who(altered, content)}"
            self._say(
                "note", "voided", entry.where, what, "It counts for nothing, and stays.", "nothing, if that is so"
            )


def _concerns(signed: SignOff | None, id_: str, altered: Altered, superseded: bool) -> bool:
    """Whether what is altered was signed for at a stage on the way: its own record always; its files, and the choices
    that its figures rest on, as long as the stage was not signed again."""
    steps = altered.steps or ()
    if altered.path.name == "build.yaml":
        if steps[:2] == ("sign_offs", id_):
            return True
        return bool(signed and covered(signed)) and not superseded and steps[:1] in {("balance",), ("units",)}
    return signed is not None and not superseded and altered.path.stem in covered(signed)


def _steps_to(node: Node | None, where: Where, steps: tuple[Step, ...] = ()) -> tuple[Step, ...]:
    """The way to what stands at a place, or nothing."""
    for step, inner in seal.inside(node).items():
        if inner.where == where:
            return (*steps, step)
        if found := _steps_to(inner, where, (*steps, step)):
            return found
    return ()


def _one_line(text: str) -> str:
    return " ".join(text.split())
