"""Seals where benches are brought together: what came through a merge is told by who made it, and a tamper is found."""

import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cli.workshop import git, one_after_the_other
from test_seal import NAME, TAG, WAYS, Sealed, original, tampered, unnamed  # noqa: F401

from buildbook.book.auditing import seal
from buildbook.book.auditing.audit import audit
from buildbook.book.reading import Reader
from buildbook.book.sync.syncing import sync
from buildbook.records.finding import Finding
from buildbook.records.model import SignOff

MORE = "  - {id: W9, what: piston, taken: 2026-10-03T09:10+01:00, by: tomas, with: scale, readings: {P1: 480.3}}\n"
FILE = "weighings.yaml"


@pytest.fixture
def sealed_build(original: Path, tmp_path: Path) -> Sealed:  # noqa: F811
    return Sealed(Path(shutil.copytree(original, tmp_path / "book")))


def commit(bench: Sealed, who: str, message: str = "Edit") -> str:
    git(bench.root, "add", "--all")
    git(bench.root, "-c", f"user.name={who}", "commit", "--quiet", "--all", f"--message={message}")
    return git(bench.root, "rev-parse", "HEAD").strip()


def found(bench: Sealed) -> list[Finding]:
    return [each for each in bench.audit().findings if each.severity != "note"]


def changed(bench: Sealed) -> list[tuple[str, str]]:
    """What an audit found: the rule, and what it says without places in git."""
    return [(each.rule, re.sub(r" on \d{4}-\d\d-\d\d \(\w{7}", " (#", each.what)) for each in found(bench)]


def merged(bench: Sealed, evil: Callable[[], None] = lambda: None) -> str:
    """A merge of two branches that only touch shop.yaml, and of what `evil` does while it is made."""
    shop = bench.root / "shop.yaml"
    git(bench.root, "switch", "--quiet", "--create", "side")
    shop.write_text(f"# at the side\n{shop.read_text()}")
    commit(bench, "Tomas")
    git(bench.root, "switch", "--quiet", "main")
    shop.write_text(f"{shop.read_text()}# at the end\n")
    commit(bench, "Ava")
    git(bench.root, "merge", "--quiet", "--no-commit", "side")
    evil()
    sha = commit(bench, "Eve", "Merge branch 'side'")
    git(bench.root, "branch", "--quiet", "--delete", "side")
    return sha


def test_a_merge_that_only_brings_together_changes_nothing_sealed(sealed_build: Sealed) -> None:
    sha = merged(sealed_build)
    assert len(git(sealed_build.root, "rev-list", "--parents", "-1", sha).split()) == 3
    assert found(sealed_build) == []


def test_every_value_that_a_merge_itself_changed_is_named_with_the_merge(sealed_build: Sealed) -> None:
    """A value that neither parent had: every third one is changed in a merge, and the rest beside it."""
    root = sealed_build.root
    clean = git(root, "rev-parse", "HEAD").strip()
    every = tampered(root)
    missed = []
    for each in every[::7]:
        sha = merged(sealed_build, lambda each=each: each.path.write_bytes(each.content) and None)  # type: ignore[misc]
        audited = sealed_build.audit()
        missed += unnamed(audited, each)
        said = [f.what for f in audited.findings if f.rule in {"sealed-changed", "engine-changed"}]
        missed += [what for what in said if f"({sha[:7]}, in the merge itself)" not in what or "by Eve" not in what]
        git(root, "reset", "--quiet", "--hard", clean)
    assert missed == []
    assert found(sealed_build) == []


@pytest.mark.parametrize("way", range(len(WAYS)), ids=[tamper.__name__ for tamper, _ in WAYS])
def test_after_a_merge_a_value_changed_in_whatever_way_is_named_as_before_it(sealed_build: Sealed, way: int) -> None:
    """Amending the merge itself is one of these ways."""
    tamper, rules = WAYS[way]
    merged(sealed_build)
    missed = []
    for each in tampered(sealed_build.root)[way :: len(WAYS) * 6]:
        copy = Sealed(Path(shutil.copytree(sealed_build.root, sealed_build.root.parent / f"copy {each.line}")))
        path = copy.root / each.path.relative_to(sealed_build.root)
        path.write_bytes(each.content)
        tamper(copy)
        audited = copy.audit()
        missed += unnamed(audited, each._replace(path=path))
        # amending the merge leaves the sealed commit where it is
        missed += [each.value] if not rules - {"history-rewritten"} <= {one.rule for one in audited.findings} else []
    assert missed == []


