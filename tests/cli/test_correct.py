"""`correct`: every kind of correction as it is written, what it predicts, and nothing written that cannot have been."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from conftest import Book, Run
from figures.ledger import PARTS
from figures.turning import WINDOWS, on_the_machine
from figures.turning import spin as spin_step

from buildbook.book.reading import Reader
from buildbook.records.model import Change
from cli.workshop import Shown, git, into_git, one_after_the_other

CARRIED = PARTS + "  - {kind: crankshaft, ids: [C1], density: 7.8 g/cm3}\n  - {kind: damper, ids: [D1]}\n"


@pytest.fixture
def twin(book: Book) -> Book:
    """A crankshaft with windows to drill in and one spin, in git."""
    on_the_machine(book, spin_step("20.0@30", "62.0@150"), planes=WINDOWS % (350, 80, 100, 200))
    book.write("parts.yaml", CARRIED)
    into_git(book.root)
    return book


def file(book: Book) -> Path:
    return book.folder / "spins.yaml"


def changes(book: Book) -> list[Change]:
    loaded = Reader(book.root).load("twin/first")
    assert loaded.build is not None
    assert loaded.findings == ()
    return [step.change for step in loaded.build.spins.steps if step.change is not None]


def done(book: Book, *typed: str) -> list[Shown]:
    return one_after_the_other([f"correct {each} --by ava" for each in typed], book.folder)


WRITTEN: Mapping[str, tuple[str, Mapping[str, str]]] = {
    "drill rear@48 --diameter 22 --depth 9.50": (
        "drill", {"plane": "rear", "angle": "48", "diameter": "22", "depth": "9.50"},
    ),
    "drill front@7.5 --diameter 22 --depth 15 --depth-to tip --point 135 --radius 79.5 --position -90 --along radius": (
        "drill",
        {
            "plane": "front", "angle": "7.5", "diameter": "22", "depth": "15", "depth_to": "tip", "point": "135",
            "radius": "79.5", "position": "-90", "along": "radius",
        },
    ),
    "plug front@30 --radius 64 --diameter 19 --length 22 --density 17": (
        "plug",
        {
            "plane": "front", "angle": "30", "radius": "64", "along": "axis", "diameter": "19", "length": "22",
            "density": "17 g/cm3",
        },
    ),
    "grind rear@51": ("grind", {"plane": "rear", "angle": "51"}),
    "grind rear@51 --amount 1.20": ("grind", {"plane": "rear", "angle": "51", "amount": "1.20"}),
    "add rear@90 --amount 30.0 --radius 91": (
        "add", {"plane": "rear", "angle": "90", "amount": "30.0", "radius": "91"},
    ),
    "remove S7": ("remove", {"step": "S7"}),
    "fit D1": ("fit", {"part": "D1"}),
    "index D1 --angle 180": ("index", {"part": "D1", "angle": "180"}),
    "remove D1": ("remove", {"part": "D1"}),
}  # fmt: skip


def test_each_kind_is_written_as_it_was_typed_and_every_other_byte_stays(twin: Book) -> None:
    before = file(twin).read_bytes()
    said = done(twin, *WRITTEN)
    assert [(each.code, each.stderr) for each in said] == [(0, "")] * len(WRITTEN)
    assert [each.stdout.split(",")[0] for each in said] == [
        f"recorded  S{number}" for number in range(2, len(WRITTEN) + 2)
    ]
    assert file(twin).read_bytes().startswith(before)
    for change, (kind, fields) in zip(changes(twin), WRITTEN.values(), strict=True):
        assert change.kind == kind
        assert {name: number.text for name, number in change.numbers.items()} | dict(change.words) == fields
    subjects = git(twin.root, "log", "--format=%s").splitlines()
    assert subjects[0] == "Record S11: remove"
    assert len(subjects) == len(WRITTEN) + 1
    assert git(twin.root, "status", "--porcelain") == ""


def test_it_says_what_the_next_spin_should_read(twin: Book) -> None:
    # 12 g off at 30°, at the front plane: 20 − 12
    (ground,) = done(twin, "grind front@30 --amount 12.0")
    assert "the next spin should read: front 8.0 @  30, rear 62.0 @ 150" in ground.stdout


def test_holes_drilled_as_planned_are_predicted_to_leave_what_the_plan_said(twin: Book, run: Run) -> None:
    plan = json.loads(run("plan", "--json", cwd=twin.folder).stdout)["figures"]["plans"][0]
    typed = [
        f"drill {hole['plane']}@{hole['angle']:.6f} --diameter {hole['diameter']:g} --depth {hole['depth']:.1f}"
        f" --point {hole['point']:g} --json"
        for hole in plan["holes"]
    ]
    said = done(twin, *typed)
    assert {each.code for each in said} == {0}
    expected = json.loads(said[-1].stdout)["figures"]["next"]
    for plane in ("front", "rear"):
        assert expected[plane] == pytest.approx(plan["remains"][plane], abs=1e-3)
    readings = " ".join(f"--{plane} {shown['amount']:.9f}@{shown['angle']:.9f}" for plane, shown in expected.items())
    (spun,) = one_after_the_other([f"spin {readings} --by ava --json"], twin.folder)
    missed = json.loads(spun.stdout)["figures"]["spins"][-1]["missed_by"]
    assert [missed[plane]["amount"] for plane in ("front", "rear")] == pytest.approx([0, 0], abs=1e-6)


def test_a_test_mass_put_on_and_taken_off_again_leaves_what_was_there(twin: Book) -> None:
    on, off = done(twin, "add rear@90 --amount 30.0 --radius 91", "remove S2")
    assert "rear 62.0 @ 150" not in on.stdout
    assert "the next spin should read: front 20.0 @  30, rear 62.0 @ 150" in off.stdout


# What is not asked right is 2; what cannot have been done is 1.
REFUSED = {
    "drill rear --diameter 22 --depth 9": (2, "rear@48"),
    "drill 48 --diameter 22 --depth 9": (2, "rear@48"),
    "drill middle@48 --diameter 22 --depth 9": (2, "the planes are front and rear"),
    "drill Rear@48 --diameter 22 --depth 9": (2, "the planes are front and rear"),
    "drill rear@360 --diameter 22 --depth 9": (2, "write 0:"),
    "drill rear@-10 --diameter 22 --depth 9": (2, "write 350:"),
    "drill rear@48 --diameter 22": (2, "Missing option '--depth'"),
    "drill rear@48 --diameter 22 --depth 9 --depth-to bottom": (2, "use tip or shoulder"),
    "drill rear@48 --diameter 22 --depth 9 --along sideways": (2, "use radius or axis"),
    "drill rear@48 --diameter 22 --depth 9 --point obtuse": (2, "plain digits"),
    "drill rear@48 --diameter 22g --depth 9": (2, "use one of mm"),
    "drill rear@48 --diameter 0 --depth 9": (1, "it is more than 0"),
    "drill rear@48 --diameter 22 --depth 9 --radius 0": (1, "it is more than 0"),
    "drill rear@48 --diameter 22 --depth 9 --radius 0mm": (1, "write what was read"),
    "drill rear@48 --diameter 22 --depth 9 --point 200": (1, "it is at most 180"),
    # 11/tan 59° = 6.6 mm of point: 31.6 mm deep, of 32 that the counterweight at 150 allows; and then 32.6
    "drill rear@150 --diameter 22 --depth 26": (1, "keep to the maker's limit"),
    "drill rear@250 --diameter 22 --depth 98": (1, "make the hole shallower"),
    "plug front@30 --radius 64 --diameter 19 --length 26": (1, "a plug must not stand out"),
    "plug front@30 --radius 64 --diameter 19 --length 20 --density 7.7": (1, "17 to 18.5 g/cm³"),
    "plug front@30 --radius 0 --diameter 19 --length 20": (1, "it is more than 0"),
    "add rear@90 --amount 0": (1, "it is more than 0"),
    "add rear@90": (2, "Missing option '--amount'"),
    "fit D2": (1, "list it in parts.yaml"),
    "remove D2": (2, "there is no part and no step 'D2'"),
    "remove S9": (2, "there is no part and no step 'S9'"),
    "remove S1": (1, "name the step that added it"),
    "index D1 --angle 0": (1, "turn it, best by 180°"),
    "index D1 --angle 360": (2, "write 0:"),
    "index D1": (2, "Missing option '--angle'"),
    "weld rear@90": (2, "No such command"),
}


def test_bad_input_has_its_remedy_and_writes_nothing(twin: Book) -> None:
    before, head = file(twin).read_bytes(), git(twin.root, "rev-parse", "HEAD")
    for (typed, (code, remedy)), each in zip(REFUSED.items(), done(twin, *REFUSED), strict=True):
        said = " ".join((each.stdout if code == 1 else each.stderr).split())
        assert each.code == code, (typed, said)
        assert remedy in said, (typed, said)
        assert (each.stderr if code == 1 else each.stdout) == "", typed
        assert code == 2 or "nothing was written" in said, typed
    assert file(twin).read_bytes() == before
    assert git(twin.root, "rev-parse", "HEAD") == head


def test_planes_at_the_same_place_take_no_hole(twin: Book) -> None:
    file(twin).write_text(file(twin).read_text().replace("position: 100", "position: -100"))
    before = file(twin).read_bytes()
    typed = ["check", "correct drill rear@48 --diameter 22 --depth 9 --by ava", "correct fit D1 --by ava"]
    check, hole, fitted = one_after_the_other(typed, twin.folder)
    assert check.code == 1
    assert "give each plane its own position along the crankshaft" in " ".join(check.stdout.split())
    for said in (hole, fitted):
        assert (said.code, said.stderr) == (1, "")
        assert "nothing was written" in said.stdout
    assert file(twin).read_bytes() == before


def test_what_was_wrong_before_is_no_objection(twin: Book) -> None:
    """A finding that the book has already does not keep a builder from recording what was done."""
    text = file(twin).read_text().replace("by: ava, with: balancer", "by: eva, with: balancer")
    file(twin).write_text(text)
    (hole,) = done(twin, "drill rear@150 --diameter 16 --depth 9")
    assert hole.code == 1
    assert "recorded  S2" in hole.stdout
    assert "unknown-by" in hole.stdout


NOTES = ("[bold]red[/bold] :smile:", "two\nlines", "\x1b[31mred", "曲軸 ⌀ 12", 'say "so": it\'s')


@pytest.mark.parametrize("note", NOTES)
def test_a_note_is_kept_letter_by_letter_and_shown_as_data(twin: Book, run: Run, note: str) -> None:
    said = run("correct", "grind", "rear@51", "--note", note, "--by", "ava", cwd=twin.folder)
    assert (said.returncode, said.stderr) == (0, "")
    assert "\x1b" not in said.stdout
    build = Reader(twin.root).load("twin/first").build
    assert build is not None
    assert build.spins.steps[-1].note == note


def test_json_says_what_was_recorded_and_the_story(twin: Book, run: Run) -> None:
    hole = ("drill", "rear@150", "--diameter", "16", "--depth", "9", "--by", "ava")
    said: dict[str, Any] = json.loads(run("correct", *hole, "--json", cwd=twin.folder).stdout)
    assert list(said) == ["build", "figures", "findings"]
    assert said["figures"]["recorded"] == "S2"
    assert [each["id"] for each in said["figures"]["spins"]] == ["S1"]
    assert said["figures"]["next"]["rear"]["angle"] == pytest.approx(150)


def test_heavy_metal_comes_with_its_caution_and_the_more_so_from_the_rim(twin: Book) -> None:
    plug = "plug front@30 --radius 64 --diameter 19 --length 22 --density 17"
    along, from_the_rim, hole = done(twin, plug, f"{plug} --along radius", "drill rear@48 --diameter 16 --depth 20")
    cautions = [" ".join(shown.stdout.split()) for shown in (along, from_the_rim, hole)]
    assert ["retained and not open to the rim" in said for said in cautions] == [True, True, False]
    assert ["This plug is open to the rim" in said for said in cautions] == [False, True, False]


@pytest.mark.parametrize(
    ("second", "meets"),
    [
        # 8 mm at 80 mm from the axis, where both are at full diameter: 5.71 degrees to either side
        ("rear@59.3 --diameter 16 --depth 20", True),
        ("rear@59.6 --diameter 16 --depth 20", False),
        ("rear@36.7 --diameter 16 --depth 20", True),
        ("front@48 --diameter 16 --depth 20", False),
        ("rear@48 --diameter 16 --depth 20 --position 84.1", True),
        ("rear@48 --diameter 16 --depth 20 --position 83.9", False),
        ("rear@48 --diameter 16 --depth 20 --along axis --radius 60", True),
    ],
)
def test_a_hole_that_runs_into_another_is_said_to(twin: Book, second: str, meets: bool) -> None:
    first, last = done(twin, "drill rear@48 --diameter 16 --depth 20", f"drill {second}")
    assert "runs into" not in first.stdout
    assert ("S3 runs into what S2 took" in " ".join(last.stdout.split())) == meets
