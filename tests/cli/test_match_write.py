"""`match --write`: what it records, what it commits, and that every other byte stays."""

import json
from pathlib import Path

import pytest
from conftest import Book, Run
from figures.ledger import ALL_WEIGHED, PARTS, pairings, weighings

from cli.workshop import git, into_git

HERON = "engines/heron-07/2026-10-rebuild"


def write(run: Run, folder: Path, *more: str) -> str:
    done = run("match", "--write", "--by", "ava", *more, cwd=folder)
    assert (done.returncode, done.stderr) == (0, "")
    return done.stdout


def test_it_records_and_commits_only_its_own_file(run: Run, kept: Path) -> None:
    (kept / "shop.yaml").write_text((kept / "shop.yaml").read_text() + "# changed by hand\n")
    (kept / "staged.txt").write_text("staged by hand\n")
    git(kept, "add", "staged.txt")
    write(run, kept / HERON)
    author, subject = git(kept, "show", "--no-patch", "--format=%an <%ae>%n%s", "HEAD").splitlines()
    assert author == "Ava Merrow <ava@quayside.example>"
    assert subject.startswith("Match heron-07/2026-10-rebuild: spread ")
    assert git(kept, "show", "--name-only", "--format=", "HEAD").split() == [f"{HERON}/pairings.yaml"]
    assert git(kept, "status", "--porcelain").splitlines() == [" M shop.yaml", "A  staged.txt"]


def test_what_was_there_stays_byte_for_byte_and_the_map_shows_the_pairing(run: Run, kept: Path) -> None:
    file = kept / HERON / "pairings.yaml"
    before = {path: path.read_bytes() for path in kept.rglob("*.yaml")}
    said = json.loads(write(run, kept / HERON, "--json"))["figures"]["match"]
    assert file.read_bytes().startswith(before.pop(file))
    assert before == {path: path.read_bytes() for path in kept.rglob("*.yaml") if path != file}
    shown = json.loads(run("map", "--json", cwd=kept / HERON).stdout)
    assert shown["findings"] == []
    assert shown["figures"]["pairing"]["spread"] == said["spread"]
    for name, cylinder in said["cylinders"].items():
        assert cylinder.items() <= shown["figures"]["pairing"]["cylinders"][name].items()
    assert said["cylinders"]["5"]["piston"] == "P3"  # locked to its bore


def test_the_second_time_it_records_nothing(run: Run, kept: Path) -> None:
    write(run, kept / HERON)
    content, head = (kept / HERON / "pairings.yaml").read_bytes(), git(kept, "rev-parse", "HEAD")
    assert "recorded  nothing" in write(run, kept / HERON)
    assert (kept / HERON / "pairings.yaml").read_bytes() == content
    assert git(kept, "rev-parse", "HEAD") == head


@pytest.fixture
def twin(book: Book) -> Book:
    """A twin that is matched by weight, in git: 153.9 + 482.0 + 152.3 against 154.9 + 480.1 + 152.5."""
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write(
        "pairings.yaml",
        pairings(
            "rod: R1, piston: P2, pin: N1",
            "rod: R2, piston: P1, pin: N2",
            decided="taken: 2026-10-03T12:00+01:00, by: ava, how: match, from: [W2, W3, W4]",
        ),
    )
    into_git(book.root)
    return book


def weigh_again(twin: Book, readings: str) -> None:
    again = f"id: W9, taken: 2026-10-05T09:00+01:00, what: piston, readings: {{{readings}}}"
    twin.write("weighings.yaml", weighings(*ALL_WEIGHED, again))


def test_after_weighing_again_a_revision_is_appended_and_the_first_decision_stays(run: Run, twin: Book) -> None:
    before = (twin.folder / "pairings.yaml").read_bytes()
    weigh_again(twin, "P1: 482.0, P2: 480.1")  # the two were mixed up
    run("match", "--write", "--by", "tomas", "--because", "P1 and P2 were mixed up", cwd=twin.folder)
    after = (twin.folder / "pairings.yaml").read_text()
    assert after.encode().startswith(before)
    assert "revised:\n  - id: D2\n" in after
    assert "because: P1 and P2 were mixed up" in after
    first, second = twin.figures().build.pairings.decisions
    assert first.cylinders["1"].pieces["piston"] == "P2"
    assert (second.by, second.how, second.from_) == ("tomas", "match", ("W2", "W9", "W4"))
    assert second.cylinders["1"].pieces["piston"] == "P1"


def test_a_third_decision_follows_the_second(run: Run, twin: Book) -> None:
    weigh_again(twin, "P1: 482.0, P2: 480.1")
    run("match", "--write", "--by", "ava", cwd=twin.folder)
    again = "id: W10, taken: 2026-10-06T09:00+01:00, what: piston, readings: {P1: 480.1, P2: 482.0}"
    with (twin.folder / "weighings.yaml").open("a") as file:
        file.write(f"  - {{{again}, by: ava, with: scale}}\n")
    run("match", "--write", "--by", "ava", cwd=twin.folder)
    assert [decision.id for decision in twin.figures().build.pairings.decisions] == [None, "D2", "D3"]


