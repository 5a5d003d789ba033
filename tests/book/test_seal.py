"""Tampering: whatever is changed in a sealed build, by whatever way, is found and named; what is as it was is not."""

import re
import shutil
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from random import Random
from typing import NamedTuple

import pytest
from cli.workshop import git, into_git, one_after_the_other
from conftest import Book
from figures.ledger import PARTS, pairings, weighings
from test_mutations import ODD

from buildbook.book.auditing import seal
from buildbook.book.auditing.audit import BookAudit, audit
from buildbook.book.auditing.build_audit import BuildAudit, audit_build
from buildbook.book.history import History
from buildbook.book.loader import parse
from buildbook.book.reading import Reader
from buildbook.records.tree import ListNode, MapNode, Node, TextNode

NAME = "twin/first"
CHANGED = {"sealed-changed", "engine-changed"}
TAG = f"sealed/{NAME}/A2"
WEIGHED = (
    "id: W1, what: rod_big_end, readings: {R1: 421.4, R2: 420.9}",
    "id: W2, what: piston, readings: {P1: [480.1, 480.2], P2: 482.0}",
    "id: W3, what: piston, void: not level, readings: {P1: 499.9}",
    "id: W4, what: ring_set, lot: {total: 110.8, pieces: 2, per_cylinder: 1}",
)
CLEARANCES = """\
format: 1
units: {length: mm}
sessions:
  - {id: M1, taken: 2026-10-03, by: ava, with: gauge, what: rod_side, readings: {1: 0.30}}
"""