def test_a_merge_that_takes_the_older_of_two_states_is_named(sealed_build: Sealed) -> None:
    """The seal is on one side only, and the merge keeps the other side's files: no value is new, and all are old."""
    root = sealed_build.root
    git(root, "switch", "--quiet", "--create", "side", "HEAD^^")
    (root / "shop.yaml").write_text((root / "shop.yaml").read_text() + "# more\n")
    commit(sealed_build, "Tomas")
    git(root, "switch", "--quiet", "main")
    git(root, "-c", "user.name=Eve", "merge", "--quiet", "--strategy=ours", "--message=Merge", "side")
    assert found(sealed_build) == []  # what is kept is the sealed state
    git(root, "reset", "--quiet", "--hard", "HEAD^1")
    git(root, "switch", "--quiet", "side")
    git(root, "-c", "user.name=Eve", "merge", "--quiet", "--strategy=ours", "--message=Merge", "main")
    sha = git(root, "rev-parse", "HEAD").strip()
    said = [each.what for each in found(sealed_build) if each.rule == "sealed-changed"]
    assert [what.partition(",")[0] for what in said] == ["sign_offs is gone: id A1"]
    assert f"by Eve on {datetime.now(UTC).date()} ({sha[:7]}, in the merge itself)" in said[0]


@pytest.fixture
def benches(sealed_build: Sealed, tmp_path: Path) -> tuple[Sealed, Sealed]:
    """Two benches with one remote, the build signed as matched and not sealed yet."""
    one = sealed_build
    git(one.root, "tag", "--delete", TAG)
    git(one.root, "reset", "--quiet", "--hard", "HEAD^")
    git(tmp_path, "init", "--quiet", "--bare", "--initial-branch=main", "hub.git")
    git(one.root, "remote", "add", "origin", str(tmp_path / "hub.git"))
    git(one.root, "push", "--quiet", "--set-upstream", "origin", "main")
    git(tmp_path, "clone", "--quiet", "hub.git", "two")
    return one, Sealed(tmp_path / "two")


# Signs at a moment of its own: two benches of this machine would sign in the same minute.
AT = """\
import sys
from buildbook.cli import common
common.this_minute = lambda moment=sys.argv.pop(1): moment
from buildbook.cli.main import run
raise SystemExit(run())
"""


def sign(bench: Sealed, by: str) -> None:
    later = timedelta(minutes=1 if by == "ava" else 3)
    moment = (datetime.now(UTC) + later).isoformat(timespec="minutes")
    command = [sys.executable, "-c", AT, moment, "sign", "assembled", NAME, "--by", by]
    done = subprocess.run(command, cwd=bench.root, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, ""), done


def together(one: Sealed, two: Sealed) -> None:
    """The first bench sends, the second merges, the first receives."""
    for bench in (one, two, one):
        sync(bench.root)


def test_what_another_bench_did_without_knowing_of_the_seal_is_told_by_who_did_it(
    benches: tuple[Sealed, Sealed],
) -> None:
    one, two = benches
    sign(one, "ava")
    two.change(FILE, "P2: 482.0", "P2: 482.4")
    commit(two, "Tomas")
    path = two.folder / FILE
    path.write_text(path.read_text() + MORE)
    commit(two, "Mika")
    together(one, two)
    for bench in benches:
        (added, other) = sorted(changed(bench), key=lambda each: each[1], reverse=True)
        assert added[0] == other[0] == "sealed-changed"
        assert added[1].startswith("W9 was not there: ")
        assert re.search(r"since A2 was sealed: by Mika \(#\), brought together in \w{7}$", added[1])
        assert re.search(
            r"^W2 readings P2: 482.0 → 482.4, since A2 .*: by Tomas \(#\), brought together in \w{7}$", other[1]
        )


def test_two_benches_that_seal_at_once_are_put_in_order_and_nothing_is_found(benches: tuple[Sealed, Sealed]) -> None:
    one, two = benches
    sign(one, "ava")
    sign(two, "tomas")
    together(one, two)
    for bench in benches:
        audited = bench.audit()
        assert found(bench) == []
        assert (audited.as_signed, audited.closed) == (True, True)
        assert {each.rule for each in audited.findings} == {"signed-apart", "undecided", "voided"}
        (apart,) = [each.what for each in audited.findings if each.rule == "signed-apart"]
        assert apart.startswith("A2 and A3 were signed at two benches (")
    assert [(each.id, each.by) for each in _sign_offs(one)] == [("A1", "ava"), ("A2", "ava"), ("A3", "tomas")]


def _sign_offs(bench: Sealed) -> list[SignOff]:
    build = Reader(bench.root).load(NAME).build
    assert build is not None
    return list(build.sign_offs)


