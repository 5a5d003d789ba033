"""Which commit brought a record, and which one last changed a reading in it."""

import re
from pathlib import Path

import pytest
from cli.workshop import git, into_git
from conftest import Book
from figures.ledger import ALL_WEIGHED, PARTS, pairings, weighings

from buildbook.book import git as book_git
from buildbook.book.blame import Asked, Kept, blame, places
from buildbook.book.commits import commits
from buildbook.book.reading import Reader
from buildbook.figures import work_out
from buildbook.figures.named import named_figures
from buildbook.figures.trace import trace
from buildbook.records.finding import Where
from buildbook.records.model import Build

AVA, TOMAS = "Ava Merrow <ava@example.org>", "Tomas Reddick <tomas@example.org>"


@pytest.fixture
def twin(book: Book) -> Book:
    """A book in git, with everything weighed."""
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write("pairings.yaml", pairings("rod: R1, piston: P1, pin: N1", "rod: R2, piston: P2, pin: N2"))
    into_git(book.root)
    return book


def commit(book: Book, subject: str, author: str = AVA) -> str:
    git(book.root, "commit", "--quiet", "--all", f"--message={subject}", f"--author={author}")
    return git(book.root, "rev-parse", "HEAD").strip()


def add_session(book: Book, text: str) -> None:
    """One more session at the end of the file, as a command adds it."""
    path = book.folder / "weighings.yaml"
    path.write_text(path.read_text() + f"  - {{{text}, taken: 2026-10-05, by: ava, with: scale}}\n")


def replace(book: Book, old: str, new: str, file: str = "weighings.yaml") -> None:
    path = book.folder / file
    assert path.read_text().count(old) == 1
    path.write_text(path.read_text().replace(old, new))


def build(book: Book) -> Build:
    loaded = Reader(book.root).load("twin/first")
    assert loaded.build is not None, loaded.findings
    return loaded.build


def weight(book: Book, session: str, piece: str) -> Asked:
    """Where a reading of a piece stands."""
    found = next(each for each in build(book).weighings if each.id == session)
    return found.readings[piece].where, ()


def kept(book: Book, asked: Asked) -> Kept:
    return blame(book.root, [asked])[asked]


def told(each: Kept) -> tuple[str | None, str | None, str | None, str | None]:
    """The subjects of the commits that brought and changed a reading, what it was, and what git has."""
    changed = each.changed
    return (
        each.brought.subject if each.brought else None,
        changed.commit.subject if changed else None,
        changed.was if changed else None,
        each.in_git,
    )


def test_a_record_is_the_work_of_the_commit_that_brought_it(twin: Book) -> None:
    add_session(twin, "id: W7, what: piston, readings: {P1: 480.3}")
    sha = commit(twin, "Record W7: piston", TOMAS)
    add_session(twin, "id: W8, what: piston, readings: {P2: 482.1}")
    commit(twin, "Record W8: piston")
    found = kept(twin, weight(twin, "W7", "P1"))
    assert found.brought is not None
    assert (found.brought.sha, found.brought.author) == (sha, "Tomas Reddick")
    assert told(found) == ("Record W7: piston", None, None, None)
    assert told(kept(twin, weight(twin, "W3", "P1"))) == ("Begin", None, None, None)


def test_a_hand_edit_shows_who_brought_the_reading_who_changed_it_last_and_from_what(twin: Book) -> None:
    replace(twin, "P1: 480.1", "P1: 480.4")
    commit(twin, "First thought", TOMAS)
    replace(twin, "P1: 480.4", "P1: [480.2, 480.3]")
    commit(twin, "Second thought", TOMAS)
    add_session(twin, "id: W7, what: pin, readings: {N1: 152.4}")
    commit(twin, "Record W7: pin")
    assert told(kept(twin, weight(twin, "W3", "P1"))) == ("Begin", "Second thought", "480.4", None)
    assert told(kept(twin, weight(twin, "W3", "P2"))) == ("Begin", None, None, None)


def test_a_reading_that_came_into_its_session_later_was_nothing_before(twin: Book) -> None:
    replace(twin, "P2: 482.0", "P2: 482.0, P3: 481.0")
    commit(twin, "One more")
    assert told(kept(twin, weight(twin, "W3", "P3"))) == ("Begin", "One more", None, None)


