"""Audits one build: is what was signed still what it was, and do today's formulas still give it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from pathlib import Path
from typing import NamedTuple

from buildbook.book import git
from buildbook.book.auditing import outside, seal
from buildbook.book.auditing.outside import Otherwise
from buildbook.book.auditing.seal import Altered, Files, Seal
from buildbook.book.history import History
from buildbook.book.lineage import Steps, find, inside
from buildbook.book.past import Origin
from buildbook.book.places import folder_of, top_of
from buildbook.book.reading import Reader
from buildbook.book.sync.undecided import parted
from buildbook.figures import work_out
from buildbook.figures.audit_rules import ENTERED_AFTER, audit_findings, covered, reopening_of, sealed_by, voided
from buildbook.figures.frozen import Difference, compared, figures_digest
from buildbook.figures.named import Named, named_figures
from buildbook.records.finding import Finding, Severity, Where
from buildbook.records.model import Build, Reopening, SignOff
from buildbook.records.tree import Node, TextNode

FIGURES_DIFFER = "figures-differ"
ORDER: tuple[Severity, ...] = ("error", "warning", "note")


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
    as_signed: bool | None = True  # whether nothing that was signed has changed; None where there is no history to tell
    checked: int = 0
    differing: list[Drift] = field(default_factory=list)
    moved: Sequence[Difference] = ()  # signed figures that what was changed since would make others
    findings: list[Finding] = field(default_factory=list)
    outside: list[Otherwise] = field(default_factory=list)  # what shop.yaml said of it when it was sealed, and not now


def audit_build(history: History | None, reader: Reader, name: str, now: datetime) -> BuildAudit:
    """Audit one build; without `history`, by what its files say of themselves."""
    try:
        return _BuildAuditor(history, reader, name, now).audit()
    except git.NotKept as reason:
        found = _BuildAuditor(None, reader, name, now).audit()
        what = f"what git has of {name} cannot be read: {one_line(str(reason))}"
        why = "Whether anything was changed is not known."
        top = top_of(folder_of(reader.book, name) / "build.yaml")
        remedy = "copy the folder first; then bring the objects in from another copy of the book (git fetch)"
        found.findings.insert(0, Finding("error", "git-store", top, what, why, remedy))
        return found


def _weight(finding: Finding) -> tuple[int, bool, Where]:
    """The worst first, and what happened to the record before the figures that are others for it."""
    return ORDER.index(finding.severity), finding.rule == FIGURES_DIFFER, finding.where


_RESTORE = "bring the seal in from another copy of the book: buildbook sync"
SEALED = "What was handed over with the engine is what was sealed; the record must say the same ten years on."
_APART = "Each signed for what its own bench had then."
_ON_THE_WAY = "Who signed did not see it, and the figures that were signed do not have it."


def _anew(tag: Seal) -> str:
    return f"delete it (git tag -d {tag.tag}), then {_RESTORE}"


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
        self.seen: set[tuple[Path, Steps | None]] = set()
        self.origins: dict[str, Origin] = {}  # sign-off → where it came from
        self.tags: dict[str, Seal] = {}  # sign-off → its seal
        self.figures: dict[str | None, Mapping[str, Named]] = {}

    def audit(self) -> BuildAudit:
        found = self.found
        if self.build is None:
            found.findings += [each for each in self.loaded.findings if each.severity == "error"]
        signed = self._signed()
        records = dict(signed)
        if self.history is not None:
            self.origins = self.history.origins(self.path, "sign_offs")
            self._assign_seals()
            for id_ in (*self.origins, *self.tags):
                if (then := self._when_signed(id_)) is not None:
                    records.setdefault(id_, then)
            # the last stage signs for everything, so what it finds needs no other sign-off to find it again
            ids = dict.fromkeys((*signed, *self.origins, *self.tags))
            for id_ in sorted(
                ids, key=lambda id_: id_ not in self.tags and not (id_ in records and records[id_].seals)
            ):
                self._sign_off(id_, signed.get(id_))
        else:
            found.as_signed = None
            for id_, sign_off in signed.items():
                self._figures(id_, sign_off, None)
        self._say_what_differs()
        self._conclude(list(records.values()))
        if self.build is not None:
            self._records(self.build)
        found.findings = sorted(dict.fromkeys(found.findings), key=_weight)
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
        if closing is not None and self.history is not None:
            tag, origin = self.tags.get(str(closing.id)), self.origins.get(str(closing.id))
            sha = tag.commit if tag is not None else origin.sha if origin is not None else None
            then = self.history.then(self.name, sha) if sha is not None else None
            if then is not None and sha is not None:
                found.outside = list(outside.otherwise(self.history, then, sha))
        if self.build is not None and closing is not None and found.as_signed is False:
            today = named_figures(work_out(self.build))
            signed = next((each for each in records if each.id == closing.id), closing)
            found.moved = compared(signed.figures, signed.units, today).differing

    def _signed(self) -> dict[str, SignOff]:
        return {each.id: each for each in self.build.sign_offs if each.id} if self.build else {}

    def _say(self, severity: Severity, rule: str, where: Where, what: str, why: str, remedy: str) -> None:
        self.found.findings.append(Finding(severity, rule, where, what, why, remedy))

    def _assign_seals(self) -> None:
        """Which seal is whose: that of the sign-off that its commit brought, whatever number a merge gave that since;
        any other one, by its name."""
        assert self.history is not None
        tags = dict(self.history.tags.get(self.name, {}))
        known = {tag.sign_off for tag in tags.values() for id_ in self.origins if self._brought_by(tag, id_)}
        for id_ in self.origins:
            own = [tag for tag in tags.values() if self._brought_by(tag, id_)]
            if own:
                self.tags[id_] = next((tag for tag in own if tag.sign_off == id_), own[0])
        for name, tag in tags.items():
            if name in known:
                continue
            if name in self.tags:
                what = f"there is a second seal of {name} ({tag.tag}), at {tag.commit[:7]}, which did not bring it"
                remedy = _anew(tag)
                self._say("error", "seal-moved", top_of(self.path), what, SEALED, remedy)
            else:
                self.tags[name] = tag

    def _brought_by(self, tag: Seal, id_: str) -> bool:
        origin = self.origins[id_]
        return tag.commit == origin.sha and tag.sign_off in {id_, origin.id}

    def _sign_off(self, id_: str, today: SignOff | None) -> None:
        """One sign-off, as it stands today, with its tag and the commit that brought it."""
        where = today.where if today else top_of(self.path)
        tag, origin = self.tags.get(id_), self.origins.get(id_)
        signed = (self._then(origin.sha, origin.id) if origin else None) or today
        base = origin.sha if origin else None
        if tag is not None or (signed is not None and signed.digest is not None):
            whole = self._seal(id_, signed, where)
            if tag is not None and whole:
                self.found.seal = tag
                base = tag.commit
                signed = self._then(base, tag.sign_off) or self._then(base, origin.id if origin else id_) or signed
        if base is not None:
            self._compare(id_, signed, base, sealed=self.found.seal is not None and self.found.seal is tag)
        elif today is not None:
            what = f"{id_} is not in git's history yet"
            why = "Until it is committed, anybody can change it and nobody can tell."
            self._say("warning", "not-kept", where, what, why, "commit it: buildbook keep")
        if today is not None:
            self._figures(id_, today, base)

    def _then(self, sha: str, id_: str) -> SignOff | None:
        """A sign-off as it was in a commit, under the id that it had there."""
        then = self.history.then(self.name, sha) if self.history else None
        return next((each for each in then.sign_offs if each.id == id_), None) if then else None

    def _when_signed(self, id_: str) -> SignOff | None:
        origin, tag = self.origins.get(id_), self.tags.get(id_)
        if origin is not None:
            return self._then(origin.sha, origin.id)
        return self._then(tag.commit, tag.sign_off) if tag is not None else None

    def _seal(self, id_: str, signed: SignOff | None, where: Where) -> bool:
        """What is wrong with a seal itself; whether its tag can be relied upon."""
        history = self.history
        assert history is not None
        tag = self.tags.get(id_)
        if tag is None:
            self._no_seal(id_, signed, where)
            return False
        entered_as = self.origins[id_].id if id_ in self.origins and self._brought_by(tag, id_) else None
        files = history.files(self.name, tag.commit)
        fault = seal.fault_of(self.book, tag, files, entered_as) or self._not_its_own(id_, tag)
        if fault is not None:
            what = f"the seal of {id_} ({tag.tag}) does not hold: {fault}"
            self._say("error", "seal-moved", where, what, SEALED, _anew(tag))
            self._signed_state(id_, signed, where)
            return False
        if not tag.in_history and history.leads_to(tag.commit):
            what = f"the book stands at {history.head[:7]}, from before {id_} was sealed ({tag.commit[:7]}): what came "
            what += "after that is not in its files"
            remedy = f"go forward: git switch BRANCH, or where that was put back, git merge --ff-only {tag.tag}"
            self._say("error", "before-the-seal", where, what, SEALED, remedy)
        elif not tag.in_history:
            what = f"the commit that {id_} sealed ({tag.commit[:7]}) is not in the book's history any more"
            remedy = "somebody amended or rewrote it: compare with another copy of the book, and go on from that one"
            self._say("error", "history-rewritten", where, what, SEALED, remedy)
        if tag.signed and (said := seal.signature_fault(self.book, tag)):
            told = any(
                word in said for word in ("BAD signature", "Signature verification failed", "incorrect signature")
            )
            rule, severity = ("signature", "error") if told else ("signature-unknown", "note")
            what = f"the signature of {tag.tag} {'is false' if told else 'cannot be checked here'}: {one_line(said)}"
            remedy = _anew(tag) if told else "tell git whose keys to trust (gpg, or gpg.ssh.allowedSignersFile)"
            self._say("error" if severity == "error" else "note", rule, where, what, SEALED, remedy)
        return True

    def _no_seal(self, id_: str, signed: SignOff | None, where: Where) -> None:
        """A sign-off that says that the build was sealed, and has no tag."""
        what = f"{id_} says that {self.name} was sealed, and there is no tag {seal.PREFIX}{self.name}/{id_}: it was "
        what += "not made when the build was signed, or it was deleted"
        remedy, closing = _RESTORE, sealed_by(self.known) if self.known else None
        if closing is not None and closing.id == id_:
            remedy += f"; if no copy has it, 'buildbook sign {closing.stage} {self.name}' makes it, where all is still "
            remedy += "as it was signed"
        self._say("error", "seal-missing", where, what, SEALED, remedy)
        self._signed_state(id_, signed, where)

    def _not_its_own(self, id_: str, tag: Seal) -> str | None:
        """Why a tag that agrees with its commit is still not the one that was made with the sign-off."""
        origin = self.origins.get(id_)
        own = origin is not None and origin.sha == tag.commit
        sealed = self._then(tag.commit, origin.id if origin is not None and own else tag.sign_off)
        if sealed is None:
            return f"it points at a commit ({tag.commit[:7]}) in which the build has no {id_}"
        if tag.in_history and origin is not None and not own:
            return f"it points at {tag.commit[:7]}, and {id_} came with {origin.sha[:7]}"
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

    def _signed_state(self, id_: str, signed: SignOff | None, where: Where) -> None:
        """With no tag to rely upon, the sign-off's own digest still tells what it was signed on."""
        origin = self.origins.get(id_)
        if signed is not None and signed.digest and origin is not None and not self._is_before(signed, origin.sha):
            what = f"what git has from before {id_} is not what {id_} was signed on: its digest is another"
            remedy = "the history was rewritten, or the sign-off changed: compare with another copy of the book"
            self.found.as_signed = False
            self._say("error", "history-rewritten", where, what, SEALED, remedy)

    def _compare(self, id_: str, signed: SignOff | None, base: str, *, sealed: bool) -> None:
        """The build as it was signed, against today's files and against git; or, where it was opened again, against
        what it was just before that."""
        history = self.history
        assert history is not None
        was = history.files(self.name, base)
        report = _Report(id_, signed, base, sealed)
        reopening = reopening_of(self.known, signed) if self.known and signed else None
        if reopening is not None:
            before = self._before_opening(base, reopening)
            now = history.files(self.name, before)
            found = seal.differences(was, now, history.renamed(now, base, before))
            self._report(report, found, now, f"before {reopening.id}, ", before)
            return
        head = history.files(self.name, history.head)
        today = seal.on_disk(self.book, self.name, {*was, *head})
        renamed = history.renamed(head, base, history.head)
        self._report(report, seal.differences(was, today, renamed), today)
        if head != today:
            self._report(report, seal.differences(was, head, renamed), head, "in git, though not on disk: ")

    def _before_opening(self, base: str, reopening: Reopening) -> str:
        """The last commit after a sign-off's own that did not have its reopening yet."""
        history = self.history
        assert history is not None
        origin = history.origins(self.path, "reopened").get(reopening.id or "")
        if origin is None:
            return history.head
        later = history.after(base)
        if origin.sha not in later:  # opened at another bench: what counts is when that came to this one
            with_it = [sha for sha in reversed(history.log.commits) if sha in later & history.after(origin.sha)]
            parents = history.log.commits[with_it[0]].parents if with_it else ()
            return next((each for each in parents if each == base or each in later), history.head)
        return next((each for each in history.log.commits[origin.sha].parents), origin.sha)

    def _report(
        self, of: "_Report", found: Iterable[Altered], now: Files, lead: str = "", before: str | None = None
    ) -> None:
        """What differs from what was signed; with `before`, what did so in that commit, before the build was opened."""
        history = self.history
        assert history is not None
        id_, signed = of.id, of.signed
        everything = of.sealed or signed is None or signed.seals
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
            if self._is_of_a_merge(of, altered, now):
                continue
            self.found.as_signed = self.found.as_signed and before is not None
            who = history.who(altered, now.get(altered.path), since=of.base, at=before)
            what = f"{lead}{altered.what}, since {id_} was {'sealed' if of.sealed else 'signed'}: {who}"
            engine = altered.path.name == "engine.yaml"
            if before is not None:
                remedy = "if nobody can say why, treat it as tampering; what was signed is still in git: "
                remedy += f"buildbook diff {self.name} --as-of {id_}"
                self._say("warning", "changed-before-reopening", altered.where, what, SEALED, remedy)
            elif everything:
                remedy = f"{self._way_back(of, altered.path)}; if it is meant, reopen the build first (buildbook "
                remedy += "reopen), and say why"
                rule = "engine-changed" if engine else "sealed-changed"
                self._say("warning" if engine else "error", rule, altered.where, what, SEALED, remedy)
            else:
                rule = ENTERED_AFTER if altered.added else "changed-after"
                remedy = f"sign {signed.stage if signed else 'it'} again once this is seen, or bring the old state back"
                self._say("warning", rule, altered.where, what, _ON_THE_WAY, remedy)

    def _way_back(self, of: "_Report", path: Path) -> str:
        """How a file comes to be what it was when it was signed, on disk and in git."""
        history = self.history
        assert history is not None
        was, head = (history.files(self.name, sha).get(path) for sha in (of.base, history.head))
        on_disk = path.read_bytes() if path.is_file() else None
        revision = self.tags[of.id].tag if of.sealed else of.base[:10]
        commit = seal.command(self.book, f"commit -m 'Take out {path.name}' --", path)
        if was is None and on_disk is None:
            return f"it is taken out of the folder, and not of git yet: {commit}"
        if was is None:
            return f"take it out: delete it{f', then {commit}' if head is not None else ''}"
        if was == on_disk:
            return "the file is as it was again, and not yet in git: buildbook keep"
        back = seal.command(self.book, f"checkout {revision} --", path)
        return f"bring it back: {back}" + ("; then 'buildbook keep'" if head != was else "")

    def _is_of_a_merge(self, of: "_Report", altered: Altered, now: Files) -> bool:
        """Whether something differs only because two benches were brought together, and needs no more than a note: a
        sign-off that another bench made at the same time, or what the merge left for somebody to decide."""
        history, steps = self.history, altered.steps
        if history is None or not steps:
            return False
        if altered.path == self.path and altered.added and steps[:-1] == ("sign_offs",):
            other = str(steps[-1])
            made = self.origins.get(other)
            if made is None or not history.apart(made.sha, of.base):
                return False
            one, two = sorted((of.id, other))
            what = f"{one} and {two} were signed at two benches ({self.origins[one].sha[:7]}, "
            what += f"{self.origins[two].sha[:7]}), neither of which knew of the other"
            self._say("note", "signed-apart", top_of(self.path), what, _APART, "nothing, if both are so")
            return True
        node = find(now.get(altered.path), steps) if steps == ("note",) else None
        rest, marks = parted(node.text) if isinstance(node, TextNode) else ("", [])
        was = find(history.files(self.name, of.base).get(altered.path), steps)
        if not marks or rest != (was.text if isinstance(was, TextNode) else ""):
            return False
        brought = history.brought(altered, now.get(altered.path), since=of.base)
        if isinstance(brought, str) or len(brought.commit.parents) < 2:
            return False
        for each in marks:
            what = (
                f"two benches were brought together ({brought.commit.sha[:7]}), and this is to decide: {each.where}: "
            )
            what += f"{each.counts} counts, the other is {each.other}"
            self._say("note", "undecided", altered.where, what, _APART, "decide it: 'buildbook sync' says how")
        return True

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

    def _say_what_differs(self) -> None:
        """The signed figures that come out differently, those of a kind together, however often they were signed."""
        kinds: dict[tuple[str, str, str | None], list[Difference]] = {}
        for sign_off, version, each in self.found.differing:
            kinds.setdefault((each.name.partition(".")[0], sign_off, version), []).append(each)
        signed: dict[tuple[str, str | None], list[str]] = {}
        where: dict[tuple[str, str | None], Where] = {}
        for (_, sign_off, version), differing in kinds.items():
            said = "; ".join(
                f"{each.name} {each.signed} → {each.today} {each.unit}".rstrip() + f" ({each.by})"
                if each.today is not None
                else f"{each.name} {each.signed} → {each.by or 'no such figure'}"
                for each in differing
            )
            signed.setdefault((said, version), []).append(sign_off)
            where.setdefault((said, version), differing[0].where)
        for (said, version), ids in signed.items():
            by = f"version {version}" if version else "an unknown version"
            what = f"signed in {', '.join(sorted(ids))} with {by}, and today's formulas give: {said}"
            why = "Either the record was changed, or the program works the figure out differently now."
            remedy = "compare the two versions' formulas for it, and correct what is wrong by reopening the build"
            self._say("error", FIGURES_DIFFER, where[said, version], what, why, remedy)

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


class _Report(NamedTuple):
    """What is held against today's state: a sign-off, and the commit in which it is held to be."""

    id: str
    signed: SignOff | None
    base: str
    sealed: bool


def _concerns(signed: SignOff | None, id_: str, altered: Altered, superseded: bool) -> bool:
    """Whether what is altered was signed for at a stage on the way: its own record always; its files, and the choices
    that its figures rest on, as long as the stage was not signed again."""
    steps = altered.steps or ()
    if altered.path.name == "build.yaml":
        if steps[:2] == ("sign_offs", id_):
            return True
        return bool(signed and covered(signed)) and not superseded and steps[:1] in {("balance",), ("units",)}
    return signed is not None and not superseded and altered.path.stem in covered(signed)


def _steps_to(node: Node | None, where: Where, steps: Steps = ()) -> Steps:
    """The way to what stands at a place, or nothing."""
    for step, inner in inside(node).items():
        if inner.where == where:
            return (*steps, step)
        if found := _steps_to(inner, where, (*steps, step)):
            return found
    return ()


def one_line(text: str) -> str:
    return " ".join(text.split())