@pytest.fixture(scope="module")
def original(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small book in git, its one build signed as matched and sealed as assembled, by the commands themselves."""
    book = Book(tmp_path_factory.mktemp("sealed") / "book")
    shop = (book.root / "shop.yaml").read_text()
    book.write("shop.yaml", f"{shop}  gauge: {{kind: feeler_gauge, resolution: 0.01 mm}}\n")
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings(*WEIGHED))
    book.write("clearances.yaml", CLEARANCES)
    book.write("pairings.yaml", pairings("rod: R1, piston: P1, pin: N1", "rod: R2, piston: P2, pin: N2"))
    into_git(book.root)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("GIT_CONFIG_NOSYSTEM", "1")
        patch.setenv("HOME", str(book.root.parent))
        signed = one_after_the_other([f"sign {stage} {NAME} --by ava" for stage in ("matched", "assembled")], book.root)
    assert [(each.code, each.stderr) for each in signed] == [(0, ""), (0, "")], signed
    return book.root


class Sealed(NamedTuple):
    root: Path

    @property
    def folder(self) -> Path:
        return self.root / "engines" / "twin" / "first"

    def whole(self) -> BookAudit:
        return audit(self.root, [NAME], datetime.now(UTC), whole=True)

    def audit(self, history: History | None = None) -> BuildAudit:
        return audit_build(history or History(self.root), Reader(self.root), NAME, datetime.now(UTC))

    def rules(self) -> set[str]:
        return {each.rule for each in self.audit().findings if each.severity != "note"}

    def change(self, file: str, old: str, new: str) -> Path:
        path = self.folder / file
        text = path.read_text()
        assert text.count(old) >= 1
        path.write_text(text.replace(old, new, 1))
        return path

    def commit(self, *arguments: str) -> None:
        git(self.root, "commit", "--quiet", "--all", "--message=Tidy", *arguments)

    def first(self) -> str:
        return git(self.root, "rev-list", "--max-parents=0", "HEAD").strip()


@pytest.fixture
def sealed_build(original: Path, tmp_path: Path) -> Sealed:
    return Sealed(Path(shutil.copytree(original, tmp_path / "book")))


def test_a_sealed_build_is_as_sealed(sealed_build: Sealed) -> None:
    result = sealed_build.whole()
    (build,) = result.builds
    assert [each.rule for each in (*result.findings, *build.findings)] == ["voided"]
    assert build.closed
    assert build.as_signed
    assert build.seal is not None
    assert build.seal.tag == TAG
    assert build.checked > 10
    assert build.differing == []


def test_the_seal_says_what_it_seals_for_a_person_and_for_a_program(sealed_build: Sealed) -> None:
    (found,) = seal.seals(sealed_build.root)
    assert found.message.startswith("twin/first: assembled, sealed (A2)\n\nSigned by Ava Merrow on 20")
    assert (found.said["Build"], found.said["Record"]) == (NAME, "A2")
    files = seal.committed(sealed_build.root, NAME, "HEAD")
    assert found.said["Digest"] == seal.digest_of(sealed_build.root, files)
    before = seal.committed(sealed_build.root, NAME, "HEAD^")
    assert f"digest: {seal.digest_of(sealed_build.root, before)}" in (sealed_build.folder / "build.yaml").read_text()


def test_a_digest_depends_on_every_name_and_every_byte_of_a_folder(sealed_build: Sealed) -> None:
    root = sealed_build.root
    files = seal.on_disk(root, NAME)
    digests = {seal.digest_of(root, files)}
    for path, content in files.items():
        rest = {other: files[other] for other in files if other != path}
        for changed in (rest, rest | {path: content + b"\n"}, rest | {path.with_name("x.yaml"): content}):
            digests.add(seal.digest_of(root, changed))
    assert len(digests) == 1 + 3 * len(files)
    # what moves from the end of one file to the beginning of another is not the same
    one, other = root / "a", root / "b"
    assert seal.digest_of(root, {one: b"xy", other: b"z"}) != seal.digest_of(root, {one: b"x", other: b"yz"})


class Tampered(NamedTuple):
    """A file with one value changed, and the line it stands in."""

    path: Path
    content: bytes
    line: int
    value: str


def tampered(root: Path) -> list[Tampered]:
    """Every value of every sealed file, changed one by one."""
    folder = root / "engines" / "twin"
    found = []
    for path in (folder / "engine.yaml", *sorted((folder / "first").glob("*.yaml"))):
        text = path.read_text()
        tree, wrong = parse(text, str(path))
        assert tree is not None
        assert not wrong
        for node in values(tree):
            was = text[node.start : node.end]
            new = changed(was)
            assert new != was
            found.append(Tampered(path, (text[: node.start] + new + text[node.end :]).encode(), node.where.line, was))
    return found


def values(node: Node) -> Iterator[TextNode]:
    if isinstance(node, TextNode):
        yield node
    for inner in (
        node.items if isinstance(node, ListNode) else node.values.values() if isinstance(node, MapNode) else ()
    ):
        yield from values(inner)


def changed(text: str) -> str:
    """Another value that looks as good: another last digit, another day, another letter."""
    digits = re.search(r"\d(?=\D*$)", text)
    if digits:
        digit = "1" if digits[0] != "1" else "2"
        return text[: digits.start()] + digit + text[digits.end() :]
    return text[:-1] + ("x" if text[-1] != "x" else "y")


def unnamed(audited: BuildAudit, each: Tampered) -> list[str]:
    """Nothing, where a finding names the file and the line, or says that the file can no longer be read; else what
    there is instead."""
    for finding in audited.findings:
        there = finding.where.line == each.line or "cannot be read" in finding.what
        if there and finding.rule in CHANGED and Path(finding.where.file).name == each.path.name:
            return []
    return [f"{each.path.name}:{each.line} {each.value}: {[(f.rule, f.what) for f in audited.findings]}"]


def test_every_single_value_changed_by_hand_is_named(sealed_build: Sealed) -> None:
    history = History(sealed_build.root)
    every = tampered(sealed_build.root)
    assert len(every) > 90
    missed = []
    for each in every:
        was = each.path.read_bytes()
        each.path.write_bytes(each.content)
        audited = sealed_build.audit(history)
        each.path.write_bytes(was)
        missed += unnamed(audited, each)
        assert all("edited by hand" in f.what for f in audited.findings if f.rule == "sealed-changed")
    assert missed == []


def forged(book: Sealed, *, commit: str = "HEAD") -> None:
    """The seal made anew by somebody who knows how, at another commit, with the digest that this commit has."""
    (old,) = [each for each in seal.seals(book.root) if each.tag == TAG]
    digest = seal.digest_of(book.root, seal.committed(book.root, NAME, commit))
    message = old.message.replace(old.said["Digest"], digest)
    git(book.root, "tag", "--force", "--annotate", f"--message={message}", TAG, commit)


def test_whatever_a_sealed_file_is_made_to_say_is_named_and_stops_no_audit(sealed_build: Sealed) -> None:
    history = History(sealed_build.root)
    pick = Random(5)
    for _ in range(80):
        path = pick.choice(sorted(sealed_build.folder.glob("*.yaml")))
        was = path.read_bytes()
        text = was.decode()
        tree = parse(text, str(path))[0]
        assert tree is not None
        node = pick.choice(list(values(tree)))
        odd = pick.choice(ODD)
        now = (text[: node.start] + odd + text[node.end :]).encode()
        path.write_bytes(now)
        found = {each.rule for each in sealed_build.audit(history).findings}
        path.write_bytes(was)
        assert now == was or found & CHANGED, (path.name, node.text, odd)


def amend(book: Sealed) -> None:
    book.commit("--amend")


def commit_and_put_the_disk_back(book: Sealed) -> None:
    book.commit()
    git(book.root, "checkout", "--quiet", "HEAD^", "--", "engines")


def commit_and_move_the_seal(book: Sealed) -> None:
    book.commit()
    forged(book)


def commit_and_delete_the_seal(book: Sealed) -> None:
    book.commit()
    git(book.root, "tag", "--delete", TAG)


# Each way to change what git has, and what is found besides the value itself.
WAYS: list[tuple[Callable[[Sealed], None], set[str]]] = [
    (Sealed.commit, set()),
    (amend, {"history-rewritten"}),
    (commit_and_put_the_disk_back, set()),
    (commit_and_move_the_seal, {"seal-moved"}),
    (commit_and_delete_the_seal, {"seal-missing"}),
]


@pytest.mark.parametrize("way", range(len(WAYS)), ids=[tamper.__name__ for tamper, _ in WAYS])
def test_values_changed_in_git_are_named_with_who_and_when(sealed_build: Sealed, way: int) -> None:
    """Each way at every fifth value, so that each value is changed in one of the ways."""
    tamper, rules = WAYS[way]
    head = git(sealed_build.root, "rev-parse", "HEAD").strip()
    tag = git(sealed_build.root, "rev-parse", f"refs/tags/{TAG}").strip()
    every = tampered(sealed_build.root)[way::5]
    assert len(every) > 15
    missed = []
    for each in every:
        each.path.write_bytes(each.content)
        tamper(sealed_build)
        audited = sealed_build.audit()
        git(sealed_build.root, "reset", "--quiet", "--hard", head)
        git(sealed_build.root, "update-ref", f"refs/tags/{TAG}", tag)
        found = {finding.rule for finding in audited.findings}
        missed += unnamed(audited, each)
        missed += [f"{each.value}: {rules - found}"] if not rules <= found else []
        # an amended commit keeps its author, and what it took out was never there
        who = "by Ava Merrow on 20|nowhere in the history" if tamper is amend else "by Test on 20"
        missed += [f.what for f in audited.findings if f.rule in CHANGED and not re.search(who, f.what)]
    assert missed == []
    assert sealed_build.rules() == set()


def test_a_history_that_was_rewritten_from_its_beginning_is_named(sealed_build: Sealed) -> None:
    """Every commit made anew, with another weight from the first one on."""
    root = sealed_build.root
    signed = git(root, "rev-list", "--reverse", "HEAD").split()[1:]
    git(root, "reset", "--quiet", "--hard", sealed_build.first())
    sealed_build.change("weighings.yaml", "421.4", "421.5")
    sealed_build.commit("--amend")
    git(root, "cherry-pick", *signed)
    assert sealed_build.rules() >= {"history-rewritten", "sealed-changed"}
    git(root, "tag", "--delete", TAG)  # and now the seal is gone as well: the sign-off's own digest tells
    audited = sealed_build.audit()
    assert [each.rule for each in audited.findings[:2]] == ["seal-missing", "history-rewritten"]  # before the figures
    assert not audited.as_signed


def test_a_history_rewritten_without_any_change_is_named(sealed_build: Sealed) -> None:
    git(sealed_build.root, "commit", "--quiet", "--amend", "--message=Something else")
    assert sealed_build.rules() == {"history-rewritten"}


def test_a_seal_that_was_deleted_is_named(sealed_build: Sealed) -> None:
    git(sealed_build.root, "tag", "--delete", TAG)
    assert sealed_build.rules() == {"seal-missing"}


def test_a_seal_moved_to_an_earlier_or_later_commit_is_named(sealed_build: Sealed) -> None:
    root = sealed_build.root
    (root / "shop.yaml").write_text((root / "shop.yaml").read_text() + "# more\n")
    sealed_build.commit()
    for commit in ("HEAD", "HEAD^^", sealed_build.first()):
        forged(sealed_build, commit=commit)
        assert sealed_build.rules() == {"seal-moved"}


def test_a_plain_tag_in_the_seals_place_is_named(sealed_build: Sealed) -> None:
    git(sealed_build.root, "tag", "--force", TAG, "HEAD")
    assert sealed_build.rules() == {"seal-moved"}


@pytest.mark.parametrize("trailer", ["Digest", "Figures-Digest", "Record", "Build"])
def test_a_seal_with_another_message_is_named(sealed_build: Sealed, trailer: str) -> None:
    (old,) = seal.seals(sealed_build.root)
    message = re.sub(rf"^({trailer}: .*)(.)$", r"\1x", old.message, flags=re.MULTILINE)
    assert message != old.message
    git(sealed_build.root, "tag", "--force", "--annotate", f"--message={message}", TAG, "HEAD")
    assert sealed_build.rules() == {"seal-moved"}


def test_what_was_sealed_and_is_gone_is_named(sealed_build: Sealed) -> None:
    (sealed_build.folder / "clearances.yaml").unlink()
    assert "clearances.yaml is gone" in sealed_build.audit().findings[0].what
    shutil.rmtree(sealed_build.folder)
    result = audit(sealed_build.root, [], datetime.now(UTC), whole=True)
    assert [each.rule for each in result.findings] == ["sealed-gone"]
    git(sealed_build.root, "tag", "--delete", TAG)  # the history still tells
    sealed_build.commit()
    (gone,) = audit(sealed_build.root, [], datetime.now(UTC), whole=True).findings
    assert gone.rule == "sealed-gone"
    back = gone.remedy.removeprefix("bring it back: git ").partition(";")[0].split(" ")
    git(sealed_build.root, *back)
    assert seal.on_disk(sealed_build.root, NAME).keys() >= {sealed_build.folder / "build.yaml"}


def test_a_file_that_was_added_and_one_that_cannot_be_read_are_named(sealed_build: Sealed) -> None:
    (sealed_build.folder / "spins.yaml").write_text("format: 1\n")
    (sealed_build.folder / "holiday.jpg").write_bytes(b"\0")  # nobody's business
    said = [each.what for each in sealed_build.audit().findings if each.rule == "sealed-changed"]
    assert [each.partition(",")[0] for each in said] == ["spins.yaml was not there"]
    (sealed_build.folder / "spins.yaml").unlink()
    sealed_build.change("weighings.yaml", "sessions:", "sessions: [")
    audited = sealed_build.audit()
    assert any("weighings.yaml cannot be read any more" in each.what for each in audited.findings)


def test_a_comment_is_a_change_and_the_line_ends_of_another_system_are_none(sealed_build: Sealed) -> None:
    path = sealed_build.folder / "weighings.yaml"
    was = path.read_bytes()
    path.write_bytes(was.replace(b"\n", b"\r\n"))
    assert sealed_build.rules() == set()
    path.write_bytes(was + b"# the scale was off\n")
    (finding,) = [each for each in sealed_build.audit().findings if each.rule == "sealed-changed"]
    assert "no value" in finding.what
    assert finding.where.line == len(was.splitlines()) + 1


def test_what_changed_is_told_by_meaning(sealed_build: Sealed) -> None:
    sealed_build.change("weighings.yaml", "R2: 420.9", "R2: 422.9")
    sealed_build.change("weighings.yaml", "not level", "level")
    sealed_build.change("parts.yaml", "P1, P2", "P1")
    said = [each.what.partition(",")[0] for each in sealed_build.audit().findings if each.rule == "sealed-changed"]
    assert said == ["#2 ids #2 is gone: P2", "W1 readings R2: 420.9 → 422.9", "W3 void: not level → level"]


def test_the_figures_that_a_change_moves_are_told_and_those_that_were_signed_still_agree(sealed_build: Sealed) -> None:
    sealed_build.change("weighings.yaml", "P2: 482.0", "P2: 482.5")
    audited = sealed_build.audit()
    assert audited.differing == []
    moved = {each.name: (each.signed, each.today, each.by) for each in audited.moved}
    assert moved["piston.P2"] == ("482.0", "482.5", "+0.5")
    assert "piston_spread" in moved
    assert "piston.P1" not in moved


def test_a_reopened_build_that_cannot_be_read_is_still_a_reopened_one(sealed_build: Sealed) -> None:
    (opened,) = one_after_the_other([["reopen", NAME, "--because", "a pin", "--by", "ava"]], sealed_build.root)
    assert opened.code == 0, opened
    sealed_build.change("weighings.yaml", "P2: 482.0", "P2: 482.5")
    sealed_build.commit()
    assert sealed_build.rules() == set()
    sealed_build.change("weighings.yaml", "sessions:", "sessions: [")
    assert sealed_build.rules() == {"yaml"}


def test_a_record_slipped_in_before_a_sign_off_with_an_old_date_is_found(sealed_build: Sealed) -> None:
    """Signed on the way, not sealed: the date is in order, and git knows that it came later."""
    root = sealed_build.root
    git(root, "tag", "--delete", TAG)
    git(root, "reset", "--quiet", "--hard", "HEAD^")  # as it was with A1 alone
    more = "  - {id: W9, what: piston, taken: 2026-10-03T09:10+01:00, by: ava, with: scale, readings: {P1: 480.3}}\n"
    path = sealed_build.folder / "weighings.yaml"
    path.write_text(path.read_text() + more)
    sealed_build.commit()
    (finding,) = [each for each in sealed_build.audit().findings if each.severity != "note"]
    assert (finding.rule, finding.severity) == ("entered-after", "warning")
    assert finding.what.startswith("W9 was not there")
    assert "by Test on 20" in finding.what


def test_a_signed_figure_that_was_changed_is_told_with_by_how_much_and_which_version(sealed_build: Sealed) -> None:
    text = (sealed_build.folder / "build.yaml").read_text()
    old = re.search(r"piston_spread: ([\d.]+)", text)
    assert old is not None
    git(sealed_build.root, "tag", "--delete", TAG)
    git(sealed_build.root, "reset", "--quiet", "--hard", "HEAD^")
    sealed_build.change("build.yaml", old[0], "piston_spread: 9.9")
    audited = sealed_build.audit()
    (drift,) = audited.differing
    assert (drift.sign_off, drift.version, drift.difference.name) == ("A1", "0.1.0", "piston_spread")
    assert drift.difference.signed == "9.9"
    (finding,) = [each for each in audited.findings if each.rule == "figures-differ"]
    assert finding.severity == "error"
    assert "version 0.1.0" in finding.what


def test_formulas_that_give_another_figure_are_found(sealed_build: Sealed, monkeypatch: pytest.MonkeyPatch) -> None:
    """A new version of the program that works out a bobweight differently."""
    from buildbook.book.auditing import build_audit as module
    from buildbook.figures.named import named_figures

    def other(figures: object) -> object:
        found = named_figures(figures)  # type: ignore[arg-type]
        name = "piston_spread"
        return found | {name: found[name]._replace(value=found[name].value + 1)}

    monkeypatch.setattr(module, "named_figures", other)
    audited = sealed_build.audit()
    assert [(each.sign_off, each.difference.by) for each in audited.differing] == [("A2", "+1.00"), ("A1", "+1.00")]
    assert audited.as_signed
    (finding,) = [each for each in audited.findings if each.rule == "figures-differ"]
    assert finding.what.startswith("signed in A1, A2 with version 0.1.0, and today's formulas give: piston_spread ")


def test_who_made_a_record_void_is_told(sealed_build: Sealed) -> None:
    (finding,) = [each for each in sealed_build.audit().findings if each.rule == "voided"]
    assert finding.severity == "note"
    assert re.search(r"W3 is void: not level; made void by Test on \d{4}-\d\d-\d\d \([0-9a-f]{7}\)", finding.what)


def test_a_damaged_store_is_found(sealed_build: Sealed) -> None:
    blob = git(sealed_build.root, "rev-parse", "HEAD:shop.yaml").strip()
    path = sealed_build.root / ".git" / "objects" / blob[:2] / blob[2:]
    path.chmod(0o644)
    path.write_bytes(path.read_bytes()[:-5])
    assert "git-store" in {each.rule for each in sealed_build.whole().findings}


def test_a_book_without_history_is_audited_as_far_as_it_goes(sealed_build: Sealed) -> None:
    shutil.rmtree(sealed_build.root / ".git")
    result = sealed_build.whole()
    assert [each.rule for each in result.findings] == ["no-history"]
    (build,) = result.builds
    assert build.checked > 10
    sealed_build.change("weighings.yaml", "P2: 482.0", "P2: 483.0")
    assert {each.rule for each in sealed_build.whole().builds[0].findings} >= {"figures-differ"}
