"""`diff`: two builds, two states of one by real commits, two engines of a family; and what it refuses."""

import json
import os
import re
import shutil
import subprocess
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from conftest import SAMPLES, Book
from figures.ledger import PARTS, weighings
from rich.cells import cell_len

from cli.workshop import Shown, git, into_git, one_after_the_other

REBUILD = ("heron-07/2025-06-first", "heron-07/2026-10-rebuild")


def said(*arguments: str, cwd: Path = SAMPLES, columns: int = 80) -> Shown:
    (shown,) = one_after_the_other([["diff", *arguments]], cwd, columns)
    return shown


def figures(*arguments: str, cwd: Path = SAMPLES) -> dict[str, Any]:
    shown = said(*arguments, "--json", cwd=cwd)
    assert (shown.code, shown.stderr) == (0, "")
    return dict(json.loads(shown.stdout)["figures"]["diff"])


def flat(text: str) -> str:
    return " ".join(text.split())


# ---- a rebuild against the first build


def test_a_rebuild_that_is_not_matched_yet_is_compared_with_the_first_build_on_one_screen() -> None:
    shown = said(*REBUILD)
    assert (shown.code, shown.stderr) == (0, "")
    text = flat(shown.stdout)
    assert "replaced rod R5; piston P3, P6; ring set G1 to G8" in text
    assert "came back crankshaft C1; block BL1; rod R1 to R4, R6 to R8" in text
    assert "then New rods and pistons after a dropped valve, balanced as one now Rebuild at 1,460 hours" in text
    assert re.search(r"piston P3 506\.88 → 507\.88 \+1\.00 ± 0\.02 another P3", text)
    assert re.search(r"piston P7 507\.20 → 507\.13 -0\.07 ± 0\.02 worn or cleaned; 6 more", text)
    assert re.search(r"cylinder bore 5 101\.8034 → 101\.8399 \+0\.0365 ± 0\.0022 worn or machined; 5 more", text)
    assert "the old balance holds" in text
    assert "nothing is matched yet: the mean of each kind stands for its pieces" in text
    assert "Pairing not decided yet" in text
    assert len(shown.stdout.splitlines()) <= 42


def test_all_shows_every_change_that_the_one_screen_only_counts() -> None:
    brief, everything = (flat(said(*REBUILD, *more).stdout) for more in ((), ("--all",)))
    shown = {f"{each['what']}": each for each in figures(*REBUILD)["changes"] if each["group"] == "figures"}
    alike = [each for each in shown.values() if each["significant"] is False]
    unknown = [each for each in shown.values() if each["change"] is None]
    counted = sum(int(found) for found in re.findall(r"as far as the gauges can tell: (\d+) others", brief))
    of = {each["what"].partition(".")[0] for each in shown.values() if each["change"] is not None}
    unchanged = sum(count for kind, count in figures(*REBUILD)["unchanged"].items() if kind in of)
    assert counted == len(alike) + unchanged
    assert f"{len(unknown)} figures of" in brief
    assert everything.count(" alike ") >= sum(each["why"] == "no more than measurement" for each in alike)
    for what in ("main journal 5", "piston P6", "cylinder bore 7", "ring set G8", "rod bearing clearance (8)"):
        assert what not in brief
        assert what in everything
    assert "(--all)" not in everything