def test_what_only_moved_within_its_file_was_not_changed(twin: Book) -> None:
    replace(twin, "sessions:\n", "# a comment\n\nsessions:\n")
    replace(twin, "{P1: 480.1, P2: 482.0}", "{P2: 482.0,   P1: 480.1}")
    commit(twin, "Tidy up")
    assert told(kept(twin, weight(twin, "W3", "P1"))) == ("Begin", None, None, None)


def test_what_is_on_disk_alone_is_not_kept_yet(twin: Book) -> None:
    add_session(twin, "id: W7, what: piston, readings: {P1: 480.3}")
    replace(twin, "P2: 482.0", "P2: 482.5")
    replace(twin, "N1: 152.3", "N3: 152.1, N1: 152.3")
    assert told(kept(twin, weight(twin, "W7", "P1"))) == (None, None, None, None)
    assert told(kept(twin, weight(twin, "W3", "P2"))) == ("Begin", None, None, "482.0")
    added = kept(twin, weight(twin, "W4", "N3"))
    assert (told(added), added.differs) == (("Begin", None, None, None), True)
    assert not kept(twin, weight(twin, "W4", "N1")).differs


def test_a_record_that_was_taken_out_of_git_and_is_back_on_disk_is_not_kept(twin: Book) -> None:
    whole = (twin.folder / "weighings.yaml").read_bytes()
    twin.write("weighings.yaml", weighings(*ALL_WEIGHED[:2], *ALL_WEIGHED[3:]))
    commit(twin, "Take W3 out")
    twin.write("weighings.yaml", whole)
    assert kept(twin, weight(twin, "W3", "P1")).brought is None


def test_who_voided_a_record_is_a_change_of_it(twin: Book) -> None:
    replace(twin, "id: W3,", "id: W3, void: wrong pan,")
    commit(twin, "Void W3", TOMAS)
    session = next(each for each in build(twin).weighings if each.id == "W3")
    found = kept(twin, (session.where, ("void",)))
    assert told(found) == ("Begin", "Void W3", None, None)
    assert found.changed is not None
    assert found.changed.commit.author == "Tomas Reddick"


def test_choices_and_statements_are_found_by_their_field(twin: Book) -> None:
    replace(twin, "factor: 50", "factor: 52", "build.yaml")
    commit(twin, "Choose 52")
    balance = build(twin).balance
    factor, oil = (kept(twin, (balance.where, (name,))) for name in ("factor", "oil"))
    assert (told(factor), told(oil)) == (("Begin", "Choose 52", "50", None), ("Begin", None, None, None))
    assert factor.where.line == 6


def test_a_field_at_the_top_of_a_file_is_found_though_the_records_name_no_line(twin: Book) -> None:
    path = twin.write("engines/twin/engine.yaml", "format: 1\nengine: twin\nunits: {length: mm}\nbore: 101.8\n")
    commit(twin, "Bore")
    asked = (Where(str(path), 1, 1), ("bore",))
    assert places([asked])[asked].line == 4
    assert told(kept(twin, asked)) == ("Bore", None, None, None)


def test_a_line_of_the_parts_list_has_no_id_and_is_known_by_its_place(twin: Book) -> None:
    path = twin.folder / "parts.yaml"
    for kind in ("damper", "flywheel"):
        path.write_text(path.read_text() + f"  - {{kind: {kind}, ids: [X{kind}], state: new}}\n")
        commit(twin, f"List the {kind}")
    replace(twin, "ids: [Xdamper], state: new", "ids: [Xdamper], state: reused", "parts.yaml")
    commit(twin, "It was not new")
    damper, flywheel = (kept(twin, (each.where, ("state",))) for each in build(twin).parts[-2:])
    assert told(damper) == ("List the damper", "It was not new", "new", None)
    assert told(flywheel) == ("List the flywheel", None, None, None)


