"""Benches and a remote, in real git: all converge, nothing is lost, and a failure leaves everything as it was."""

import re
import subprocess
import tempfile
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from shutil import copytree

import pytest
from cli.workshop import git, into_git
from conftest import Book
from figures.ledger import PARTS
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, rule, run_state_machine_as_test

from buildbook.book import git as book_git
from buildbook.book.places import Misuse
from buildbook.book.reading import Reader
from buildbook.book.sync import checkout, syncing, trees
from buildbook.book.sync.syncing import sync
from buildbook.book.sync.tree_merging import merge_contents
from buildbook.figures import work_out

FIRST = """\
format: 1
units: {mass: g}
sessions:
  - {id: W1, taken: 2026-10-03T09:00+01:00, by: ava, with: scale, what: rod, readings: {R1: 575.3}}
"""

WEIGHINGS = "engines/twin/first/weighings.yaml"


class Benches:
    """A bare remote, and three benches that are clones of it with a book in them: copies of what was made once."""

    def __init__(self, folder: Path, template: Path) -> None:
        copytree(template, folder)
        self.hub = folder / "hub.git"
        self.books = [folder / name for name in ("one", "two", "three")]
        for book in self.books:
            git(book, "remote", "set-url", "origin", str(self.hub))

    def commit(self, bench: int, path: str, content: str | bytes, message: str = "By hand") -> None:
        there = self.books[bench] / path
        there.parent.mkdir(parents=True, exist_ok=True)
        there.write_bytes(content.encode() if isinstance(content, str) else content)
        git(self.books[bench], "add", "--all")
        git(self.books[bench], "commit", "--quiet", f"--message={message}")

    def change(self, bench: int, path: str, change: Callable[[str], str]) -> None:
        self.commit(bench, path, change((self.books[bench] / path).read_text()))

    def weigh(self, bench: int, record: str, build: str = "first") -> None:
        """Append a session: its fields as in braces."""
        self.change(bench, f"engines/twin/{build}/weighings.yaml", lambda text: f"{text}  - {{{record}}}\n")

    def state(self, bench: int) -> tuple[str, str, str, dict[str, bytes]]:
        """All that must be as before after a failure."""
        book = self.books[bench]
        files = {
            str(path.relative_to(book)): path.read_bytes()
            for path in sorted(book.rglob("*"))
            if path.is_file() and ".git" not in path.parts
        }
        return git(book, "rev-parse", "HEAD"), git(book, "symbolic-ref", "HEAD"), git(book, "ls-files", "-s"), files


def first_build(name: str) -> str:
    return f"format: 1\nengine: twin\nbuild: {name}\nopened: 2026-10-01\nunits: {{mass: g}}\n"


def session(id_: str, what: str, readings: str, by: str = "ava", minute: int = 10) -> str:
    taken = f"2026-10-03T09:{minute:02}+01:00"
    return f"id: {id_}, taken: {taken}, by: {by}, with: scale, what: {what}, readings: {{{readings}}}"