def test_a_build_that_was_spun_itself_shows_what_was_measured_and_no_prediction(samples: Path) -> None:
    engine = samples / "engines/heron-07"
    spun = (engine / "2025-06-first/spins.yaml").read_text()
    last = "front: {amount: 0.5, angle: 213}, rear: {amount: 0.3, angle: 80}"
    assert last in spun
    (engine / "2026-10-rebuild/spins.yaml").write_text(
        spun.replace("2025-06-", "2026-10-").replace(
            last, "front: {amount: 1.4, angle: 31}, rear: {amount: 0.2, angle: 80}"
        )
    )
    text = flat(said(*REBUILD, cwd=samples).stdout)
    assert "spun itself in 2026-10-rebuild (S15): MORE THAN ITS LIMIT IS LEFT" in text
    assert "left, as measured 1.40 @ 31° 0.20 @ 80° limit set 1.00 1.00" in text
    assert "the old balance" not in text
    old = figures(*REBUILD, cwd=samples)["old_balance"]
    assert old["spun"]["verdict"] == "over"
    assert old["spun"]["measured"]["front"] == pytest.approx({"amount": 1.4, "angle": 31})
    assert figures(*REBUILD)["old_balance"]["spun"] is None


def test_alone_a_build_is_compared_with_the_one_that_it_follows() -> None:
    alone, engine, both = one_after_the_other(
        [f"diff {REBUILD[1]}", "diff heron-07", f"diff {' '.join(REBUILD)}"], SAMPLES
    )
    assert alone == engine == both
    assert alone.code == 0


def test_inside_a_build_s_folder_no_name_is_needed() -> None:
    shown = said(cwd=SAMPLES / "engines" / REBUILD[1])
    assert shown.stdout.startswith(f"Diff  {REBUILD[0]} → {REBUILD[1]}")


def test_json_lists_every_change_group_by_group_and_the_biggest_first() -> None:
    shown = figures(*REBUILD)
    changes = shown["changes"]
    keys = {"what", "from", "to", "change", "significant", "why", "group", "unit", "uncertainty"}
    assert all(set(each) == keys for each in changes)
    groups = [each["group"] for each in changes]
    assert groups == sorted(groups, key=["pieces", "figures", "balance", "choices", "pairing", "findings"].index)
    ranks = [
        abs(each["change"]) / each["uncertainty"]
        for each in changes
        if each["group"] == "figures" and each["change"] is not None
    ]
    assert ranks == sorted(ranks, reverse=True)
    bore = next(each for each in changes if each["what"] == "cylinder_bore.5")
    assert bore["change"] == pytest.approx(bore["to"] - bore["from"])
    assert bore["significant"] is True
    assert bore["unit"] == "mm"
    # the gauge: √(1e-6/12 + 0.0018²/6) twice over, and what bringing 101.8 mm from 20.5 °C to 20 °C leaves in doubt
    assert bore["uncertainty"] == pytest.approx(0.00112, rel=0.02)
    assert shown["old_balance"]["verdict"] == "holds"
    assert set(shown["old_balance"]["change"]) == {"front", "rear"}
    assert (shown["from"], shown["to"]) == REBUILD


@pytest.mark.parametrize("columns", [80, 60])
def test_no_figure_is_lost_and_no_line_is_too_wide(columns: int) -> None:
    narrow, wide = (said(*REBUILD, columns=width).stdout for width in (columns, 200))
    number = re.compile(r"\d+(?:\.\d+)?")
    assert Counter(number.findall(wide)) - Counter(number.findall(narrow)) == Counter()
    assert [line for line in narrow.splitlines() if cell_len(line) > columns] == []


# ---- states of one build, by real commits


WEIGHED = "id: W1, what: piston, readings: {P1: %s, P2: 482.0}"


@pytest.fixture
def history(book: Book) -> Book:
    """A book of three days: weighed, weighed otherwise and signed, weighed once more."""
    build = (book.folder / "build.yaml").read_text()
    signed = build + "sign_offs:\n  - {id: A1, stage: matched, taken: 2026-10-04T12:00+00:00, by: ava}\n"
    days = (("2026-10-03", "480.1", build), ("2026-10-04", "480.6", signed), ("2026-10-05", "481.6", signed))
    for number, (day, weight, text) in enumerate(days):
        book.write("parts.yaml", PARTS)
        book.write("build.yaml", text)
        book.write("weighings.yaml", weighings(WEIGHED % weight))
        if number == 0:
            git(book.root, "init", "--quiet", "--initial-branch=main")
        git(book.root, "add", "--all")
        commit(book.root, f"{day}T12:00:00+00:00")
    return book


