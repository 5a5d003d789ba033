"""`plan`: real holes on the screen and in JSON, and why there is none."""

import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from conftest import Book, Run
from figures.ledger import PARTS
from figures.turning import PLANES, WINDOWS, on_the_machine
from figures.turning import spin as spin_step

from cli.workshop import one_after_the_other

OPEN = WINDOWS % (350, 80, 100, 200)
ONE_SIDED = PLANES.replace("radius: 80", "radius: 80, windows: [{from: 350, to: 80, depth: 30}]")


@pytest.fixture
def twin(book: Book) -> Book:
    return on_the_machine(book, spin_step("20.0@30", "62.0@150"), planes=OPEN)


def planned(twin: Book, run: Run, *options: str) -> list[dict[str, Any]]:
    done = run("plan", "--json", *options, cwd=twin.folder)
    assert (done.returncode, done.stderr) == (0, "")
    found: list[dict[str, Any]] = json.loads(done.stdout)["figures"]["plans"]
    return found


def test_json_has_the_plans_by_their_names(twin: Book, run: Run) -> None:
    found = planned(twin, run)
    assert len(found) == 4
    for plan in found:
        assert {"holes", "remains"} <= set(plan)
        assert set(plan["remains"]) == {"front", "rear"}
        for hole in plan["holes"]:
            assert {"plane", "angle", "diameter", "depth", "weight"} <= set(hole)


def test_the_screen_shows_the_same_holes_best_first(twin: Book, run: Run) -> None:
    found = planned(twin, run)
    said = run("plan", cwd=twin.folder).stdout
    assert "to take away: front 20.0 @  30, rear 62.0 @ 150" in said
    for number, plan in enumerate(found, start=1):
        assert f"\n{number}  front: " in said
        remains = plan["remains"]
        leaves = ", ".join(f"{plane} {at['amount']:.1f} @ {at['angle']:3.0f}" for plane, at in remains.items())
        assert f"leaves {leaves}" in said
    for hole in (hole for plan in found for hole in plan["holes"]):
        shown = (hole["diameter"], hole["depth"], hole["weight"], hole["acts_as"], hole["simple"])
        cells = [hole["plane"], "drill", f"{hole['angle']:.0f}", *(f"{figure:.1f}" for figure in shown)]
        assert cells in [line.split() for line in said.splitlines()]


@pytest.mark.parametrize(("crankshaft", "straight_into_it"), [("C1", False), ("C2", True)])
def test_holes_of_the_build_before_are_kept_clear_of_while_it_is_the_same_crankshaft(
    twin: Book, run: Run, crankshaft: str, straight_into_it: bool
) -> None:
    rebuilt = Path(shutil.copytree(twin.folder, twin.folder.parent / "second"))
    begun = (rebuilt / "build.yaml").read_text().replace("build: first", "build: second\nfollows: first")
    (rebuilt / "build.yaml").write_text(begun)
    (rebuilt / "parts.yaml").write_text(f"{PARTS}  - {{kind: crankshaft, ids: [{crankshaft}]}}\n")
    drilled = "drill: {plane: rear, angle: 150, diameter: 22, depth: 15}"
    on_the_machine(twin, spin_step("20.0@30", "62.0@150"), drilled, planes=OPEN)
    twin.write("parts.yaml", f"{PARTS}  - {{kind: crankshaft, ids: [C1]}}\n")
    done = run("plan", "twin/second", "--json", "--bit", "22", cwd=twin.root)
    rear = {
        (round(hole["angle"]), hole["too_near"])
        for plan in json.loads(done.stdout)["figures"]["plans"]
        for hole in plan["holes"]
        if hole["plane"] == "rear"
    }
    assert {near for _, near in rear} == {None}
    assert ((150, None) in rear) is straight_into_it


def test_options_choose_bits_share_holes_and_how_many_plans(twin: Book, run: Run) -> None:
    turned = planned(twin, run, "--bit", "20:135", "--bit", "10")
    bits = {(hole["diameter"], hole["point"]) for plan in turned for hole in plan["holes"]}
    assert bits <= {(20, 135), (10, 118)}
    inches = {hole["diameter"] for plan in planned(twin, run, "--bit", "0.875in") for hole in plan["holes"]}
    assert inches == {22.225}
    assert len(planned(twin, run, "--most", "1")) == 1
    for plan in planned(twin, run, "--holes", "2", "--most", "20"):
        planes = [hole["plane"] for hole in plan["holes"]]
        assert max(planes.count(plane) for plane in ("front", "rear")) <= 2
    assert planned(twin, run, "--leave", "0")[0]["remains"]["rear"]["amount"] < 0.5
    assert planned(twin, run, "--leave", "20")[0]["remains"]["rear"]["amount"] == pytest.approx(12.4, abs=0.5)


