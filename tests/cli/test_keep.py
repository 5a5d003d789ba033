"""`keep` and what `check` says of hand edits: whole commands in a real git repository."""

import json
import re
import shutil
from pathlib import Path

import pytest
from conftest import Book
from figures.ledger import ALL_WEIGHED, PARTS, weighings
from figures.turning import on_the_machine

from cli.workshop import git, into_git, one_after_the_other


@pytest.fixture
def twin(book: Book) -> Book:
    on_the_machine(book)
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    into_git(book.root)
    return book


def loosen(book: Book) -> None:
    path = book.folder / "build.yaml"
    path.write_text(path.read_text().replace("reciprocating_spread: {max: 1.0}", "reciprocating_spread: {max: 1.5}"))


def last(root: Path) -> str:
    return git(root, "show", "--no-patch", "--format=%an%n%B", "HEAD").strip()


def test_a_hand_edit_is_noted_by_check_kept_with_a_message_of_its_own_and_then_gone(twin: Book) -> None:
    loosen(twin)
    (twin.root / "notes.txt").write_text("mine\n")
    noted, one, kept, after, nothing = one_after_the_other(
        ["check", "check engines/twin/first/build.yaml", "keep --by ava", "check", "keep"], twin.root
    )
    for shown in (noted, one):
        assert "edited by hand since it was kept: limits changed" in shown.stdout
        assert "not-kept" in shown.stdout
    assert (kept.code, kept.stderr) == (0, "")
    assert "Edit twin/first: limit reciprocating_spread changed" in kept.stdout
    assert "not-kept" not in after.stdout
    assert (nothing.code, "nothing to keep" in nothing.stdout) == (0, True)
    assert last(twin.root) == ("Ava Merrow\nEdit twin/first: limit reciprocating_spread changed\n\nBuild: twin/first")
    assert git(twin.root, "status", "--porcelain") == "?? notes.txt\n"


def test_a_note_alone_does_not_change_how_check_ends(twin: Book) -> None:
    (before,) = one_after_the_other(["check --json"], twin.root)
    loosen(twin)
    (after,) = one_after_the_other(["check --json"], twin.root)
    assert before.code == after.code
    rules = [[each["rule"] for each in json.loads(shown.stdout)["findings"]] for shown in (before, after)]
    assert rules[1] == [*rules[0], "not-kept"]


def test_without_git_check_says_no_more_than_that(book: Book) -> None:
    (shown,) = one_after_the_other(["check"], book.root)
    assert "edited by hand" not in shown.stdout


def test_what_is_named_alone_is_kept_and_the_rest_stays(twin: Book) -> None:
    loosen(twin)
    shop = twin.root / "shop.yaml"
    shop.write_text(shop.read_text() + "# a remark\n")
    (shown,) = one_after_the_other(["keep twin/first --by ava"], twin.root)
    assert shown.code == 0
    assert git(twin.root, "status", "--porcelain") == " M shop.yaml\n"


def test_a_file_that_does_not_load_is_not_kept_unless_even_so(twin: Book) -> None:
    path = twin.folder / "build.yaml"
    path.write_text(path.read_text() + "purpose: [\n")
    head = git(twin.root, "rev-parse", "HEAD")
    refused, as_json = one_after_the_other(["keep", "keep --json"], twin.root)
    assert (refused.code, as_json.code) == (1, 1)
    assert "nothing was kept" in refused.stdout
    assert re.search(r"build\.yaml:\d+:\d+  yaml", refused.stdout)
    assert json.loads(as_json.stdout)["findings"][0]["severity"] == "error"
    assert git(twin.root, "rev-parse", "HEAD") == head
    (kept,) = one_after_the_other(["keep --even-so --by ava"], twin.root)
    assert kept.code == 0
    assert "cannot be read for certain" in last(twin.root)


def test_a_message_and_a_name_of_ones_own_and_json(twin: Book) -> None:
    loosen(twin)
    (shown,) = one_after_the_other([["keep", "--by", "tomas", "--message", "As the owner\nasked", "--json"]], twin.root)
    kept = json.loads(shown.stdout)["figures"]["kept"]
    assert kept["message"].startswith("As the owner asked\n")
    assert kept["edits"] == [
        {"of": "twin/first", "build": "twin/first", "changed": ["limit reciprocating_spread changed"]}
    ]
    assert last(twin.root).startswith("Tomas Reddick\nAs the owner asked\n")