def commit(root: Path, moment: str) -> None:
    """Commit what is staged, as if it were then: only git's environment can set the day that git looks for."""
    identity = ["-c", "user.name=Test", "-c", "user.email=test@example.org"]
    env = os.environ | {"GIT_AUTHOR_DATE": moment, "GIT_COMMITTER_DATE": moment}
    subprocess.run(["git", *identity, "commit", "--quiet", f"--message={moment}"], cwd=root, env=env, check=True)


def piston(shown: dict[str, Any]) -> tuple[float, float]:
    """From what to what the first piston's weight changed."""
    (found,) = (each for each in shown["changes"] if each["what"] == "piston.P1")
    return found["from"], found["to"]


def test_a_build_is_compared_with_itself_as_it_was_at_a_sign_off_a_commit_or_in_a_state_named_on_either_side(
    history: Book,
) -> None:
    first = git(history.root, "rev-list", "--max-parents=0", "HEAD").strip()[:10]
    asked = {
        ("twin/first", "--as-of", "A1"): (480.6, 481.6),
        ("twin/first", "--as-of", first): (480.1, 481.6),
        (f"twin/first@{first}", "twin@A1"): (480.1, 480.6),
        ("twin/first@A1", "--as-of", first): (480.1, 480.6),
        (f"@{first}", "@A1"): (480.1, 480.6),
    }
    shown = one_after_the_other([["diff", *arguments, "--json"] for arguments in asked], history.folder)
    for weights, each in zip(asked.values(), shown, strict=True):
        assert piston(json.loads(each.stdout)["figures"]["diff"]) == weights


@pytest.mark.parametrize(
    ("day", "weight"), [("2026-10-03", 480.1), ("2026-10-04", 480.6), ("2026-10-04T11:00Z", 480.1)]
)
def test_a_build_is_compared_with_itself_as_it_was_on_a_day(history: Book, day: str, weight: float) -> None:
    assert piston(figures("twin/first", "--as-of", day, cwd=history.root)) == (weight, 481.6)


def test_what_was_edited_and_not_committed_is_compared_as_it_stands(history: Book) -> None:
    assert said("twin/first", "--as-of", "2099-01-01", cwd=history.root).stdout.endswith("nothing differs\n")
    history.write("weighings.yaml", weighings(WEIGHED % "479.6"))
    shown = said("twin/first", "--as-of", "2099-01-01", cwd=history.root)
    assert re.search(r"piston P1 +481\.6 → 479\.6 +-2\.0 ± 0\.2 +real: worked on, or one reading is", shown.stdout)


def test_a_choice_that_was_changed_since_is_told(history: Book) -> None:
    build = (history.folder / "build.yaml").read_text().replace("factor: 50", "factor: 48")
    history.write("build.yaml", build.replace("max: 1.0", "max: 0.5"))
    text = flat(said("twin/first", "--as-of", "A1", cwd=history.root).stdout)
    assert "factor 50 → 48 changes every bobweight" in text
    assert "limit reciprocating spread max 1.0 → 0.5 tighter" in text


def test_what_was_spun_since_is_told_also_where_nothing_else_differs(samples: Path) -> None:
    build = samples / "engines/heron-07/2025-06-first"
    spins = (build / "spins.yaml").read_text()
    (build / "spins.yaml").write_text(spins.partition("\nsteps:")[0] + "\n")
    git(samples, "init", "--quiet", "--initial-branch=main")
    git(samples, "add", "--all")
    commit(samples, "2026-11-01T12:00:00+00:00")
    (build / "spins.yaml").write_text(spins)
    text = flat(said("heron-07/2025-06-first", "--as-of", "2026-11-01", cwd=samples).stdout)
    assert "Balance g, at the planes' radii spun since (S15): what is left is" in text
    assert "left, as measured 0.50 @ 213° 0.30 @ 80°" in text