@pytest.fixture(scope="module")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The remote and the benches as they are before anything is entered."""
    folder = tmp_path_factory.mktemp("begun")
    git(folder, "init", "--quiet", "--bare", "--initial-branch=main", "hub.git")
    first = Book(folder / "one")
    for build in ("first", "second"):
        here = f"engines/twin/{build}"
        first.write(f"{here}/build.yaml", first_build(build))
        first.write(f"{here}/parts.yaml", PARTS.replace("R2]", "R2, R3]"))
        first.write(f"{here}/weighings.yaml", FIRST)
        first.write(f"{here}/pairings.yaml", "format: 1\n")
    into_git(first.root)
    git(first.root, "remote", "add", "origin", str(folder / "hub.git"))
    git(first.root, "push", "--quiet", "origin", "main")
    for name in ("two", "three"):
        git(folder, "clone", "--quiet", "hub.git", name)
    return folder


@pytest.fixture
def benches(tmp_path: Path, begun: Path) -> Benches:
    return Benches(tmp_path / "shop", begun)


def head(book: Path) -> str:
    return git(book, "rev-parse", "HEAD").strip()


# --- the usual cases -------------------------------------------------------------------------------------------------


def test_what_is_new_here_is_sent_and_there_received(benches: Benches) -> None:
    one, two, _ = benches.books
    assert sync(one).outcome == "nothing"
    benches.weigh(0, session("W2", "piston", "P1: 480.1"))
    sent = sync(one)
    assert (sent.outcome, sent.remote, sent.branch, sent.commit) == ("sent", "origin", "main", head(one))
    assert [(each.build, each.records, each.by) for each in sent.sent] == [("twin/first", ("W2 piston",), ("ava",))]
    received = sync(two)
    assert (received.outcome, received.taken) == ("received", sent.sent)
    assert head(two) == head(one)
    assert git(two, "status", "--porcelain") == ""
    assert (two / WEIGHINGS).read_bytes() == (one / WEIGHINGS).read_bytes()
    assert sync(two).outcome == sync(one).outcome == "nothing"


def test_an_empty_remote_gets_the_whole_book(benches: Benches, tmp_path: Path) -> None:
    git(tmp_path, "init", "--quiet", "--bare", "--initial-branch=main", "empty.git")
    sent = sync(benches.books[0], str(tmp_path / "empty.git"))
    assert sent.outcome == "sent"
    assert git(tmp_path / "empty.git", "rev-parse", "main").strip() == head(benches.books[0])


def test_two_benches_are_merged_and_the_history_says_how(benches: Benches) -> None:
    one, two, _ = benches.books
    benches.weigh(0, session("W2", "piston", "P1: 480.1", minute=20))
    benches.weigh(1, session("W2", "pin", "N1: 152.3", by="tomas", minute=15))
    benches.commit(1, "engines/twin/second/photo.jpg", b"\xff\xd8\x00")
    sync(one)
    done = sync(two)
    assert (done.outcome, done.commit, done.questions, done.saved) == ("merged", head(two), (), ())
    assert [(each.build, each.records, each.by) for each in done.taken] == [("twin/first", ("W2 piston",), ("ava",))]
    assert [(each.build, each.files) for each in done.sent] == [
        ("twin/first", (WEIGHINGS,)),
        ("twin/second", ("engines/twin/second/photo.jpg",)),
    ]
    assert [(each.file, each.side, each.old, each.new) for each in done.renumbered] == [(WEIGHINGS, "ours", "W2", "W3")]
    ours, theirs = git(two, "show", "--no-patch", "--format=%P", "HEAD").split()
    assert git(two, "show", "--no-patch", "--format=%s", ours).strip() == "By hand"
    assert theirs == head(one)
    message = git(two, "show", "--no-patch", "--format=%B", "HEAD").splitlines()
    assert message[0] == "Merge with origin: 1 record added by ava"
    assert "Build: twin/first" in message
    assert f"Renumbered: W2 is W3 in {WEIGHINGS}" in message
    assert git(
        two, "show", "--no-patch", "--format=%(trailers:key=Build,valueonly,separator=%x2C)", "HEAD"
    ).strip() == ("twin/first,twin/second")
    assert sync(one).outcome == "received"
    assert head(one) == head(two)
    assert git(one, "status", "--porcelain") == git(two, "status", "--porcelain") == ""


def test_a_reading_with_two_values_is_a_question_in_a_book_that_loads(benches: Benches) -> None:
    one, two, _ = benches.books
    benches.change(0, WEIGHINGS, lambda text: text.replace("575.3", "575.4"))
    benches.change(1, WEIGHINGS, lambda text: text.replace("575.3", "575.8"))
    sync(one)
    done = sync(two)
    asked = [(WEIGHINGS, "W1 readings R1", "575.8", "575.4", "W2", 5, 5)]
    assert [tuple(each) for each in done.questions] == asked
    assert "1 question" in git(two, "show", "--no-patch", "--format=%s", "HEAD")
    for bench in benches.books:  # every bench, until somebody decides
        assert [tuple(each) for each in sync(bench).questions] == asked
        text = (bench / WEIGHINGS).read_text()
        assert "R1: 575.8" in text
        assert "R1: 575.4" in text
        assert "<<<<" not in text
        assert errors(bench) == []
    benches.change(2, WEIGHINGS, lambda text: re.sub(r', void: "conflict.*"', "", text))
    for bench in (benches.books[2], one, two):
        assert sync(bench).questions == ()
    loaded = Reader(one).load("twin/first").build
    assert loaded is not None
    weighed = work_out(loaded).weighings["rod"].pieces["R1"]
    assert weighed.weight == Fraction("575.4")  # the one that was decided for counts


def test_pairings_follow_sessions_that_were_renumbered(benches: Benches) -> None:
    one, two, _ = benches.books
    benches.weigh(0, session("W2", "rod", "R1: 575.1", minute=20))
    benches.weigh(1, session("W2", "rod", "R1: 575.2", by="tomas", minute=30))
    decided = "format: 1\ndecided: {taken: 2026-10-04, by: tomas, from: [W1, W2]}\ncylinders: {1: {rod: R1}}\n"
    benches.commit(1, "engines/twin/first/pairings.yaml", decided)
    sync(one)
    assert [(each.side, each.new) for each in sync(two).renumbered] == [("ours", "W3")]
    assert "from: [W1, W3]" in (two / "engines/twin/first/pairings.yaml").read_text()


def test_what_cannot_be_read_is_not_sent_and_where_it_came_from_elsewhere_it_is_found(benches: Benches) -> None:
    one, two, _ = benches.books
    benches.change(0, WEIGHINGS, lambda text: text + "sessions: [\n")
    before, hub = benches.state(0), head(benches.hub)
    for _ in range(2):
        with pytest.raises(Misuse, match=r"weighings\.yaml:6:1.*nothing was sent"):
            sync(one)
        assert (benches.state(0), head(benches.hub)) == (before, hub)
        benches.weigh(1, session("W2", "pin", "N1: 152.3"))  # once behind, and once apart
        sync(two)
        hub = head(benches.hub)
    git(one, "push", "--quiet", "--force", "origin", "main")  # somebody does without this program
    git(two, "reset", "--quiet", "--hard", "HEAD~2")
    done = sync(two)
    assert [(each.severity, each.where.line) for each in done.unreadable] == [("error", 6)]
    assert (two / WEIGHINGS).read_text().endswith("sessions: [\n")


def test_a_file_that_keep_does_not_keep_is_named_with_another_remedy(benches: Benches) -> None:
    one = benches.books[0]
    benches.commit(0, "engines/twin/first/notes.txt", "a\n")
    (one / "engines/twin/first/notes.txt").write_text("b\n")
    with pytest.raises(Misuse, match="git commit engines/twin/first/notes"):
        sync(one)


def test_files_that_are_no_ledger_merge_as_git_does_or_are_kept_both(benches: Benches) -> None:
    one, two, _ = benches.books
    notes, photo = "engines/twin/first/notes.txt", "engines/twin/first/photo.jpg"
    benches.commit(0, notes, "a\nb\nc\nd\ne\n")
    benches.commit(0, photo, b"\x00first")
    sync(one)
    sync(two)
    benches.commit(0, notes, "A\nb\nc\nd\ne\n")
    benches.commit(0, photo, b"\x00one")
    benches.commit(1, notes, "a\nb\nc\nd\nE\n")
    benches.commit(1, photo, b"\x00two")
    tip = head(one)
    sync(one)
    done = sync(two)
    assert (two / notes).read_text() == "A\nb\nc\nd\nE\n"
    assert (two / photo).read_bytes() == b"\x00two"
    beside = f"{photo}.theirs-{tip[:7]}.txt"
    assert [each.path for each in done.saved] == [beside]
    assert (two / beside).read_bytes() == b"\x00one"
    assert [(each.file, each.where) for each in done.questions] == [(photo, "the whole file")]


def test_a_file_that_cannot_be_merged_by_records_is_kept_whole_beside_ours(benches: Benches) -> None:
    one, two, _ = benches.books
    benches.change(0, WEIGHINGS, lambda text: text.replace("mass: g", "mass: oz").replace("575.3", "20.29"))
    benches.weigh(1, session("W2", "rod", "R2: 575.8"))
    tip = head(one)
    sync(one)
    ours = (two / WEIGHINGS).read_bytes()
    done = sync(two)
    assert (two / WEIGHINGS).read_bytes() == ours
    beside = f"{WEIGHINGS}.theirs-{tip[:7]}.txt"
    assert [each.path for each in done.saved] == [beside]
    assert (two / beside).read_bytes() == (one / WEIGHINGS).read_bytes()
    assert "unit of mass" in done.saved[0].why
    for bench in benches.books:
        (question,) = sync(bench).questions
        assert (question.file, question.where, question.held_by) == (WEIGHINGS, "the whole file", beside)
    git(one, "rm", "--quiet", beside)
    git(one, "commit", "--quiet", "--message=Seen")
    assert sync(one).questions == sync(two).questions == ()


def test_a_file_taken_out_here_and_changed_there_is_kept(benches: Benches) -> None:
    one, two, _ = benches.books
    benches.weigh(0, session("W2", "rod", "R2: 575.8"))
    git(two, "rm", "--quiet", WEIGHINGS, "engines/twin/second/pairings.yaml")
    git(two, "commit", "--quiet", "--message=Out")
    sync(one)
    done = sync(two)
    for bench in (two, one):
        assert "575.8" in (bench / WEIGHINGS).read_text()
        assert [(each.file, each.where) for each in sync(bench).questions] == [(WEIGHINGS, "the whole file")]
    assert done.questions
    assert not (two / "engines/twin/second/pairings.yaml").exists()


@pytest.mark.parametrize("goes_on", ["weigh", "new build"])
def test_a_build_taken_out_at_one_bench_and_gone_on_with_at_another_stays_whole(benches: Benches, goes_on: str) -> None:
    one, two, _ = benches.books
    git(two, "rm", "--quiet", "-r", "engines/twin")
    git(two, "commit", "--quiet", "--message=Out")
    if goes_on == "weigh":
        benches.weigh(0, session("W2", "rod", "R2: 575.8"))
    else:
        benches.commit(0, "engines/twin/third/build.yaml", first_build("third"))
    sync(one)
    done = sync(two)
    assert [each.where for each in done.questions] == ["the whole file"] * (goes_on == "weigh")
    sync(one)
    for bench in (one, two):
        left = {path.parent.name for path in bench.glob("engines/twin/*/*.yaml")}
        assert left == ({"first"} if goes_on == "weigh" else {"third"})
        assert (bench / "engines/twin/engine.yaml").exists()
        loaded = Reader(bench).load("twin/first" if goes_on == "weigh" else "twin/third")
        assert loaded.build is not None, loaded.findings
    if goes_on == "weigh":
        assert len(list((one / "engines/twin/first").iterdir())) == 4


def test_what_another_bench_took_out_is_told_by_its_records(benches: Benches) -> None:
    one, two, _ = benches.books
    git(one, "rm", "--quiet", "-r", "engines/twin/second")
    git(one, "commit", "--quiet", "--message=Out")
    (sent,) = sync(one).sent
    (taken,) = sync(two).taken
    assert sent == taken
    assert (taken.build, taken.records, taken.removed) == ("twin/second", (), ("W1 whole rod",))


SEAL = "sealed/twin/first/A1"


def seal(benches: Benches, bench: int, message: str) -> str:
    git(benches.books[bench], "tag", "--annotate", f"--message={message}", SEAL)
    return git(benches.books[bench], "rev-parse", f"refs/tags/{SEAL}").strip()


def test_seals_go_with_the_book(benches: Benches) -> None:
    one, two, _ = benches.books
    sealed = seal(benches, 0, "sealed")
    benches.weigh(1, session("W2", "pin", "N1: 152.3"))
    sent = sync(one)
    assert (sent.outcome, sent.seals_sent) == ("sent", (f"refs/tags/{SEAL}",))
    done = sync(two)
    assert (done.outcome, done.seals_taken, done.questions) == ("sent", (f"refs/tags/{SEAL}",), ())
    assert git(two, "rev-parse", f"refs/tags/{SEAL}").strip() == sealed
    assert sync(one).outcome == "received"
    assert sync(one).outcome == sync(two).outcome == "nothing"


def test_no_seal_is_ever_moved_by_the_other_bench(benches: Benches) -> None:
    one, two, _ = benches.books
    ours, theirs = seal(benches, 0, "ours"), seal(benches, 1, "theirs")
    sync(two)
    done = sync(one)
    assert [each.where for each in done.questions] == [f"seal {SEAL}"]
    assert git(one, "rev-parse", f"refs/tags/{SEAL}").strip() == ours
    assert git(benches.hub, "rev-parse", f"refs/tags/{SEAL}").strip() == theirs


def test_two_seals_are_asked_about_until_the_build_is_sealed_anew(benches: Benches) -> None:
    one, two, _ = benches.books
    seal(benches, 0, "ours")
    seal(benches, 1, "theirs")
    sync(two)
    git(one, "tag", "--annotate", "--message=another build", "sealed/twin/second/A9")
    assert len(sync(one).questions) == len(sync(one).questions) == 1
    git(one, "tag", "--annotate", "--message=anew", "sealed/twin/first/A10")
    assert sync(one).questions == sync(two).questions == ()


def test_other_changes_in_the_work_tree_are_left_alone(benches: Benches) -> None:
    one, two, _ = benches.books
    benches.weigh(0, session("W2", "rod", "R2: 575.8"))
    benches.weigh(1, session("W2", "pin", "N1: 152.3"), build="second")
    (two / "to do.txt").write_text("ring the co-op")
    sync(one)
    assert sync(two).outcome == "merged"
    assert git(two, "status", "--porcelain") == '?? "to do.txt"\n'


# --- races and failures ----------------------------------------------------------------------------------------------


def quicker(benches: Benches, monkeypatch: pytest.MonkeyPatch, times: int) -> None:
    """Let bench one be quicker than bench two with its pushes."""
    push = syncing._push
    raced: list[int] = []

    def late(book: Path, *more: object) -> None:
        if book == benches.books[1] and len(raced) < times:
            raced.append(0)
            benches.weigh(0, session(f"W{len(raced) + 20}", "rod", f"R2: 575.{len(raced)}"))
            git(benches.books[0], "push", "--quiet", "origin", "main")
        push(book, *more)  # type: ignore[arg-type]

    monkeypatch.setattr(syncing, "_push", late)


def test_a_bench_that_was_slower_merges_again(benches: Benches, monkeypatch: pytest.MonkeyPatch) -> None:
    one, two, _ = benches.books
    benches.weigh(1, session("W2", "pin", "N1: 152.3"))
    quicker(benches, monkeypatch, 3)
    done = sync(two)
    assert (done.outcome, done.tries) == ("merged", 4)
    sync(one)
    text = (one / WEIGHINGS).read_text()
    assert all(value in text for value in ("575.1", "575.2", "575.3", "152.3"))
    assert git(one, "rev-list", "--merges", "--count", "HEAD").strip() == "1"


def test_a_bench_that_is_always_slower_gives_up_and_nothing_changed(
    benches: Benches, monkeypatch: pytest.MonkeyPatch
) -> None:
    benches.weigh(1, session("W2", "pin", "N1: 152.3"))
    before = benches.state(1)
    quicker(benches, monkeypatch, 99)
    with pytest.raises(Misuse, match="5 times"):
        sync(benches.books[1])
    assert benches.state(1) == before


def apart(benches: Benches) -> tuple[str, str, str, dict[str, bytes]]:
    """Both benches have something new, and the first has sent it; the state of the second."""
    benches.weigh(0, session("W2", "rod", "R2: 575.8"))
    benches.commit(0, "engines/twin/first/notes.txt", "new")
    benches.weigh(1, session("W2", "pin", "N1: 152.3"))
    git(benches.books[0], "push", "--quiet", "origin", "main")
    return benches.state(1)


def test_a_remote_that_refuses_changes_nothing_here(benches: Benches) -> None:
    before = apart(benches)
    hook = benches.hub / "hooks" / "pre-receive"
    hook.write_text("#!/bin/sh\necho closed for the night >&2\nexit 1\n")
    hook.chmod(0o755)
    with pytest.raises(book_git.NotKept, match="closed for the night"):
        sync(benches.books[1])
    assert benches.state(1) == before
    hook.unlink()
    assert sync(benches.books[1]).outcome == "merged"


def test_a_remote_that_is_not_there_changes_nothing_here(benches: Benches) -> None:
    before = apart(benches)
    benches.hub.rename(benches.hub.with_name("gone.git"))
    with pytest.raises(Misuse, match=r"origin is not there: there is no folder .*hub\.git") as refused:
        sync(benches.books[1])
    assert "plug in" in refused.value.remedy
    benches.hub.mkdir()
    with pytest.raises(Misuse, match="holds no git repository") as refused:
        sync(benches.books[1])
    assert "git init --bare" in refused.value.remedy
    with pytest.raises(Misuse, match=r"ssh://nowhere\.invalid/x cannot be reached: [^\n]+$"):
        sync(benches.books[1], "ssh://nowhere.invalid/x")
    assert benches.state(1) == before


def test_a_branch_that_no_other_bench_looks_at_is_not_sent(benches: Benches) -> None:
    one = benches.books[0]
    git(one, "switch", "--quiet", "--create", "side")
    benches.weigh(0, session("W2", "rod", "R2: 575.8"))
    with pytest.raises(Misuse, match="branch 'side', and origin has main only") as refused:
        sync(one)
    assert refused.value.remedy.startswith("'git switch main', then 'git merge side'")
    git(one, "branch", "--delete", "--force", "main")
    with pytest.raises(Misuse) as refused:
        sync(one)
    assert refused.value.remedy.startswith("'git branch -m main'")
    assert "side" not in git(benches.hub, "branch")
    git(one, "branch", "-m", "main")
    assert sync(one).outcome == "sent"


def test_a_clone_of_the_newest_part_only_has_the_whole_history_after_a_sync(benches: Benches) -> None:
    benches.weigh(0, session("W2", "rod", "R2: 575.8"))
    sync(benches.books[0])
    short = benches.hub.parent / "short"
    git(benches.hub.parent, "clone", "--quiet", "--depth=1", f"file://{benches.hub}", "short")
    assert git(short, "rev-list", "--count", "HEAD").strip() == "1"
    sync(short)
    assert git(short, "rev-list", "HEAD") == git(benches.books[0], "rev-list", "HEAD")


def test_a_checkout_that_stops_half_way_is_taken_back(benches: Benches, monkeypatch: pytest.MonkeyPatch) -> None:
    before = apart(benches)
    run = trees.run

    def full(book: Path, *arguments: str, stdin: bytes = b"") -> bytes:
        if arguments[0] == "checkout-index":
            (book / "engines/twin/first/notes.txt").write_text("ne")
            raise book_git.NotKept("git could not do it: no space left on device")
        return run(book, *arguments, stdin=stdin)

    monkeypatch.setattr(checkout, "run", full)
    with pytest.raises(book_git.NotKept, match="no space"):
        sync(benches.books[1])
    assert benches.state(1) == before
    monkeypatch.setattr(checkout, "run", run)
    assert sync(benches.books[1]).outcome == "received"  # it had been sent
    assert errors(benches.books[1]) == []


@pytest.mark.parametrize("how", ["whole", "half", "gone"])
def test_a_checkout_that_was_killed_half_way_is_taken_up_again(benches: Benches, how: str) -> None:
    before = apart(benches)
    two = benches.books[1]
    sync(two)
    done, after = head(two), benches.state(1)
    git(two, "reset", "--quiet", "--hard", before[0].strip())
    git(two, "update-ref", "refs/buildbook/coming", done)
    if how == "gone":
        (two / WEIGHINGS).unlink()
    else:
        text = after[3][WEIGHINGS]
        (two / WEIGHINGS).write_bytes(text if how == "whole" else text[: len(text) // 2])
        (two / "engines/twin/first/notes.txt").write_text("ne")
        git(two, "add", "--all")
    (two / "engines/twin/second/pairings.yaml").write_text("format: 1\nnote: mine\n")  # an edit of a person
    taken_back = checkout.take_back(two)
    assert two / WEIGHINGS in taken_back
    assert git(two, "status", "--porcelain") == " M engines/twin/second/pairings.yaml\n"
    assert checkout.take_back(two) == []
    git(two, "restore", "engines/twin/second/pairings.yaml")
    assert benches.state(1) == before
    assert sync(two).outcome == "received"
    assert benches.state(1) == after


def test_a_file_in_the_way_is_not_written_over(benches: Benches) -> None:
    apart(benches)
    (benches.books[1] / "engines/twin/first/notes.txt").write_text("not in git")
    before, hub = benches.state(1), head(benches.hub)
    with pytest.raises(Misuse, match="notes"):
        sync(benches.books[1])
    assert benches.state(1) == before
    assert head(benches.hub) == hub


def test_a_record_made_while_it_was_sending_is_merged_in_too(benches: Benches, monkeypatch: pytest.MonkeyPatch) -> None:
    apart(benches)
    push = syncing._push
    made: list[int] = []

    def slow(book: Path, *more: object) -> None:
        push(book, *more)  # type: ignore[arg-type]
        if not made:
            made.append(1)
            benches.weigh(1, session("W3", "pin", "N2: 152.5"))

    monkeypatch.setattr(syncing, "_push", slow)
    assert sync(benches.books[1]).outcome == "merged"
    text = (benches.books[1] / WEIGHINGS).read_text()
    assert all(value in text for value in ("575.8", "152.3", "152.5"))
    assert git(benches.books[1], "status", "--porcelain") == ""


# --- where it may not begin ------------------------------------------------------------------------------------------


def edited(book: Path) -> None:
    (book / WEIGHINGS).write_text((book / WEIGHINGS).read_text() + "# by hand\n")


def new_file(book: Path) -> None:
    (book / "engines/twin/first/clearances.yaml").write_text("format: 1\n")


def without_git(book: Path) -> None:
    (book / ".git").rename(book.parent / "git away")


def in_another(book: Path) -> None:
    without_git(book)
    git(book.parent, "init", "--quiet")


def unfinished(book: Path) -> None:
    (book / ".git" / "MERGE_HEAD").write_text(head(book) + "\n")


def no_commit(book: Path) -> None:
    git(book, "checkout", "--quiet", "--orphan", "other")
    git(book, "rm", "--quiet", "--cached", "-r", ".")


def another_book(book: Path) -> None:
    git(book, "commit", "--quiet", "--amend", "--reset-author", "--message=Another")


UNREADY: dict[str, tuple[Callable[[Path], object], str, str]] = {
    "edited": (edited, "weighings.yaml", "buildbook keep"),
    "a new file": (new_file, "clearances.yaml", "buildbook keep"),
    "without git": (without_git, "not a git repository", "git init"),
    "inside another": (in_another, "inside another", "own"),
    "detached": (lambda book: git(book, "checkout", "--quiet", "--detach"), "branch", "git switch main"),
    "unfinished": (unfinished, "merge is not finished", "--abort"),
    "no commit": (no_commit, "git's history yet", "buildbook keep"),
    "no remote": (lambda book: git(book, "remote", "remove", "origin"), "no remote", "git remote add"),
    "another book": (another_book, "another book", "right remote"),
}


@pytest.mark.parametrize("case", UNREADY.values(), ids=UNREADY)
def test_a_book_that_is_not_ready_says_what_to_do(
    benches: Benches, case: tuple[Callable[[Path], object], str, str]
) -> None:
    change, what, remedy = case
    one = benches.books[0]
    change(one)
    files = {path: path.read_bytes() for path in one.rglob("*.yaml")}
    with pytest.raises(Misuse) as refused:
        sync(one)
    assert what in refused.value.what
    assert remedy in refused.value.remedy
    assert {path: path.read_bytes() for path in one.rglob("*.yaml")} == files


def test_the_remote_is_named_where_there_are_several(benches: Benches) -> None:
    one = benches.books[0]
    git(one, "remote", "rename", "origin", "hub")
    git(one, "remote", "add", "stick", str(benches.hub))
    with pytest.raises(Misuse, match="--remote NAME"):
        sync(one)
    with pytest.raises(Misuse, match="hub, stick"):
        sync(one, "hubb")
    assert sync(one, "stick").remote == "stick"
    git(one, "config", "branch.main.remote", "hub")
    assert sync(one).remote == "hub"


UNWELCOME: dict[str, Callable[[Path], object]] = {
    "engines/away": lambda path: path.symlink_to("/tmp"),
    ".DS_Store": lambda path: path.write_bytes(b"\x00"),
}


@pytest.mark.parametrize("ahead", [False, True], ids=["send", "merge"])
@pytest.mark.parametrize("name", UNWELCOME)
def test_what_other_benches_would_refuse_is_not_sent_to_them(benches: Benches, name: str, ahead: bool) -> None:
    one, two, _ = benches.books
    if ahead:
        benches.weigh(1, session("W2", "pin", "N1: 152.3"))
        sync(two)
    UNWELCOME[name](one / name)
    git(one, "add", "--all")
    git(one, "commit", "--quiet", "--message=All")
    with pytest.raises(Misuse, match="no other bench would take it") as refused:
        sync(one)
    assert f"'git rm --cached {name}'" in refused.value.remedy
    git(one, "rm", "--quiet", "--cached", name)
    git(one, "commit", "--quiet", "--message=Out")
    sync(one)
    assert sync(two).outcome == "received"


def test_a_plain_file_beside_the_ledger_goes_along_and_an_edit_of_it_is_not_written_over(benches: Benches) -> None:
    one, two, _ = benches.books
    benches.commit(0, "photos/block.jpg", b"\x00")
    benches.commit(0, "README.md", "ours\n")
    sync(one)
    sync(two)
    assert ((two / "photos/block.jpg").read_bytes(), (two / "README.md").read_text()) == (b"\x00", "ours\n")
    (two / "README.md").write_text("edited\n")
    benches.commit(0, "README.md", "changed\n")
    sync(one)
    with pytest.raises(Misuse, match=r"README\.md has changes that are not in git yet") as refused:
        sync(two)
    assert "'git commit README.md'" in refused.value.remedy
    assert (two / "README.md").read_text() == "edited\n"


# --- what is hostile -------------------------------------------------------------------------------------------------

ADDRESSES = ("ext::sh -c 'touch ran'", "-utouch ran:x", "--upload-pack=touch ran", "fd::7", "x::/tmp", "a/\x1b[2Jb")


@pytest.mark.parametrize("address", ADDRESSES)
def test_an_address_that_could_run_something_is_refused(benches: Benches, address: str) -> None:
    one = benches.books[0]
    with pytest.raises(Misuse):
        sync(one, address)
    git(one, "config", "remote.origin.url", address)
    with pytest.raises(Misuse, match="could make git run a program"):
        sync(one)
    git(one, "config", "remote.origin.url", str(benches.hub))
    git(one, "config", "remote.origin.pushurl", address)
    with pytest.raises(Misuse, match="could make git run a program"):
        sync(one)
    assert not (one / "ran").exists()


def raw(book: Path, what: str, content: bytes) -> bytes:
    """Put an object into git's store that git itself would not make; its id."""
    done = subprocess.run(
        ["git", "hash-object", "-t", what, "-w", "--stdin", "--literally"],
        cwd=book, input=content, capture_output=True, check=True,
    )  # fmt: skip
    return bytes.fromhex(done.stdout.decode().strip())


