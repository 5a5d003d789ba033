"""`trace`: where a figure came from, on a screen and as JSON, down to the person, the instrument and the commit."""

import json
import os
import re
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from conftest import SAMPLES, SHOP, Book, Run
from figures import measurements
from figures.ledger import ALL_WEIGHED, PARTS, pairings, weighings
from figures.turning import on_the_machine, spin

from cli.test_completion import completed
from cli.test_screens import FIGURE, lost, steering, too_wide
from cli.workshop import Shown, git, into_git, one_after_the_other

FIRST = "heron-07/2025-06-first"
TRACED = (
    *("reciprocating_spread", "bobweight_target", "bobweight.2", "piston_spread", "pin_locks"),
    *("residual.front", "main_clearance.5", "compression_ratio.3", "compression_spread", "quench.4"),
    *("rod_small_end.R6", "bore_taper.2", "exhaust_valve_to_piston.2", "piston_clearance.7"),
)


@pytest.fixture
def twin(book: Book) -> Book:
    """Everything weighed and matched, with one session voided, one repeated, all in git."""
    book.write("parts.yaml", PARTS)
    again = "id: W7, what: piston, taken: 2026-10-05T09:00+01:00, by: tomas, readings: {P1: 480.3}"
    slip = "id: W8, what: piston, taken: 2026-10-06T09:00+01:00, void: wrong pan, readings: {P1: 499.9}"
    book.write("weighings.yaml", weighings(*ALL_WEIGHED, again, slip))
    book.write("pairings.yaml", pairings("rod: R1, piston: P1, pin: N1", "rod: R2, piston: P2, pin: N2"))
    into_git(book.root)
    return book


def commit(book: Book, subject: str, author: str) -> str:
    git(book.root, "commit", "--quiet", "--all", f"--message={subject}", f"--author={author} <a@example.org>")
    return git(book.root, "rev-parse", "HEAD").strip()


def screen(book: Book, figure: str) -> str:
    (shown,) = one_after_the_other([f"trace {figure}"], book.folder)
    assert shown.stderr == ""
    return " ".join(re.sub(r"[│├└─]", " ", shown.stdout).split())


def steps(run: Run, figure: str, cwd: Path, build: str = "") -> dict[str, Any]:
    """Name → step, as JSON has them."""
    done = run("trace", figure, *([build] if build else []), "--json", cwd=cwd)
    assert done.stderr == ""
    listed = json.loads(done.stdout)["figures"]["trace"]["steps"]
    assert listed[0]["name"] == figure
    return {each["name"]: each for each in listed}


def test_the_screen_tells_the_chain_from_the_figure_to_the_person(twin: Book) -> None:
    said = screen(twin, "reciprocating.1")
    for part in (
        "841.90 g ± ",  # 153.9 + 480.3 + 152.3 + 110.8/2
        "rod small end + piston + pin + ring set = 153.9 + 480.3 + 152.3 + 55.40",
        "piston.P1 = 480.3 g ± 0.058 W7",
        "before: 480.1 g in W3, 2026-10-03, Ava Merrow",
        "not counted: 499.9 g in W8, 2026-10-06, Ava Merrow VOID: wrong pan",
        "ring_set = 55.40 g ± 0.029 = 110.8 / 2 W5",
        "pairing cylinder 1 rod R1, piston P1, pin N1",
        "W7 2026-10-05 09:00 Tomas Reddick with scale weighings.yaml:10",
        "reads 0.1 g, repeats 0.05 g; in calibration 2026-01-10 to 2027-01-09",
        ", Test: Begin",
    ):
        assert part in said, part


@cache
def traced(columns: int) -> list[Shown]:
    return one_after_the_other([f"trace {figure} {FIRST}" for figure in TRACED], SAMPLES, columns)


def test_the_usual_figure_fits_on_one_screen() -> None:
    shown = traced(80)
    for figure, each in zip(TRACED, shown, strict=True):
        assert each.code == 0
        assert len(each.stdout.splitlines()) <= 60, figure
    # the means and spreads of many are folded to their ends
    target = shown[TRACED.index("bobweight_target")].stdout
    assert "and 2 between them: trace bobweight.1, .2" in target
    assert "the rest: buildbook trace bobweight.4" in target
    assert "and 6 between them: trace reciprocating.1, .2, .4, .5, .6, .7" in shown[0].stdout