def test_what_cannot_be_kept_now_is_refused_with_its_remedy(twin: Book) -> None:
    loosen(twin)
    stranger, empty = one_after_the_other(["keep --by avva", ["keep", "--by", "ava", "--message", " "]], twin.root)
    assert (stranger.code, empty.code) == (2, 2)
    assert "did you mean ava?" in " ".join(stranger.stderr.split())
    git(twin.root, "checkout", "--quiet", "--detach")
    detached, checked = one_after_the_other(["keep", "check"], twin.root)
    assert detached.code == 2
    assert "git switch main" in detached.stderr
    assert "no branch is checked out" in checked.stdout


def test_a_record_made_in_a_file_edited_by_hand_is_a_commit_of_its_own(twin: Book) -> None:
    path = twin.folder / "spins.yaml"
    path.write_text(path.read_text() + "# a remark of mine\n")
    (shown,) = one_after_the_other(["spin --front 1@2 --rear 1@2 --by ava"], twin.root)
    assert "edited by hand: kept in git by itself" in " ".join(shown.stderr.split())
    subjects = git(twin.root, "log", "--format=%s", "-2").splitlines()
    assert subjects == ["Record S1: spin", "Edit twin/first: remarks or layout of spins.yaml changed"]
    assert "remark of mine" not in git(twin.root, "show", "HEAD").replace(" # a remark of mine", "")


def test_no_record_goes_into_a_file_from_which_one_was_taken_out_by_hand(twin: Book) -> None:
    path = twin.folder / "spins.yaml"
    before = path.read_text()
    one_after_the_other(["spin --front 1@2 --rear 1@2 --by ava"], twin.root)
    path.write_text(before)
    head = git(twin.root, "rev-parse", "HEAD")
    (refused,) = one_after_the_other(["spin --front 3@2 --rear 1@2 --by ava"], twin.root)
    said = " ".join(refused.stderr.split())
    assert (refused.code, "step S1 removed by hand" in said, "git restore" in said, "--even-so" in said) == (
        2,
        *[True] * 3,
    )
    assert (path.read_text(), git(twin.root, "rev-parse", "HEAD")) == (before, head)
    git(twin.root, "restore", "engines")
    (recorded,) = one_after_the_other(["spin --front 3@2 --rear 1@2 --by ava"], twin.root)
    assert "S2" in recorded.stdout  # and no id is used twice


def test_a_refused_record_keeps_no_hand_edit_either(twin: Book) -> None:
    path = twin.folder / "spins.yaml"
    path.write_text(path.read_text() + "# a remark of mine\n")
    head = git(twin.root, "rev-parse", "HEAD")
    (shown,) = one_after_the_other(["spin --front -1@2 --rear 1@2 --by ava"], twin.root)
    assert shown.code == 1
    assert git(twin.root, "rev-parse", "HEAD") == head


def test_every_command_that_writes_leaves_trailers_that_a_program_can_read(book: Book) -> None:
    on_the_machine(book)
    spins = (book.folder / "spins.yaml").read_text()
    (book.folder / "spins.yaml").write_text(re.sub(r"^bobweights:.*\n", "", spins, flags=re.MULTILINE))
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write("pairings.yaml", "format: 1\n")
    into_git(book.root)
    commands = ["match --write --by ava", "bobweight --set 1=1775.6 --with scale --by ava",
                "spin --front 1@2 --rear 1@2 --by ava"]  # fmt: skip
    for command, record in zip(commands, ("D1", "bobweights", "S1"), strict=True):
        (shown,) = one_after_the_other([command], book.folder)
        trailers = git(book.root, "log", "-1", "--format=%(trailers:only,unfold)").split("\n")
        assert trailers[:2] == ["Build: twin/first", f"Record: {record}"], (command, shown)


def test_every_edit_of_a_shop_screen_is_legible_at_60_columns(twin: Book) -> None:
    loosen(twin)
    twin.write("weighings.yaml", weighings(*ALL_WEIGHED) + "# more\n")
    (shown,) = one_after_the_other(["keep --by ava"], twin.root, columns=60)
    assert max(map(len, shown.stdout.splitlines())) <= 60
    assert "limit reciprocating_spread changed" in " ".join(shown.stdout.split())