def test_records_that_two_benches_brought_are_each_their_own_commit_s_after_a_merge(twin: Book) -> None:
    git(twin.root, "switch", "--quiet", "--create", "bench")
    replace(twin, "P1: 480.1", "P1: 480.5")
    commit(twin, "At the bench", TOMAS)
    git(twin.root, "switch", "--quiet", "main")
    add_session(twin, "id: W7, what: pin, readings: {N1: 152.4}")
    commit(twin, "At the desk")
    git(twin.root, "merge", "--quiet", "--message=Together", "bench")
    assert told(kept(twin, weight(twin, "W3", "P1"))) == ("Begin", "At the bench", "480.1", None)
    assert told(kept(twin, weight(twin, "W7", "N1"))) == ("At the desk", None, None, None)


W7 = "id: W7, what: pin, readings: {N1: 152.4}, taken: 2026-10-05, by: ava, with: scale"
W8 = W7.replace("W7", "W8").replace("152.4", "152.9").replace("by: ava", "by: tomas, note: entered as W7")


def two_of_one_id(twin: Book) -> tuple[str, str]:
    """Two benches that entered W7 each; the one of the other bench is W8 after they were brought together."""
    git(twin.root, "switch", "--quiet", "--create", "bench")
    twin.write("weighings.yaml", weighings(*ALL_WEIGHED, W7.replace("152.4", "152.9").replace("ava", "tomas")))
    there = commit(twin, "Record W7: pin", TOMAS)
    git(twin.root, "switch", "--quiet", "main")
    twin.write("weighings.yaml", weighings(*ALL_WEIGHED, W7))
    here = commit(twin, "Record W7: pin")
    git(twin.root, "merge", "--quiet", "--no-commit", "--strategy=ours", "bench")
    twin.write("weighings.yaml", weighings(*ALL_WEIGHED, W7, W8))
    commit(twin, "Merge with origin: 1 record added by tomas")
    return here, there


def test_a_record_that_a_merge_renumbered_is_the_work_of_the_bench_that_entered_it(twin: Book) -> None:
    here, there = two_of_one_id(twin)
    for session, sha, who in (("W7", here, "Ava Merrow"), ("W8", there, "Tomas Reddick")):
        found = kept(twin, weight(twin, session, "N1"))
        assert found.brought is not None
        assert (found.brought.sha, found.brought.author, found.changed) == (sha, who, None)


def test_a_reading_that_a_merge_itself_changed_is_the_merge_s_change_also_in_a_renumbered_record(twin: Book) -> None:
    _, there = two_of_one_id(twin)
    replace(twin, "152.9", "152.1")
    git(twin.root, "commit", "--quiet", "--all", "--amend", "--message=Merge", "--author=Eve <eve@x>")
    found = kept(twin, weight(twin, "W8", "N1"))
    assert found.brought is not None
    assert found.changed is not None
    assert (found.brought.sha, found.changed.commit.author, found.changed.was) == (there, "Eve", "152.9")
    assert len(found.changed.commit.parents) == 2


def test_what_was_settled_in_a_merge_itself_is_the_merge_s_change(twin: Book) -> None:
    git(twin.root, "switch", "--quiet", "--create", "bench")
    replace(twin, "P1: 480.1", "P1: 480.5")
    commit(twin, "At the bench", TOMAS)
    git(twin.root, "switch", "--quiet", "main")
    replace(twin, "P1: 480.1", "P1: 480.7")
    commit(twin, "At the desk")
    with pytest.raises(Exception, match="merge"):
        git(twin.root, "merge", "--quiet", "bench")
    twin.write("weighings.yaml", weighings(*ALL_WEIGHED).replace("P1: 480.1", "P1: 480.6"))
    commit(twin, "Weighed once more")
    found = told(kept(twin, weight(twin, "W3", "P1")))
    assert (found[1], found[2] in {"480.5", "480.7"}) == ("Weighed once more", True)


def test_a_book_without_git_or_inside_another_repository_says_so(book: Book) -> None:
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    asked = weight(book, "W3", "P1")
    with pytest.raises(book_git.NotKept, match="this book is not a git repository"):
        blame(book.root, [asked])
    into_git(book.root.parent)
    with pytest.raises(book_git.NotKept, match="this book lies inside another git repository"):
        blame(book.root, [asked])


def test_a_book_with_no_commit_yet_has_kept_nothing(book: Book) -> None:
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    git(book.root, "init", "--quiet")
    assert told(kept(book, weight(book, "W3", "P1"))) == (None, None, None, None)