def test_a_seal_goes_by_the_id_that_its_sign_off_has_now_at_every_bench(benches: tuple[Sealed, Sealed]) -> None:
    one, two = benches
    sign(one, "ava")
    sign(two, "tomas")
    sync(one.root)
    own = git(two.root, "rev-parse", f"sealed/{NAME}/A2")
    done = sync(two.root)
    assert done.seals_renamed == {f"refs/tags/sealed/{NAME}/A2": f"refs/tags/sealed/{NAME}/A3"}
    assert [each.where for each in done.questions] == ["the sign-offs"]
    sync(one.root)
    for bench in benches:
        assert [each.sign_off for each in seal.seals(bench.root)] == ["A2", "A3"]
        assert git(bench.root, "rev-parse", f"sealed/{NAME}/A3") == own
        assert found(bench) == []
        git(bench.root, "fsck", "--full", "--strict")
        assert sync(bench.root).seals_renamed == {}
    git(one.root, "tag", "--delete", f"sealed/{NAME}/A3")
    assert [rule for rule, _ in changed(one)] == ["seal-missing"]
    sync(one.root)
    assert found(one) == []


def test_a_seal_that_was_cut_off_from_its_new_name_gets_it_from_the_next_sync(benches: tuple[Sealed, Sealed]) -> None:
    one, two = benches
    sign(one, "ava")
    sign(two, "tomas")
    sync(one.root)
    own = git(two.root, "rev-parse", f"sealed/{NAME}/A2").strip()
    sync(two.root)
    git(two.root, "update-ref", f"refs/tags/sealed/{NAME}/A2", own)
    git(two.root, "tag", "--delete", f"sealed/{NAME}/A3")
    done = sync(two.root)
    assert len(done.seals_renamed) == 1
    assert [each.where for each in done.questions] == ["the sign-offs"]
    assert found(two) == []


def test_a_seal_that_somebody_moved_is_given_no_name_and_sent_nowhere(benches: tuple[Sealed, Sealed]) -> None:
    one, two = benches
    sign(one, "ava")
    sign(two, "tomas")
    sync(one.root)
    git(two.root, "tag", "--force", "--annotate", "--message=mine", f"sealed/{NAME}/A2", "HEAD^")
    done = sync(two.root)
    assert done.seals_renamed == {}
    assert [each.where for each in done.questions] == [f"seal sealed/{NAME}/A2", "the sign-offs"]
    assert git(two.root, "ls-remote", "--tags", "origin").count("A2\n") == 1


@pytest.mark.parametrize("bench", [0, 1], ids=["one", "two"])
def test_a_change_after_two_seals_were_brought_together_is_found(benches: tuple[Sealed, Sealed], bench: int) -> None:
    for each, by in zip(benches, ("ava", "tomas"), strict=True):
        sign(each, by)
    together(*benches)
    benches[bench].change(FILE, "P2: 482.0", "P2: 482.4")
    commit(benches[bench], "Eve")
    assert {rule for rule, _ in changed(benches[bench])} == {"sealed-changed"}
    assert any("W2 readings P2: 482.0 → 482.4" in what and "by Eve" in what for _, what in changed(benches[bench]))
    sealed = _figure(benches[bench])
    benches[bench].change("build.yaml", sealed, sealed.replace(": 4", ": 5"))  # a signed figure of one of the two
    assert any("figures" in what and "edited by hand" in what for _, what in changed(benches[bench]))


def _figure(bench: Sealed) -> str:
    text = (bench.folder / "build.yaml").read_text()
    found = re.search(r"big_end: \{R1: 421", text)
    assert found is not None
    return found[0]


def test_a_record_renumbered_after_its_seal_is_still_what_was_sealed(benches: tuple[Sealed, Sealed]) -> None:
    """Two benches enter W9 each; the second seals what it has, and its W9 becomes W10."""
    one, two = benches
    for bench, value in ((one, "480.3"), (two, "480.2")):
        path = bench.folder / FILE
        path.write_text(path.read_text() + MORE.replace("480.3", value))
        commit(bench, "Tomas" if bench is two else "Ava")
    sign(two, "tomas")
    together(one, two)
    for bench in benches:
        # the other bench's reading was not there when it was sealed; the own one is only called otherwise now
        (what,) = [what for rule, what in changed(bench) if rule == "sealed-changed"]
        assert what.startswith("W9 was not there: ")
        assert re.search(r"since A2 was sealed: by Ava \(#\), brought together in \w{7}$", what)