def test_after_writing_nothing_is_said_to_be_changed_since(run: Run, twin: Book) -> None:
    weigh_again(twin, "P1: 482.0, P2: 480.1")
    assert {finding.rule for finding in twin.findings()} == {"changed-since", "spread"}
    assert "match again" not in write(run, twin.folder)
    assert twin.findings() == []


def test_weighing_again_without_a_better_pairing_is_settled_by_writing_it_again(run: Run, twin: Book) -> None:
    weigh_again(twin, "P1: 480.2")
    assert [finding.rule for finding in twin.findings()] == ["changed-since"]
    assert "Not recorded." in run("match", cwd=twin.folder).stdout
    run("match", "--write", "--by", "ava", cwd=twin.folder)
    assert twin.findings() == []
    assert "This pairing is the one in pairings.yaml." in run("match", cwd=twin.folder).stdout


def test_without_write_nothing_is_touched(run: Run, twin: Book) -> None:
    weigh_again(twin, "P1: 482.0, P2: 480.1")
    before = (twin.folder / "pairings.yaml").read_bytes()
    assert "Not recorded." in run("match", cwd=twin.folder).stdout
    assert (twin.folder / "pairings.yaml").read_bytes() == before


def test_windows_line_ends_and_a_byte_order_mark_stay(run: Run, book: Book) -> None:
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    before = "\ufeffformat: 1\r\n# by hand\r\nlocked: [ ]\r\n".encode()
    book.write("pairings.yaml", before)
    run("match", "--write", "--by", "ava", cwd=book.folder)
    after = (book.folder / "pairings.yaml").read_bytes()
    assert after.startswith(before)
    assert len(after) > len(before)
    assert after.count(b"\n") == after.count(b"\r\n")


@pytest.mark.parametrize(
    "content",
    [
        "format: 1\ndecided: {taken: 2026-10-03, by: ava}\n",
        "format: 1\ncylinders: {}\n",
        "{format: 1}\n",
        "format: 1\nrevised: []\n",
        "format: 1\nlocked: [{rod: R1, piston: P2}]",
    ],
    ids=["decided by nobody yet", "no cylinders yet", "all in braces", "an empty list", "no line end"],
)
def test_a_file_begun_by_hand_is_added_to_or_refused_and_never_a_fault_of_ours(
    run: Run, book: Book, content: str
) -> None:
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write("pairings.yaml", content)
    done = run("match", "--write", "--by", "ava", cwd=book.folder)
    assert done.returncode in {0, 1, 2}
    assert "Traceback" not in done.stderr
    after = (book.folder / "pairings.yaml").read_text()
    if done.returncode == 2:
        assert after == content
    else:
        assert book.figures().pairing is not None


def test_a_pairing_over_the_limit_is_recorded_or_said_not_to_be(run: Run, twin: Book) -> None:
    before = (twin.folder / "pairings.yaml").read_bytes()
    weigh_again(twin, "P1: 487.0, P2: 480.1")
    done = run("match", "--write", "--by", "ava", cwd=twin.folder)
    assert (done.returncode, done.stderr) == (1, "")
    assert "OVER the limit" in done.stdout
    recorded = (twin.folder / "pairings.yaml").read_bytes() != before
    assert recorded or "not recorded" in done.stdout.lower()


def test_outside_git_it_is_written_and_said_not_to_be_kept(run: Run, samples: Path) -> None:
    said = write(run, samples / HERON)
    assert "not kept in git's history" in said
    assert "cylinders:" in (samples / HERON / "pairings.yaml").read_text()


def test_what_cannot_be_matched_is_not_written(run: Run, samples: Path) -> None:
    file = samples / HERON / "pairings.yaml"
    locked = file.read_text() + "  - {piston: P3, cylinder: 4, because: a slip}\n"
    file.write_text(locked)
    done = run("match", "--write", "--by", "ava", cwd=samples / HERON)
    assert (done.returncode, done.stderr) == (1, "")
    assert "the locks put piston P3 into cylinder" in " ".join(done.stdout.split())
    assert file.read_text() == locked


def test_somebody_must_be_named_where_there_are_several(run: Run, samples: Path) -> None:
    before = (samples / HERON / "pairings.yaml").read_bytes()
    done = run("match", "--write", cwd=samples / HERON)
    assert (done.returncode, done.stdout) == (2, "")
    assert "ava, tomas, mika" in done.stderr
    assert (samples / HERON / "pairings.yaml").read_bytes() == before
    by_environment = run("match", "--write", cwd=samples / HERON, BUILDBOOK_BY="mika")
    assert by_environment.returncode == 0


def test_a_lock_that_the_last_pairing_breaks_is_kept_by_the_new_one(samples: Path, run: Run) -> None:
    path = samples / "engines" / "plover-03" / "2026-03-first" / "pairings.yaml"
    lock = "locked:\n  - {piston: P1, cylinder: 6, because: honed to this piston}\n"
    path.write_text(path.read_text().replace("format: 1\n", f"format: 1\n{lock}", 1))
    assert "lock-broken" in run("check", "plover-03", cwd=samples).stdout
    done = run("match", "plover-03", "--write", "--by", "ava", cwd=samples)
    assert done.returncode == 0, done.stderr
    assert "lock-broken" not in run("check", "plover-03", cwd=samples).stdout
