"""`place`: what it says, what it records, and when it says that nothing is gained."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from conftest import SAMPLES, Run

from cli.workshop import git, one_after_the_other

DUNLIN = "engines/dunlin-21/2026-05-first"
HERON = "engines/heron-07/2026-10-rebuild"


def placed(run: Run, folder: Path, *more: str) -> Mapping[str, Any]:
    done = run("place", "--json", *more, cwd=folder)
    assert (done.returncode, done.stderr) == (0, "")
    figures: dict[str, Any] = json.loads(done.stdout)["figures"]["place"]
    return figures


def test_every_sample_is_placed_and_proven_at_80_columns_and_at_60() -> None:
    builds = ("dunlin-21", "heron-07", "heron-07/2025-06-first", "magpie-02", "plover-03")
    for columns in (80, 60):
        for shown in one_after_the_other([f"place {build}" for build in builds], SAMPLES, columns):
            assert (shown.code, shown.stderr) == (0, "")
            assert "PROVEN" in shown.stdout
            assert "NOT PROVEN" not in shown.stdout
            assert max(map(len, shown.stdout.splitlines())) <= columns


def test_the_json_has_before_and_after_at_both_planes_with_bound_and_proof(run: Run) -> None:
    found = placed(run, SAMPLES / DUNLIN)
    for left in (found["before"], found["after"]):
        # the radius of both planes is 78 mm in spins.yaml
        for plane in ("front", "rear"):
            assert left[plane]["amount_gmm"] == pytest.approx(78 * left[plane]["grams"])
            assert 0 <= left[plane]["angle"] < 360
    assert found["proven"]
    assert found["bound"] == pytest.approx(found["after"]["worst"])
    assert found["bound"] <= found["before"]["worst"]
    assert sorted(each["was_in"] for each in found["cylinders"].values()) == ["1", "2", "3", "4"]
    off = [each["off"] for each in found["by_throw"]["throws"].values()]
    assert sum(off) == pytest.approx(0, abs=1e-9)


def test_writing_revises_the_pairing_and_then_every_set_stays(run: Run, kept: Path) -> None:
    before = {path: path.read_bytes() for path in kept.rglob("*.yaml")}
    first = placed(run, kept / DUNLIN)
    done = run("place", "--write", "--by", "ava", "--because", "less at the rear", cwd=kept / DUNLIN)
    assert (done.returncode, done.stderr) == (0, "")
    assert "recorded  the pairing" in done.stdout
    file = kept / DUNLIN / "pairings.yaml"
    assert file.read_bytes().startswith(before.pop(file))
    assert before == {path: path.read_bytes() for path in kept.rglob("*.yaml") if path != file}
    for line in ("id: D2", "how: place", "because: less at the rear"):
        assert line in file.read_text()
    assert git(kept, "log", "-1", "--format=%s").strip() == "Place the sets of dunlin-21/2026-05-first: 3 moved"
    second = placed(run, kept / DUNLIN)
    assert (second["worth"], second["moved"]) == ("stays", 0)
    assert second["before"] == first["after"]
    again = run("place", "--write", "--by", "ava", cwd=kept / DUNLIN)
    assert "recorded  nothing" in again.stdout
    shown = json.loads(run("map", "--json", cwd=kept / DUNLIN).stdout)
    assert shown["findings"] == []
    assert shown["figures"]["pairing"]["cylinders"]["1"]["rod"] == first["cylinders"]["1"]["rod"]


def test_before_anything_is_decided_the_sets_that_match_finds_are_placed_and_written_as_the_first(
    run: Run, kept: Path
) -> None:
    found = placed(run, kept / HERON)
    assert not found["decided"]
    assert found["cylinders"]["5"]["piston"] == "P3"  # locked to its bore
    assert run("place", "--write", "--by", "ava", cwd=kept / HERON).returncode == 0
    text = (kept / HERON / "pairings.yaml").read_text()
    assert "how: place" in text
    assert "revised" not in text
    after = placed(run, kept / HERON)
    assert after["decided"]
    assert after["moved"] == 0
    assert {name: each["rod"] for name, each in after["cylinders"].items()} == {
        name: each["rod"] for name, each in found["cylinders"].items()
    }


def test_a_pairing_that_breaks_a_lock_is_put_right_by_placing(run: Run, kept: Path) -> None:
    file = kept / DUNLIN / "pairings.yaml"
    file.write_text(file.read_text().replace("decided:", "locked: [{piston: P4, cylinder: 3}]\ndecided:", 1))
    done = run("place", cwd=kept / DUNLIN)
    assert done.returncode == 1  # the broken lock is an error, as it is for every other command
    assert "THE LOCKS ASK FOR IT" in done.stdout
    assert run("place", "--write", "--by", "ava", cwd=kept / DUNLIN).returncode == 0
    assert placed(run, kept / DUNLIN)["cylinders"]["3"]["piston"] == "P4"
    assert run("check", "dunlin-21", cwd=kept).returncode == 0


def test_a_difference_that_no_scale_can_tell_is_called_none_that_matters(run: Run) -> None:
    done = run("place", cwd=SAMPLES / HERON)
    assert "NO DIFFERENCE THAT MATTERS" in done.stdout
    assert "place --write" not in done.stdout  # what is best left alone is not offered
    assert "'buildbook match --write' puts them into pairings.yaml as matched" in " ".join(done.stdout.split())
    found = placed(run, SAMPLES / HERON)
    assert found["worth"] == "cannot_tell"
    for plane in ("front", "rear"):
        gain = found["before"][plane]["grams"] - found["after"][plane]["grams"]
        assert gain <= found["told"][plane]


def test_without_write_nothing_is_touched(run: Run, samples: Path) -> None:
    before = {path: path.read_bytes() for path in samples.rglob("*") if path.is_file()}
    assert run("place", cwd=samples / DUNLIN).returncode == 0
    assert before == {path: path.read_bytes() for path in samples.rglob("*") if path.is_file()}


def test_where_the_permissible_holds_at_the_bearings_it_says_so(run: Run, samples: Path) -> None:
    told = "permissible holds at the bearings"
    assert told in run("place", "magpie-02", cwd=samples).stdout
    file = samples / "engines" / "magpie-02" / "2026-07-first" / "spins.yaml"
    lines = file.read_text().splitlines(keepends=True)
    file.write_text("".join(line for line in lines if not line.startswith("bearings:")))
    assert told not in run("place", "magpie-02", cwd=samples).stdout


def test_over_a_limit_even_so_placed_is_a_finding(run: Run, samples: Path) -> None:
    file = samples / DUNLIN / "build.yaml"
    file.write_text(file.read_text().replace("front: 1.0, rear: 1.0", "front: 0.01, rear: 0.01"))
    done = run("place", cwd=samples / DUNLIN)
    assert (done.returncode, done.stderr) == (1, "")
    assert "OVER A LIMIT" in done.stdout
    assert "leaves more than a limit allows" in " ".join(done.stdout.split())


@pytest.mark.parametrize(
    ("file", "old", "new", "rule"),
    [
        ("spins.yaml", "position: -22, ", "", "no-balance"),
        ("weighings.yaml", "what: rod_big_end", "what: rod", "cannot-place"),
        (
            "pairings.yaml",
            "decided:",
            "locked: [{rod: R1, cylinder: 2}, {rod: R2, cylinder: 2}]\ndecided:",
            "cannot-place",
        ),
    ],
)
def test_what_cannot_be_placed_is_said_and_not_written(
    run: Run, samples: Path, file: str, old: str, new: str, rule: str
) -> None:
    path = samples / DUNLIN / file
    path.write_text(path.read_text().replace(old, new))
    pairings = (samples / DUNLIN / "pairings.yaml").read_bytes()
    done = run("place", "--write", "--by", "ava", "--json", cwd=samples / DUNLIN)
    assert (done.returncode, done.stderr) == (1, "")
    said = json.loads(done.stdout)
    assert said["figures"] == {}
    assert rule in {finding["rule"] for finding in said["findings"]}
    assert (samples / DUNLIN / "pairings.yaml").read_bytes() == pairings


def test_sets_made_up_anew_within_the_limit_are_shown_and_written(run: Run, kept: Path) -> None:
    said = run("place", "--with-spread", "--write", "--by", "ava", cwd=kept / DUNLIN)
    assert (said.returncode, said.stderr) == (0, "")
    assert "1.00 g allowed" in said.stdout
    found = placed(run, kept / DUNLIN, "--within", "1.0")
    assert found["moved"] == 0  # it is the best of all now
    assert found["anew"]["within"] == 1.0
    assert found["anew"]["after"] <= 1.0


def test_where_every_set_stays_without_proof_it_is_not_said_that_no_other_way_leaves_less(run: Run, kept: Path) -> None:
    run("place", "plover-03", "--with-spread", "--write", "--by", "ava", cwd=kept)
    said = " ".join(run("place", "plover-03", "--with-spread", cwd=kept).stdout.split())
    assert "STAYS no way was found that leaves less." in said
    assert "NOT PROVEN" in said


def test_a_spread_that_cannot_be_kept_or_read_is_said(run: Run, samples: Path) -> None:
    done = run("place", "--within", "0.01", cwd=samples / DUNLIN)
    assert (done.returncode, done.stderr) == (1, "")
    assert "the most even sets found are 0.13 g apart" in done.stdout
    assert run("place", "--within", "little", cwd=samples / DUNLIN).returncode == 2
    file = samples / DUNLIN / "build.yaml"
    file.write_text(file.read_text().replace("  reciprocating_spread: {max: 1.0, source: house rule}\n", ""))
    done = run("place", "--with-spread", cwd=samples / DUNLIN)
    assert (done.returncode, done.stdout) == (2, "")
    assert "--within GRAMS" in done.stderr


def test_bobweights_throw_by_throw_beside_one_for_all(run: Run) -> None:
    done = run("bobweight", "--by-throw", cwd=SAMPLES / "engines/heron-07/2025-06-first")
    assert (done.returncode, done.stderr) == (0, "")
    assert "Not worth it" in done.stdout
    said = json.loads(run("bobweight", "--by-throw", "--json", cwd=SAMPLES / HERON).stdout)["figures"]
    assert set(said) == {"bobweights", "by_throw"}
    assert said["by_throw"]["worth"] == "no"
    assert "by_throw" not in json.loads(run("bobweight", "--json", cwd=SAMPLES / HERON).stdout)["figures"]


def test_no_lock_is_blamed_for_the_one_way_of_one_cylinder(run: Run, samples: Path) -> None:
    folder = samples / "engines/magpie-02"
    engine = folder / "engine.yaml"
    engine.write_text(engine.read_text().replace("layout: v2_45_common_pin", "layout: single").replace("[1, 2]", "[1]"))
    (folder / "2026-07-first/pairings.yaml").write_text(
        "format: 1\ndecided: {taken: 2026-07-08, by: tomas, how: by_hand}\n"
        "cylinders: {1: {rod: R1, piston: P1, pin: N1}}\n"
    )
    shown = run("place", "magpie-02", cwd=samples)
    assert "There is one way only." in shown.stdout