def test_a_seal_opened_at_another_bench_is_held_to_what_was_there_before(benches: tuple[Sealed, Sealed]) -> None:
    one, two = benches
    sign(one, "ava")
    sign(two, "tomas")
    together(one, two)
    (opened,) = one_after_the_other([["reopen", NAME, "--because", "twice", "--by", "tomas"]], two.root)
    assert opened.code == 0, opened
    two.change(FILE, "P2: 482.0", "P2: 482.4")
    commit(two, "Tomas")
    sync(two.root)
    sync(one.root)
    for bench in benches:
        assert found(bench) == []


def test_a_sealed_build_opened_apart_from_the_seal_is_compared_with_where_the_two_met(
    benches: tuple[Sealed, Sealed],
) -> None:
    """One bench seals; the other, not knowing, opens the earlier sign-off again and goes on."""
    one, two = benches
    sign(one, "ava")
    one.change(FILE, "P2: 482.0", "P2: 482.4")
    commit(one, "Eve")
    (opened,) = one_after_the_other([["reopen", NAME, "--because", "early", "--by", "tomas"]], two.root)
    assert opened.code == 0, opened
    together(one, two)
    assert found(one) != []
    assert any("W2 readings P2: 482.0 → 482.4" in each.what and "by Eve" in each.what for each in found(one))


def shop_findings(bench: Sealed) -> list[str]:
    result = audit(bench.root, [NAME], datetime.now(UTC), whole=True)
    assert all(each.severity == "warning" for each in result.findings)
    assert [each.rule for build in result.builds for each in build.findings if each.severity != "note"] == []
    return [each.what for each in result.findings if each.rule == "shop-changed"]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("Ava Merrow,", "Ava Marrow,", "people ava name: Ava Merrow → Ava Marrow"),
        ("resolution: 0.1 g", "resolution: 0.2 g", "instruments scale resolution: 0.1 g → 0.2 g"),
        (", calibration_due: 2027-01-09", "", "instruments scale calibration_due is gone: 2027-01-09"),
        ("repeatability: 0.05 g", "uncertainty: 0.05 g", "instruments scale repeatability is gone: 0.05 g"),
        ("calibrated: 2026-01-10", "calibrated: 2026-01-11", "instruments scale calibrated: 2026-01-10 → 2026-01-11"),
        ("  tomas:", "  thomas:", None),  # nothing sealed names him
        ("email: ava@example.org", "email: a@example.org", None),
        ("2027-01-09}", "2027-01-09, recalibrated: [{calibrated: 2027-01-05}]}", None),
        ("resolution: 0.1 g,", "resolution: 0.1 g, serial: S-7, uncertainty: 0.1 g,", None),
        ("people:", "people: # all of us", None),
    ],
)
def test_a_fact_of_the_shop_that_a_seal_rests_on_and_that_is_otherwise_now_is_named(
    sealed_build: Sealed, old: str, new: str, said: str | None
) -> None:
    path = sealed_build.root / "shop.yaml"
    assert path.read_text().count(old) == 1
    path.write_text(path.read_text().replace(old, new))
    (*by_hand,) = shop_findings(sealed_build)
    commit(sealed_build, "Eve")
    for told, who in ((by_hand, "edited by hand, and not committed"), (shop_findings(sealed_build), "by Eve on 20")):
        assert [what.partition(", since")[0] for what in told] == ([said] if said else [])
        assert all(who in what and f"({NAME})" in what for what in told)


def test_a_later_calibration_may_come_and_an_earlier_one_may_not_go(sealed_build: Sealed) -> None:
    path = sealed_build.root / "shop.yaml"
    was = path.read_text()
    later = "{calibrated: 2027-01-05, calibration_due: 2028-01-04}"
    path.write_text(was.replace("2027-01-09}", f"2027-01-09, recalibrated: [{later}]}}"))
    commit(sealed_build, "Ava")
    git(sealed_build.root, "tag", "--delete", TAG)
    git(sealed_build.root, "reset", "--quiet", "--hard", "HEAD~2")
    path.write_text(was.replace("2027-01-09}", f"2027-01-09, recalibrated: [{later}]}}"))
    commit(sealed_build, "Ava")
    sign(sealed_build, "ava")
    more = "{calibrated: 2026-06-01, calibration_due: 2027-01-01}"
    path.write_text(was.replace("2027-01-09}", f"2027-01-09, recalibrated: [{more}, {later}]}}"))
    assert shop_findings(sealed_build) == []
    path.write_text(was.replace("2027-01-09}", f"2027-01-09, recalibrated: [{more}]}}"))
    assert len(shop_findings(sealed_build)) > 0