def test_a_build_that_was_not_there_yet_is_misuse(history: Book) -> None:
    history.write(
        "engines/twin/second/build.yaml", (history.folder / "build.yaml").read_text().replace("first", "second")
    )
    asked = ("diff twin/second@2099-01-01 twin/first", "diff twin/first --as-of 2026-10-02")
    not_yet, too_early = one_after_the_other(asked, history.root)
    assert (not_yet.code, not_yet.stdout) == (too_early.code, too_early.stdout) == (2, "")
    assert "twin/second was not in the book at" in flat(not_yet.stderr)
    assert (
        "the book has nothing from 2026-10-02 or before → name 2026-10-03, when it was begun, or a later day"
        in flat(too_early.stderr)
    )


# ---- builds further apart, and engines of one family


def family(book: Book, engine: str, family: str | None, weight: str) -> None:
    named = f"family: {family}\n" if family else ""
    book.write(f"engines/{engine}/engine.yaml", f"format: 1\nengine: {engine}\n{named}layout: v2_90_common_pin\n")
    build = (book.folder / "build.yaml").read_text().replace("engine: twin", f"engine: {engine}")
    book.write(f"engines/{engine}/first/build.yaml", build)
    book.write(f"engines/{engine}/first/weighings.yaml", weighings(WEIGHED % weight))


def test_two_engines_of_one_family_are_compared(book: Book) -> None:
    family(book, "twin", "small_twin", "480.0")
    family(book, "other", "small_twin", "486.0")
    shown = figures("twin", "other", cwd=book.root)
    (mean,) = (each for each in shown["changes"] if each["what"] == "piston")
    assert (mean["from"], mean["to"], mean["change"], mean["why"]) == (481.0, 484.0, 3.0, "another engine")


def test_of_two_engines_whose_builds_have_one_name_it_is_told_which_was_spun(samples: Path) -> None:
    twin = samples / "engines" / "heron-09"
    shutil.copytree(samples / "engines" / REBUILD[0], twin / "2025-06-first")
    shutil.copy(samples / "engines" / "heron-07" / "engine.yaml", twin)
    for path in (twin / "engine.yaml", twin / "2025-06-first" / "build.yaml"):
        path.write_text(path.read_text().replace("heron-07", "heron-09"))
    path = twin / "2025-06-first" / "weighings.yaml"
    path.write_text(path.read_text().replace("P1: 507.12", "P1: 507.52"))
    assert "spun itself in heron-09/2025-06-first (S15)" in flat(said(REBUILD[0], "heron-09", cwd=samples).stdout)


@pytest.mark.parametrize(("one", "other"), [("small_twin", "large_twin"), ("small_twin", None), (None, None)])
def test_two_engines_that_share_no_family_are_misuse(book: Book, one: str | None, other: str | None) -> None:
    family(book, "twin", one, "480.0")
    family(book, "other", other, "486.0")
    shown = said("twin", "other", cwd=book.root)
    assert (shown.code, shown.stdout) == (2, "")
    assert "twin and other are not engines of one family" in flat(shown.stderr)
    assert "write the same 'family' into both engine.yaml" in flat(shown.stderr)


def test_a_piece_replaced_in_a_build_between_the_two_is_another_piece(book: Book) -> None:
    text = (book.folder / "build.yaml").read_text()
    chain = (("first", "new", ""), ("second", "replaced", "follows: first\n"), ("third", "reused", "follows: second\n"))
    for name, state, follows in chain:
        folder = f"engines/twin/{name}"
        book.write(f"{folder}/build.yaml", text.replace("build: first", f"build: {name}") + follows)
        book.write(f"{folder}/parts.yaml", f"format: 1\nparts:\n  - {{kind: rod, ids: [R1], state: {state}}}\n")
    for pair in (("twin/first", "twin/third"), ("twin/third", "twin/first")):
        (rod,) = (each for each in figures(*pair, cwd=book.root)["changes"] if each["what"] == "rod.R1")
        assert rod["change"] == "replaced"