def test_no_screen_is_too_wide_and_none_loses_a_figure() -> None:
    wide, *narrow = (traced(columns) for columns in (200, 80, 60))
    for columns, screens in zip((80, 60), narrow, strict=True):
        for whole, each, figure in zip(wide, screens, TRACED, strict=True):
            assert too_wide(each.stdout, columns) == [], figure
            assert steering(each.stdout) == [], figure
            assert not lost(each.stdout, whole.stdout), figure
            assert FIGURE.search(each.stdout)


def test_without_block_characters_the_tree_is_drawn_in_ascii(run: Run) -> None:
    done = run("trace", "compression_ratio.3", FIRST, cwd=SAMPLES, PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.isascii()
    assert "?" not in done.stdout
    assert "|- swept.3" in done.stdout
    assert "= pi / 4 x 103.0^2 x 1.02 / 1000" in done.stdout


def test_the_figure_stands_large_on_top(twin: Book, run: Run) -> None:
    rows = run("trace", "reciprocating_spread", cwd=twin.folder).stdout.splitlines()
    # 844.80 − 841.90 = 2.90
    assert rows[1:4] == [" _      _   _", " _|    |_| | |", "|_  .   _| |_|"]
    assert rows[4].startswith("2.90 g")
    assert rows[5].startswith("limit: max 1.0 g  build.yaml:7")


READING = {
    *("what", "place", "values", "unit", "session", "file", "line", "taken", "by", "with", "calibrated"),
    *("calibration_due", "in_calibration", "note", "said_by", "commit", "kept_by", "kept_at", "subject", "changed"),
    *("in_git", "differs_from_git", "earlier"),
}


def test_json_lists_the_steps_in_order_of_depth_with_all_that_is_behind_them(twin: Book, run: Run) -> None:
    found = steps(run, "bobweight.1", twin.folder)
    assert list(found)[:3] == ["bobweight.1", "rotating_of_throw.1", "reciprocating_of_throw.1"]
    card = found["bobweight.1"]
    assert (card["value"], card["unit"], card["inputs"]) == (
        1775.65, "g", ["rotating_of_throw.1", "reciprocating_of_throw.1"],
    )  # fmt: skip
    assert [each["values"] for each in card["readings"]] == [["50"], ["3.0"]]
    (reading,) = found["piston.P1"]["readings"]
    assert set(reading) == READING
    told = {name: reading[name] for name in ("values", "session", "line", "by", "with", "in_calibration", "kept_by")}
    assert told == {
        "values": ["480.3"], "session": "W7", "line": 10, "by": "tomas", "with": "scale", "in_calibration": True,
        "kept_by": "Test",
    }  # fmt: skip
    assert reading["file"].endswith("weighings.yaml")
    assert (reading["calibrated"], reading["calibration_due"]) == ("2026-01-10", "2027-01-09")
    assert reading["commit"] == git(twin.root, "rev-parse", "HEAD").strip()
    assert [(each["session"], each["values"], each["void"]) for each in reading["earlier"]] == [
        ("W3", ["480.1"], None), ("W8", ["499.9"], "wrong pan"),
    ]  # fmt: skip
    assert all(name in found for each in found.values() for name in each["inputs"])


def test_what_two_people_entered_in_two_commits_is_each_one_s_own(twin: Book, run: Run) -> None:
    path = twin.folder / "weighings.yaml"
    shas = {}
    for id_, who, session in (
        ("W9", "Tomas Reddick", "what: pin, readings: {N1: 152.4}"),
        ("W10", "Ava Merrow", "what: piston, readings: {P1: 480.2}"),
    ):
        path.write_text(path.read_text() + f"  - {{id: {id_}, {session}, taken: 2026-10-07, by: ava, with: scale}}\n")
        shas[id_] = commit(twin, f"Record {id_}", who)
    found = steps(run, "reciprocating.1", twin.folder)
    behind = {name: found[name]["readings"][0] for name in ("pin.N1", "piston.P1", "rod_small_end.R1")}
    assert [(each["commit"], each["kept_by"], each["subject"]) for each in behind.values()][:2] == [
        (shas["W9"], "Tomas Reddick", "Record W9"), (shas["W10"], "Ava Merrow", "Record W10"),
    ]  # fmt: skip
    assert behind["rod_small_end.R1"]["subject"] == "Begin"
    said = screen(twin, "reciprocating.1")
    day = git(twin.root, "log", "-1", "--format=%as").strip()
    assert f"{shas['W9'][:7]}, {day}, Tomas Reddick: Record W9 W9" in said
    assert "Ava Merrow: Record W10 W10" in said


def test_a_hand_edit_shows_both_commits_and_what_stood_there_before(twin: Book, run: Run) -> None:
    path = twin.folder / "weighings.yaml"
    path.write_text(path.read_text().replace("P1: 480.3", "P1: 480.6"))
    assert "not kept in git yet: changed on disk; git has 480.3" in screen(twin, "piston.P1")
    sha = commit(twin, "Correct a misread digit", "Ava Merrow")
    said = screen(twin, "piston.P1")
    assert f"changed in {sha[:7]}, " in said
    assert "Ava Merrow: Correct a misread digit; was 480.3" in said
    assert "Test: Begin W7" in said
    (reading,) = steps(run, "piston.P1", twin.folder)["piston.P1"]["readings"]
    assert (reading["changed"]["commit"], reading["changed"]["was"], reading["subject"]) == (sha, "480.3", "Begin")


def test_who_voided_a_session_is_told_with_it(twin: Book, run: Run) -> None:
    path = twin.folder / "weighings.yaml"
    path.write_text(path.read_text().replace("id: W7,", "id: W7, void: battery low,"))
    sha = commit(twin, "Void W7", "Tomas Reddick")
    said = screen(twin, "piston.P1")
    assert "480.1 g" in said
    assert "not counted: 480.3 g in W7, 2026-10-05, Tomas Reddick VOID: battery low, voided by Tomas Reddick" in said
    (reading,) = steps(run, "piston.P1", twin.folder)["piston.P1"]["readings"]
    assert [(each["session"], each["voided_in"]) for each in reading["earlier"]] == [("W7", sha), ("W8", None)]


def test_a_record_on_disk_alone_is_not_kept_yet(twin: Book, run: Run) -> None:
    path = twin.folder / "weighings.yaml"
    path.write_text(path.read_text() + "  - {id: W9, what: pin, readings: {N1: 152.4}, taken: 2026-10-07, by: ava}\n")
    assert "not kept in git yet: W9" in screen(twin, "pin.N1")
    (reading,) = steps(run, "pin.N1", twin.folder)["pin.N1"]["readings"]
    assert (reading["commit"], reading["kept_at"]) == (None, None)


def test_a_reading_added_on_disk_to_a_session_that_is_kept_is_told(twin: Book) -> None:
    path = twin.folder / "weighings.yaml"
    path.write_text(path.read_text().replace("{P1: 480.3}", "{P1: 480.3, P2: 482.2}"))
    assert "not kept in git yet: added on disk" in screen(twin, "piston.P2")
    assert "not kept in git yet" not in screen(twin, "piston.P1")


def test_of_many_earlier_readings_the_last_few_are_shown(twin: Book) -> None:
    path = twin.folder / "weighings.yaml"
    for number in range(9, 19):
        session = (
            f"id: W{number}, what: piston, taken: 2026-10-07, by: ava, with: scale, readings: {{P1: 481.{number}}}"
        )
        path.write_text(path.read_text() + f"  - {{{session}}}\n")
    said = screen(twin, "piston.P1")
    assert said.count("before: ") == 3
    assert "before: 481.17 g in W17" in said
    assert "and 9 more before; --json lists them all" in said


def test_a_book_without_git_says_so_once_and_tells_the_rest(twin: Book, run: Run) -> None:
    (twin.root / ".git").rename(twin.root.parent / "elsewhere")
    said = screen(twin, "reciprocating_spread")
    assert said.count("not a git repository") == 1
    assert "Kept in git" not in said
    assert "Tomas Reddick with scale" in said
    figures = json.loads(run("trace", "piston.P1", "--json", cwd=twin.folder).stdout)["figures"]
    assert "not a git repository" in figures["trace"]["not_kept"]
    assert figures["trace"]["steps"][0]["readings"][0]["line"] == 10


def test_without_git_on_the_machine_the_rest_is_told(twin: Book, run: Run) -> None:
    done = run("trace", "piston.P1", cwd=twin.folder, PATH="/nowhere")
    assert "git was not found" in " ".join(done.stdout.split())
    assert "480.3 g" in done.stdout


def test_a_new_repository_and_a_detached_head_are_no_hindrance(twin: Book, run: Run) -> None:
    git(twin.root, "checkout", "--quiet", "--detach")
    assert "Test: Begin" in screen(twin, "piston.P1")
    (twin.root / ".git").rename(twin.root.parent / "elsewhere")
    git(twin.root, "init", "--quiet")
    assert "not kept in git yet: W7" in screen(twin, "piston.P1")


def test_an_instrument_out_of_calibration_is_shown_with_the_day(twin: Book, run: Run) -> None:
    twin.write("shop.yaml", SHOP.replace("calibration_due: 2027-01-09", "calibration_due: 2026-10-04"))
    said = screen(twin, "reciprocating.1")
    assert "OUT OF CALIBRATION for W7 (2026-10-05)" in said
    assert "calibrated 2026-01-10 to 2026-10-04" in said
    found = steps(run, "reciprocating.1", twin.folder)
    assert found["piston.P1"]["readings"][0]["in_calibration"] is False
    assert found["pin.N1"]["readings"][0]["in_calibration"] is True


def test_the_calibration_of_the_day_is_the_one_that_is_told(twin: Book, run: Run) -> None:
    later = "calibration_due: 2027-01-09, recalibrated: [{calibrated: 2026-10-04, calibration_due: 2028-10-03}]"
    twin.write("shop.yaml", SHOP.replace("calibration_due: 2027-01-09", later))
    found = steps(run, "reciprocating.1", twin.folder)
    told = {name: found[name]["readings"][0]["calibrated"] for name in ("piston.P1", "pin.N1")}
    assert told == {"piston.P1": "2026-10-04", "pin.N1": "2026-01-10"}
    assert "2026-01-10 to 2027-01-09, 2026-10-04 to 2028-10-03" in screen(twin, "piston.P1")


def test_a_serial_number_names_the_instrument(run: Run) -> None:
    assert "micrometer, M-103" in run("trace", "main_clearance.5", FIRST, cwd=SAMPLES).stdout


def test_the_list_has_every_name_with_its_value(run: Run) -> None:
    done = run("trace", "--list", FIRST, cwd=SAMPLES)
    assert (done.returncode, done.stderr) == (0, "")
    assert re.search(r"^reciprocating_spread +0\.02 +g +0\.084$", done.stdout, re.MULTILINE)
    assert re.search(r"^main_clearance\.5 +0\.055 +mm", done.stdout, re.MULTILINE)
    some = run("trace", "--list", "top_ring", FIRST, cwd=SAMPLES)
    listed = [line.split()[0] for line in some.stdout.splitlines() if line.startswith("top_ring")]
    assert listed == [f"top_ring_gap.{number}" for number in range(1, 9)]
    assert "piston" not in some.stdout
    as_json = json.loads(run("trace", "--list", FIRST, "--json", cwd=SAMPLES).stdout)["figures"]["named"]
    assert as_json["bobweight_target"]["unit"] == "g"
    assert len(as_json) > 200


def test_every_listed_name_can_be_traced() -> None:
    (listed,) = one_after_the_other(["trace --list magpie-02 --json"], SAMPLES)
    named = json.loads(listed.stdout)["figures"]["named"]
    shown = one_after_the_other([("trace", name, "magpie-02") for name in named], SAMPLES)
    assert {each.code for each in shown} == {0}
    for name, each in zip(named, shown, strict=True):
        assert each.stdout.startswith(f"{name}  magpie-02/2026-07-first")


MISUSE = {
    "trace reciprocating_sprad": "did you mean reciprocating_spread?",
    "trace bobweight.3": "did you mean bobweight.",
    "trace nonsense!": "see 'buildbook trace --list'",
    "trace reciprocating": "name one: reciprocating.1, reciprocating.2; or see 'buildbook trace --list'",
    "trace": "name one, or see 'buildbook trace --list'",
    "trace piston.P1 twinn": "did you mean twin?",
    "trace --list twinn": "did you mean twin?",
}


def test_an_unknown_name_is_exit_code_2_with_the_nearest(twin: Book) -> None:
    for (typed, remedy), done in zip(MISUSE.items(), one_after_the_other([*MISUSE], twin.folder), strict=True):
        assert (done.code, done.stdout) == (2, ""), typed
        assert remedy in " ".join(done.stderr.split()), typed


def test_a_name_with_a_space_is_offered_in_quotes() -> None:
    (shown,) = one_after_the_other([("trace", "rod_bolt_stretch.R7 2", FIRST)], SAMPLES)
    assert (shown.code, "0.149, 0.148 mm" in shown.stdout) == (0, True)


def test_a_build_that_cannot_be_read_has_no_figures_to_trace(twin: Book, run: Run) -> None:
    twin.write("weighings.yaml", weighings(*ALL_WEIGHED).replace("P1: 480.1", "P1: 480,1"))
    done = run("trace", "piston.P1", cwd=twin.folder)
    assert (done.returncode, done.stderr) == (1, "")
    assert "weighings.yaml:6:" in done.stdout


def test_a_figure_made_of_what_cannot_be_is_not_shown(book: Book, run: Run) -> None:
    measurements.write(book, "what: top_ring_gap, with: feeler, readings: {1: -0.40}")
    done = run("trace", "top_ring_gap.1", cwd=book.folder)
    assert (done.returncode, done.stderr) == (1, "")
    assert "as read" not in done.stdout
    assert "error" in done.stdout


def test_texts_of_the_book_and_of_git_are_data(twin: Book, run: Run) -> None:
    path = twin.folder / "weighings.yaml"
    path.write_text(
        path.read_text()
        .replace("wrong pan", '"[red]\\e[2J\\u202epan"')
        .replace("by: tomas,", "by: tomas, note: '[/]',")
    )
    (twin.root / "shop.yaml").write_text(SHOP.replace("Tomas Reddick", '"\\e]0;x\\a[b]Tomas"'))
    commit(twin, "\x1b[2J[bold]subject", "Eve \x1b[31m")
    path.write_text(path.read_text().replace("P1: 480.3", "P1: 480.5"))
    commit(twin, "Again \x1b[2J", "Eve \x1b[31m")
    done = run("trace", "reciprocating.1", cwd=twin.folder)
    assert (done.returncode, done.stderr) == (1, "")  # the pairing was decided before W7
    assert steering(done.stdout) == []
    assert too_wide(done.stdout) == []
    assert "[red]" in done.stdout
    assert "[b]Tomas" in done.stdout


def test_an_instrument_is_told_with_its_serial_and_its_certificates() -> None:
    scale, wrench = one_after_the_other(
        [["trace", "piston.P1", FIRST], ["trace", "fastener_torque.main_5 left", FIRST]], SAMPLES
    )
    assert "small pan under the glass lid, S-30388, certificate K-2292" in " ".join(scale.stdout.split())
    assert "torque wrench, T-61, certificate K-2718" in " ".join(wrench.stdout.split())


def test_a_residual_is_traced_to_the_machine(book: Book, run: Run) -> None:
    on_the_machine(book, spin("20.0@30", "62.0@150"))
    said = screen(book, "residual.rear")
    assert "spin, rear 62.0 g @ 150 deg S1" in said
    assert "radius of the rear plane 100 mm spins.yaml:4" in said


def test_tab_offers_the_figures_of_the_build_here() -> None:
    folder = SAMPLES / "engines/heron-07/2025-06-first"
    assert completed("buildbook trace bobweight_t", folder) == ["bobweight_target"]
    assert completed("buildbook trace reciprocating_spread plov", SAMPLES) == ["plover-03"]


def test_tab_says_nothing_where_there_is_no_build_or_it_cannot_be_read(book: Book, tmp_path: Path) -> None:
    assert completed("buildbook trace bob", SAMPLES) == []
    assert completed("buildbook trace bob", tmp_path) == []
    book.write("build.yaml", b"\xff\xfe")
    assert completed("buildbook trace bob", book.folder) == []


def test_the_book_may_be_named_from_anywhere(twin: Book, run: Run, tmp_path: Path) -> None:
    for cwd in (tmp_path, twin.folder):
        done = run("trace", "piston.P1", "twin", "--book", os.path.relpath(twin.root, cwd), cwd=cwd)
        assert "Test: Begin" in done.stdout
        assert "weighings.yaml:10" in done.stdout