def test_where_there_are_several_people_it_is_asked_who_keeps_it(twin: Book) -> None:
    loosen(twin)
    head = git(twin.root, "rev-parse", "HEAD")
    (asked,) = one_after_the_other(["keep"], twin.root)
    assert (asked.code, git(twin.root, "rev-parse", "HEAD")) == (2, head)
    assert "--by PERSON (ava, tomas)" in asked.stderr


def test_half_a_job_is_kept_with_what_check_finds_in_it(twin: Book) -> None:
    path = twin.folder / "weighings.yaml"
    path.write_text(path.read_text().replace("by: ava", "by: nobody", 1))
    kept, checked = one_after_the_other(["keep --by ava", "check"], twin.root)
    assert (kept.code, checked.code) == (0, 1)
    assert "unknown-by" in checked.stdout


def test_a_build_whose_folder_was_renamed_is_brought_back_by_the_remedy_or_kept_so(twin: Book) -> None:
    twin.folder.rename(twin.folder.parent / "other")
    (refused,) = one_after_the_other(["keep --by ava"], twin.root)
    said = " ".join(refused.stdout.split())
    assert refused.code == 1
    assert "'git restore engines/twin/first' brings it back as it was kept; if it only has another name now" in said
    git(twin.root, "restore", "engines/twin/first")
    assert (twin.folder / "weighings.yaml").is_file()


def test_a_record_that_was_taken_out_is_found_and_not_kept_so_unless_it_is_said(twin: Book) -> None:
    path = twin.folder / "weighings.yaml"
    text = path.read_text()
    lines = text.splitlines(keepends=True)
    first = next(number for number, line in enumerate(lines) if "id: W1" in line)
    path.write_text("".join(lines[:first] + lines[first + 1 :]))
    head = git(twin.root, "rev-parse", "HEAD")
    checked, refused, as_json = one_after_the_other(["check", "keep --by ava", "keep --by ava --json"], twin.root)
    assert (checked.code, refused.code, as_json.code) == (1, 1, 1)
    for shown in (checked, refused):
        assert "weighing W1 removed by hand" in " ".join(shown.stdout.split())
        assert "git restore" in shown.stdout
    assert [each["rule"] for each in json.loads(as_json.stdout)["findings"]] == ["taken-out"]
    assert git(twin.root, "rev-parse", "HEAD") == head
    (kept,) = one_after_the_other(["keep --by ava --even-so"], twin.root)
    assert kept.code == 0
    assert "weighing W1 removed" in last(twin.root)


def test_a_file_that_git_was_told_to_forget_is_known_to_it_again(twin: Book) -> None:
    git(twin.root, "rm", "--quiet", "--cached", "engines/twin/first/weighings.yaml", "shop.yaml")
    checked, nothing = one_after_the_other(["check", "keep --by ava"], twin.root)
    assert "weighings.yaml was forgotten by git" in " ".join(checked.stdout.split())
    assert (nothing.code, nothing.stderr) == (0, "")
    assert git(twin.root, "status", "--porcelain") == ""
    git(twin.root, "rm", "--quiet", "--cached", "shop.yaml")
    (twin.root / "shop.yaml").write_text((twin.root / "shop.yaml").read_text() + "# changed\n")
    (kept,) = one_after_the_other(["keep --by ava"], twin.root)
    assert "remarks or layout of shop.yaml changed" in kept.stdout
    assert git(twin.root, "status", "--porcelain") == ""


def test_what_a_book_begins_with_is_kept_too_where_git_came_later(tmp_path: Path) -> None:
    began = one_after_the_other([["new", "book", "book", "--shop", "S", "--person", "ava"]], tmp_path)
    assert began[0].code == 0, began
    root = tmp_path / "book"
    shutil.rmtree(root / ".git")
    (root / "notes.txt").write_text("mine\n")
    git(root, "init", "--quiet", "--initial-branch=main")
    (kept,) = one_after_the_other(["keep"], root)
    assert kept.code == 0
    assert "build.schema.json" in " ".join(kept.stdout.split())
    assert git(root, "status", "--porcelain") == "?? notes.txt\n"