HOSTILE = {
    "a link": (b"120000", b"engines/twin/first/spins.yaml", b"../../../../secret", "is a link"),
    "a link for a folder": (b"120000", b"engines/other", b"/tmp", "is a link"),
    "another repository": (b"160000", b"engines/other", b"", "another repository"),
    "a program": (b"100755", b"run.sh", b"rm -rf /", "no place in a book"),
    "a hidden file": (b"100644", b".envrc", b"touch ran", "no place in a book"),
    "a hidden folder": (b"100644", b"engines/.vscode/tasks.json", b"", "no place in a book"),
    "a file for a folder": (b"100644", b"engines", b"", "no place in a book"),
    "up": (b"100644", b"engines/../../up.yaml", b"", "out of the book"),
    "git's own": (b"100644", b"engines/.git/config", b"", "out of the book"),
    "git's own in capitals": (b"100644", b".GIT/config", b"", "out of the book"),
    "a backslash": (b"100644", b"engines\\..\\..\\up.yaml", b"", "out of the book"),
    "an escape": (b"100644", b"engines/\x1b[2J.yaml", b"", "out of the book"),
}


@pytest.mark.parametrize("ahead", [False, True], ids=["fast-forward", "merge"])
@pytest.mark.parametrize("case", HOSTILE.values(), ids=HOSTILE)
def test_a_tree_with_something_hostile_is_refused_and_nothing_checked_out(
    benches: Benches, case: tuple[bytes, bytes, bytes, str], ahead: bool
) -> None:
    mode, path, content, words = case
    one, two, _ = benches.books
    *folders, name = path.split(b"/")
    id_ = raw(one, "blob", content) if mode != b"160000" else bytes.fromhex(head(one))
    for folder in [name, *reversed(folders)]:
        tree = raw(one, "tree", mode + b" " + folder + b"\0" + id_)
        mode, id_ = b"40000", tree
    commit = git(one, "commit-tree", id_.hex(), "-p", head(one), "-m", "x").strip()
    git(benches.hub, "config", "receive.fsckObjects", "false")
    git(one, "push", "--quiet", "origin", f"{commit}:refs/heads/main")
    if ahead:
        benches.weigh(1, session("W2", "pin", "N1: 152.3"))
    before = benches.state(1)
    with pytest.raises(Misuse, match=words) as refused:
        sync(two)
    assert "nothing was checked out" in refused.value.remedy
    assert refused.value.what.isprintable() or "\x1b" in path.decode()
    assert benches.state(1) == before