def test_a_history_that_is_broken_is_not_taken_for_none(twin: Book) -> None:
    replace(twin, "P1: 480.1", "P1: 480.4")
    sha = commit(twin, "Next")
    asked = weight(twin, "W3", "P1")
    parent = git(twin.root, "rev-parse", f"{sha}^").strip()
    (twin.root / ".git/objects" / parent[:2] / parent[2:]).unlink()
    with pytest.raises(book_git.NotKept, match="git could not do it"):
        blame(twin.root, [asked])


def test_a_file_that_could_not_be_read_at_some_commit_is_passed_over(twin: Book) -> None:
    whole = (twin.folder / "weighings.yaml").read_bytes()
    twin.write("weighings.yaml", b"\xff\xfe sessions: [")
    commit(twin, "Spoil it")
    twin.write("weighings.yaml", whole)
    commit(twin, "Mend it")
    assert told(kept(twin, weight(twin, "W3", "P1")))[0] == "Begin"


def test_lines_added_to_a_session_at_the_end_of_the_file_are_seen(twin: Book) -> None:
    path = twin.folder / "weighings.yaml"
    path.write_text(
        path.read_text() + "  - id: W7\n    taken: 2026-10-05\n    what: pin\n    readings:\n      N1: 152.4\n"
    )
    commit(twin, "Record W7: pin")
    path.write_text(path.read_text() + "      N2: 152.6\n")
    commit(twin, "The other pin")
    path.write_text(path.read_text() + "    void: cold\n")
    commit(twin, "Void W7")
    first, second = (told(kept(twin, weight(twin, "W7", pin))) for pin in ("N1", "N2"))
    assert first == ("Record W7: pin", None, None, None)
    assert second == ("Record W7: pin", "The other pin", None, None)
    session = build(twin).weighings[-1].where
    assert told(kept(twin, (session, ("void",))))[:2] == ("Record W7: pin", "Void W7")


def test_all_of_a_long_history_takes_two_runs_of_git(twin: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    for number in range(7, 27):
        add_session(twin, f"id: W{number}, what: rod, readings: {{R1: 571.{number}}}")
        commit(twin, f"Record W{number}: rod")
    asked = [weight(twin, each.id or "", next(iter(each.readings))) for each in build(twin).weighings if each.readings]
    asked.append((build(twin).balance.where, ("oil",)))
    ran: list[str] = []
    run = book_git.run

    def counted(*arguments: str, **more: bytes) -> bytes:
        ran.append(arguments[1])
        return run(*arguments, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(book_git, "run", counted)
    found = blame(twin.root, asked)
    assert ran == ["log", "cat-file"]
    subjects = [each.brought.subject for each in found.values() if each.brought]
    assert subjects == ["Begin"] * 4 + [f"Record W{number}: rod" for number in range(7, 27)] + ["Begin"]
    assert len(commits(twin.root)) == 21


def test_a_book_is_found_by_whatever_way_its_folder_was_named(twin: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(twin.root.parent)
    roundabout = Path("book/../book").absolute()
    loaded = Reader(roundabout).load("twin/first")
    assert loaded.build is not None
    asked = (loaded.build.weighings[2].readings["P1"].where, ())
    assert told(blame(roundabout, [asked])[asked])[0] == "Begin"


def test_everything_that_the_samples_figures_came_from_stands_where_it_is_said_to(
    samples: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    into_git(samples)
    monkeypatch.chdir(samples)
    for name in ("heron-07/2025-06-first", "plover-03/2026-03-first"):
        loaded = Reader(samples).load(name)
        assert loaded.build is not None
        figures = work_out(loaded.build)
        found = {
            (each.where, each.field): each
            for figure in named_figures(figures)
            for each in trace(figures, figure).all_sources()
            if each.where is not None
        }
        known = blame(samples, [*found])
        assert len(known) > 100
        for asked, source in found.items():
            where = known[asked].where
            line = (samples / where.file).read_text().splitlines()[where.line - 1]
            words = re.findall(r"[\w.]+", source.values[0]) if source.what not in {"limit", "pairing"} else []
            assert all(word in line or word in {"g", "against", "rotation"} for word in words), (source.what, line)
            brought = known[asked].brought
            assert brought is not None, (source.what, where)
            assert brought.subject == "Begin"