def test_the_builds_own_share_is_left_unless_told_otherwise(twin: Book, run: Run) -> None:
    assert planned(twin, run)[0]["remains"]["rear"]["amount"] == pytest.approx(3.1, abs=0.5)  # 5 %
    twin.write("build.yaml", (twin.folder / "build.yaml").read_text().replace("oil: 3.0", "oil: 3.0, leave: 10"))
    assert planned(twin, run)[0]["remains"]["rear"]["amount"] == pytest.approx(6.2, abs=0.5)
    assert planned(twin, run, "--leave", "5")[0]["remains"]["rear"]["amount"] == pytest.approx(3.1, abs=0.5)


def test_a_plug_says_how_far_out_it_lies(book: Book, run: Run) -> None:
    on_the_machine(book, spin_step("0.0@0", "20.0@330"), planes=OPEN)
    plan = planned(book, run, "--plug", "17", "--bit", "16")[0]
    assert {hole["kind"] for hole in plan["holes"]} == {"plug"}
    said = run("plan", "--plug", "17", "--bit", "16", cwd=book.folder).stdout
    # 3 mm of metal between the plug and the rim of 100 mm
    assert "a 16.0 mm plug lies along the crankshaft, 89.0 mm from its axis" in said
    assert "retained and not open to the rim" in " ".join(said.split())


def test_a_shop_that_prefers_inches_reads_its_bits_and_depths_in_inches(twin: Book, run: Run) -> None:
    shop = (twin.root / "shop.yaml").read_text()
    twin.write(
        "shop.yaml", shop.partition("bits:")[0] + 'bits: [{diameter: "0.875 in"}]\npreferred_units: {length: in}\n'
    )
    holes = [hole for plan in planned(twin, run) for hole in plan["holes"]]
    said = run("plan", cwd=twin.folder).stdout
    assert "⌀ in" in said
    for hole in holes:
        assert f"  0.875  {hole['depth'] / 25.4:.3f}" in said


NO_PLAN = {
    "no window": (spin_step("20.0@30", "62.0@150"), PLANES, "", 1, "windows: [{from: 20"),
    "no window in one plane": (
        spin_step("20.0@30", "62.0@150"),
        ONE_SIDED,
        "",
        1,
        "rear: there is no window to take metal from",
    ),
    "no spin": ("fit: {part: R1}", OPEN, "", 1, "buildbook spin"),
    "nothing owned reaches": (spin_step("0.0@0", "900.0@150"), OPEN, "", 1, "try another bit (--bit)"),
    "a bit of nothing": (spin_step("20.0@30", "62.0@150"), OPEN, "--bit 0", 1, "give the bit"),
    "a bit of no number": (spin_step("20.0@30", "62.0@150"), OPEN, "--bit big", 2, "plain digits"),
    "a point of no angle": (spin_step("20.0@30", "62.0@150"), OPEN, "--bit 22:blunt", 2, "plain digits"),
    "a point of 200": (spin_step("20.0@30", "62.0@150"), OPEN, "--bit 22:200", 1, "give its included angle"),
    "a light plug": (spin_step("0.0@0", "20.0@330"), OPEN, "--plug 7", 1, "density of the heavy metal"),
    "a share of 95": (spin_step("20.0@30", "62.0@150"), OPEN, "--leave 95", 2, "0<=x<=90"),
}


@pytest.mark.parametrize("case", NO_PLAN.values(), ids=NO_PLAN)
def test_why_there_is_no_plan_is_said_with_a_remedy(book: Book, case: tuple[str, str, str, int, str]) -> None:
    step, planes, options, code, remedy = case
    on_the_machine(book, step, planes=planes)
    (shown,) = one_after_the_other([f"plan {options}".strip()], book.folder)
    said = " ".join((shown.stdout + shown.stderr).split())
    assert shown.code == code, said
    assert remedy in said
    assert "Nothing to drill" not in said


def test_a_plan_writes_nothing(twin: Book, run: Run) -> None:
    before = {path: path.read_bytes() for path in twin.root.rglob("*.yaml")}
    planned(twin, run)
    assert before == {path: path.read_bytes() for path in twin.root.rglob("*.yaml")}