# --- in any order ----------------------------------------------------------------------------------------------------


def errors(book: Path) -> list[str]:
    """What `check` calls an error, in both builds."""
    found = []
    for name in ("twin/first", "twin/second"):
        loaded = Reader(book).load(name)
        assert loaded.build is not None, loaded.findings
        all_findings = [*loaded.findings, *work_out(loaded.build).thorough_findings]
        found += [f"{name}: {each.rule}: {each.what}" for each in all_findings if each.severity == "error"]
    return found


BENCH = st.integers(0, 2)
BUILD = st.sampled_from(["first", "second"])
PIECE = st.sampled_from(["R1", "R2", "R3"])


def machine(template: Path, folder: Path) -> type[RuleBasedStateMachine]:
    """Three benches and a remote, copied from a template that was made once."""

    class ThreeBenches(RuleBasedStateMachine):
        def __init__(self) -> None:
            super().__init__()
            self.benches = Benches(Path(tempfile.mkdtemp(dir=folder)) / "shop", template)
            self.entered: list[tuple[str, str]] = []  # build and value; no two values are alike
            self.begun_with = {"575.3"}  # the value that each session began with, which nobody enters again
            self.rests_on: list[tuple[str, str, str]] = []  # build, day of the decision, value its session began with
            self.on_the_remote: dict[tuple[str, str], str] = {}  # build and id of a record → value it began with

        def value(self, build: str) -> str:
            self.entered.append((build, f"575.{len(self.entered) + 100}"))
            return self.entered[-1][1]

        def next_id(self, text: str) -> str:
            return f"W{text.count('  - {id: W') + 1}"

        @rule(bench=BENCH, build=BUILD, piece=PIECE, minute=st.integers(1, 59))
        def weigh(self, bench: int, build: str, piece: str, minute: int) -> None:
            path = self.benches.books[bench] / f"engines/twin/{build}/weighings.yaml"
            value = self.value(build)
            self.begun_with.add(value)
            record = session(self.next_id(path.read_text()), "rod", f"{piece}: {value}", minute=minute)
            self.benches.weigh(bench, record, build)

        @rule(bench=BENCH, build=BUILD, piece=PIECE)
        def complete(self, bench: int, build: str, piece: str) -> None:
            """Enter a piece into the newest session, where it is not in it yet."""
            path = f"engines/twin/{build}/weighings.yaml"
            lines = (self.benches.books[bench] / path).read_text().splitlines(keepends=True)
            if f"{piece}: " not in lines[-1] and "void" not in lines[-1] and "readings: {" in lines[-1]:
                lines[-1] = lines[-1].replace("readings: {", f"readings: {{{piece}: {self.value(build)}, ")
                self.benches.commit(bench, path, "".join(lines))

        @rule(bench=BENCH, build=BUILD)
        def decide(self, bench: int, build: str) -> None:
            """Decide a pairing by the newest session, where there is none yet."""
            folder = self.benches.books[bench] / f"engines/twin/{build}"
            if "decided" in (folder / "pairings.yaml").read_text():
                return
            last = (folder / "weighings.yaml").read_text().splitlines()[-1]
            if "void" in last or "{id: " not in last:
                return
            id_ = last.partition("{id: ")[2].partition(",")[0]
            day = f"2026-11-{len(self.rests_on) + 1:02}"
            began = next(value for value in re.findall(r"575\.\d+", last) if value in self.begun_with)
            self.rests_on.append((build, day, began))
            decided = f"format: 1\ndecided: {{taken: {day}, by: ava, from: [{id_}]}}\ncylinders: {{1: {{rod: R1}}}}\n"
            self.benches.commit(bench, f"engines/twin/{build}/pairings.yaml", decided)

        @rule(bench=BENCH, build=BUILD)
        def purpose(self, bench: int, build: str) -> None:
            """Say what the build is for, where no record can hold what another bench says."""
            path = f"engines/twin/{build}/build.yaml"
            said = f"purpose: p{len(self.entered)}\n"
            text = (self.benches.books[bench] / path).read_text()
            text = re.sub(r"^purpose: .*\n", said, text, flags=re.MULTILINE) if "\npurpose" in text else text + said
            if text != (self.benches.books[bench] / path).read_text():
                self.benches.commit(bench, path, text)

        @rule(bench=BENCH)
        def sync(self, bench: int) -> None:
            sync(self.benches.books[bench])
            assert errors(self.benches.books[bench]) == []
            self.ids_stay()

        def ids_stay(self) -> None:
            """What is on the remote keeps its id for good, and was renumbered at most once."""
            for build in ("first", "second"):
                for line in git(self.benches.hub, "show", f"main:engines/twin/{build}/weighings.yaml").splitlines():
                    id_ = re.search(r"\bid: (W\d+)", line)
                    began = [value for value in re.findall(r"575\.\d+", line) if value in self.begun_with]
                    if id_ and began and "void" not in line:
                        assert self.on_the_remote.setdefault((build, id_[1]), began[0]) in began
                    assert line.count("entered as") <= 1

        def teardown(self) -> None:
            for bench in (0, 1, 2, 0, 1):
                sync(self.benches.books[bench])
                self.ids_stay()
            asked = [sync(book).questions for book in self.benches.books]
            assert asked[0] == asked[1] == asked[2]
            trees = {git(book, "rev-parse", "HEAD^{tree}") for book in self.benches.books}
            assert len(trees) == 1
            book = self.benches.books[0]
            assert errors(book) == []
            for build in ("first", "second"):
                text = (book / f"engines/twin/{build}/weighings.yaml").read_text()
                missing = [value for where, value in self.entered if where == build and f": {value}" not in text]
                assert missing == [], text
            for build, day, value in self.rests_on:
                folder = book / f"engines/twin/{build}"
                decision = next(
                    line for line in (folder / "pairings.yaml").read_text().splitlines() if f"taken: {day}" in line
                )
                id_ = decision.partition("from: [")[2].partition("]")[0]
                records = (folder / "weighings.yaml").read_text().splitlines()
                assert f": {value}" in next(line for line in records if f"id: {id_}," in line)
            assert all(git(each, "status", "--porcelain") == "" for each in self.benches.books)

    return ThreeBenches