# ---- what is refused


MISUSED = {
    ("dunlin-21",): "dunlin-21/2026-05-first follows no other build",
    ("heron-07", "herron-07"): "there is no engine named 'herron-07' in this book",
    ("heron-07/2025-06-first", "heron-07/2027"): "there is no build named 'heron-07/2027' in this book",
    ("heron-07@", "heron-07"): "names no moment after its @",
    (*REBUILD, "--as-of", "A1"): "--as-of goes with one build",
    ("heron-07", "plover-03"): "are not engines of one family",
    ("heron-07@A1",): "there is no history to find 'A1' in: this book is not a git repository",
}


def test_misuse_says_what_and_what_to_do(samples: Path) -> None:
    shown = one_after_the_other([["diff", *arguments] for arguments in MISUSED], samples)
    for what, each in zip(MISUSED.values(), shown, strict=True):
        assert (each.code, each.stdout) == (2, ""), what
        assert what in flat(each.stderr)
        assert "→" in each.stderr, what


def test_a_moment_that_never_was_and_a_book_without_commits_are_said_plainly(samples: Path) -> None:
    git(samples, "init", "--quiet", "--initial-branch=main")

    def at(*moments: str) -> list[Shown]:
        return one_after_the_other([["diff", f"heron-07@{moment}", "heron-07"] for moment in moments], samples)

    for shown in at("A1", "2026-10-05", "3fe21ab"):
        assert (shown.code, shown.stdout) == (2, "")
        assert "→" in shown.stderr
    git(samples, "add", "--all")
    git(samples, "commit", "--quiet", "--message=Begin")
    for shown in at("A9", "yesterday", "0000000", "HEAD", "--all"):
        assert (shown.code, shown.stdout) == (2, "")
        assert "is no moment of this book's history" in flat(shown.stderr)


def test_a_book_inside_another_repository_is_not_taken_for_one_of_its_own(samples: Path) -> None:
    into_git(samples.parent)
    shown = said("heron-07@2099-01-01", "heron-07", cwd=samples)
    assert shown.code == 2
    assert "this book lies inside another git repository" in flat(shown.stderr)


def test_a_build_that_cannot_be_read_shows_its_findings_and_no_figures(samples: Path) -> None:
    (samples / "engines" / REBUILD[0] / "weighings.yaml").write_text("format: 1\nsessions: [\n")
    shown = said(*REBUILD, cwd=samples)
    assert shown.code == 1
    assert "no figures until what was found below is put right" in flat(shown.stdout)
    assert "weighings.yaml" in shown.stdout
    as_json = json.loads(said(*REBUILD, "--json", cwd=samples).stdout)
    assert as_json["figures"] == {}
    assert as_json["findings"]


def test_text_that_people_wrote_is_shown_as_it_is_and_steers_nothing(book: Book) -> None:
    hostile = 'use: "[red]race[/red] \\e[2J\\u202E"\n'
    text = (book.folder / "build.yaml").read_text()
    into_git(book.root)
    book.write("build.yaml", text + hostile)
    maker = '  - {kind: rod, ids: [R1], maker: "[link=x]\\e]0;owned\\a", state: new}\n'
    book.write("parts.yaml", f"format: 1\nparts:\n{maker}")
    shown = said("twin/first", "--as-of", "2099-01-01", cwd=book.root)
    assert shown.code == 0
    assert "[red]race[/red]" in shown.stdout
    assert "\x1b" not in shown.stdout
    assert "\u202e" not in shown.stdout
    assert "rod R1" in shown.stdout
    as_json = figures("twin/first", "--as-of", "2099-01-01", cwd=book.root)
    (use,) = (each for each in as_json["changes"] if each["what"] == "use")
    assert use["to"].startswith("[red]race[/red]")