def test_three_benches_in_any_order_converge_and_lose_nothing(begun: Path, tmp_path: Path) -> None:
    few = settings(
        max_examples=8,
        stateful_step_count=9,
        phases=[Phase.generate],  # a failure says what it was; making it smaller would take minutes
        suppress_health_check=list(HealthCheck),
    )
    run_state_machine_as_test(machine(begun, tmp_path), settings=few)


def test_a_byte_order_mark_stays_where_it_was(benches: Benches) -> None:
    ours = b"\xef\xbb\xbf" + FIRST.replace("R1: 575.3", "R1: 575.3, R2: 575.4").encode()
    theirs = FIRST.replace("R1: 575.3", "R1: 575.3, R3: 575.5").encode()
    content, merged = merge_contents(benches.books[0], "weighings", WEIGHINGS, FIRST.encode(), ours, theirs)
    assert content == ours.replace(b"575.4", b"575.4, R3: 575.5")
    assert not merged.marks


def test_a_tree_is_written_as_git_writes_it(benches: Benches) -> None:
    """What a merge writes is what git itself would make of the same files."""
    one = benches.books[0]
    tree = trees.tree_at(one, "HEAD")
    assert trees.write_tree(one, tree) == git(one, "rev-parse", "HEAD^{tree}").strip()
