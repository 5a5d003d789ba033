"""`layout`: the drawing, the firing order held against it, the mapping as YAML, and what it refuses."""

import json
import re
from collections import Counter
from pathlib import Path

import pytest
from conftest import SAMPLES, Book, Run

from buildbook.balance.layouts import KNOWN, known_layout
from buildbook.book.reading import Reader
from buildbook.figures.cylinders import layout_of_engine
from cli.test_screens import lost, steering, too_wide
from cli.workshop import one_after_the_other


def flat(text: str) -> str:
    return " ".join(text.split())


def test_an_engine_is_drawn_with_its_banks_throws_bearings_planes_and_firing_order(run: Run) -> None:
    done = run("layout", "heron-07/2025-06-first", cwd=SAMPLES)
    assert (done.returncode, done.stderr) == (0, "")
    assert re.search(r"left +-45° +1, 3, 5, 7", done.stdout)
    assert re.search(r"2 +90° +3, 4 +111\.8 mm", done.stdout)
    assert done.stdout.count("█") == 5 + 1  # five main bearings, and what the mark means
    assert "F front spin plane, R rear spin plane" in done.stdout
    assert "in the order of engine.yaml: evenly, every 90°" in done.stdout
    assert re.search(r"fires at +0 +90 +180 +270 +360 +450 +540 +630\n", done.stdout)
    assert len(done.stdout.splitlines()) <= 40


def test_pins_stand_in_the_picture_where_the_layout_has_them(run: Run) -> None:
    done = run("layout", "--name", "v8_90_cross_plane", cwd=SAMPLES)
    end = [each[:30] for each in done.stdout.partition("From the side")[0].splitlines()[3:]]
    at = {mark: (row, line.index(mark)) for row, line in enumerate(end) for mark in "1234" if mark in line}
    middle = (at["2"][0], (at["2"][1] + at["3"][1]) / 2)
    assert at["1"][0] < middle[0] < at["4"][0]  # throw 1 up, throw 4 down
    assert at["1"][1] == pytest.approx(middle[1], abs=1)
    assert at["2"][1] > middle[1] > at["3"][1]  # throw 2 at 90° to the right, throw 3 at 270°
    side = done.stdout.partition("From the side")[2].splitlines()
    assert re.search(r" 1 +2 +3 +4$", side[8])
    assert re.search(r" 0° +90° +270° +180°$", side[9])


def test_what_is_not_known_is_not_drawn_and_said(book: Book, run: Run) -> None:
    engine = "format: 1\nengine: twin\nlayout: flat_4\nmain_bearings: 3\n"
    book.write("engines/twin/engine.yaml", engine)
    said = flat(run("layout", "twin", cwd=book.root).stdout)
    assert "how far apart the throws are is not known (bore_spacing in engine.yaml): not to scale" in said
    assert "3 main bearings: between which throws they stand, engine.yaml does not say" in said
    assert "█" not in said
    assert "behind" not in said
    assert "pistons at the top, in each turn: 0°: 1, 2; 180°: 3, 4" in said
    assert "an order that fires evenly, every 180°, is possible" in said


def test_a_boxer_s_throws_stand_half_a_bore_spacing_apart_or_by_the_bank_offset(book: Book, run: Run) -> None:
    text = "format: 1\nengine: twin\nlayout: flat_4\nunits: {length: mm}\nbore_spacing: 120\n"
    for more, places in (("", [0, 60, 120, 180]), ("bank_offset: 40\n", [0, 40, 120, 160])):
        book.write("engines/twin/engine.yaml", text + more)
        throws = json.loads(run("layout", "twin", "--json", cwd=book.root).stdout)["figures"]["layout"]["throws"]
        assert [each["position"] for each in throws.values()] == places


@pytest.mark.parametrize(
    ("layout", "order", "code", "said"),
    [
        (
            "i4",
            "1, 2, 3, 4",
            1,
            "that takes 3 turns, as 3 comes to the top only 360° after 2",
        ),
        ("i3", "1, 2, 3", 1, "1, 2, 3 is that of the mirror image of this crankshaft, with its throws at 0, 120, 240"),
        ("i3", "1, 3", 1, "does not name each of the 3 cylinders once"),
        ("v8_90_cross_plane", "1, 8, 4, 3, 6, 5, 7, 2", 0, "evenly, every 90° with the banks' sides exchanged"),
        ("v4_90", "1, 3, 4, 2", 0, "unevenly cylinder 1 3 4 2 fires at 0 180 270 450 next after 180 90 180 270"),
    ],
)
def test_a_firing_order_is_held_against_the_layout(
    book: Book, run: Run, layout: str, order: str, code: int, said: str
) -> None:
    book.write("engines/twin/engine.yaml", f"format: 1\nengine: twin\nlayout: {layout}\nfiring_order: [{order}]\n")
    done = run("layout", "twin", cwd=book.root)
    assert done.returncode == code
    assert said in flat(done.stdout)


def test_the_order_is_in_the_json_with_angles_and_intervals(run: Run) -> None:
    figures = json.loads(run("layout", "plover-03", "--json", cwd=SAMPLES).stdout)["figures"]["layout"]
    assert figures["name"] is None
    assert figures["banks"] == {"left": -30, "right": 30}
    assert figures["throws"]["2"]["pins"] == [{"angle": 150, "cylinders": ["3"]}, {"angle": 90, "cylinders": ["4"]}]
    assert figures["firing"] == {
        "order": ["1", "2", "3", "4", "5", "6"],
        "angles": [0, 120, 240, 360, 480, 600],
        "intervals": [120] * 6,
        "even": True,
        "variant": "as_laid_out",
    }
    assert figures["tops"][0] == {"angle": 0, "cylinders": ["1", "4"]}


def test_a_known_layout_is_drawn_outside_of_any_book(tmp_path: Path, run: Run) -> None:
    done = run("layout", "--name", "v6_90_split_pin_30", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert "V6 of 90°, the two pins of a throw 30° apart" in done.stdout
    assert "engine.yaml states no" not in done.stdout


def test_two_pins_of_a_throw_close_together_are_marked_once(tmp_path: Path, run: Run) -> None:
    for name, marks in (("v10_90_split_pin_18", 1), ("v6_60_split_pin_60", 2)):
        picture = [line[:30] for line in run("layout", "--name", name, cwd=tmp_path).stdout.splitlines()[3:13]]
        assert sum(line.count("1") for line in picture) == marks


def test_all_known_layouts_are_listed_with_a_line_each(tmp_path: Path, run: Run) -> None:
    done = run("layout", "--list", cwd=tmp_path)
    for name, plan in KNOWN.items():
        assert flat(f"{name} {plan.said}")[:40] in flat(done.stdout)
    assert "v2_ANGLE_split_pin_OFFSET" in done.stdout
    listed = json.loads(run("layout", "--list", "--json", cwd=tmp_path).stdout)["figures"]["layouts"]
    assert [each["name"] for each in listed] == [*KNOWN]
    assert {each["name"] for each in listed if each["could_fire_evenly"]} >= {"i3", "i4", "v8_90_cross_plane"}


def test_every_known_layout_can_be_spelled_out_and_pasted_into_an_engine(book: Book) -> None:
    spelled = one_after_the_other([f"layout --name {name} --spell" for name in KNOWN], book.root)
    for name, shown in zip(KNOWN, spelled, strict=True):
        text = f"format: 1\nengine: twin\nunits: {{angle: deg}}\n{shown.stdout}"
        book.write("engines/twin/engine.yaml", text)
        engine, findings = Reader(book.root).engine("twin")
        assert findings == []
        assert engine is not None
        known, pasted = known_layout(name), layout_of_engine(engine)
        assert (pasted.banks, pasted.throws, pasted.cylinders) == (known.banks, known.throws, known.cylinders)


def test_an_engine_with_no_build_yet_is_drawn(book: Book, run: Run) -> None:
    book.write("engines/new/engine.yaml", "format: 1\nengine: new\nlayout: i3\n")
    for where, name in ((book.root, ["new"]), (book.root / "engines/new", [])):
        done = run("layout", *name, cwd=where)
        assert (done.returncode, done.stderr) == (0, "")
        assert done.stdout.startswith("Layout  new  inline three\n")


def test_a_layout_that_is_not_known_is_a_finding_in_the_file(book: Book, run: Run) -> None:
    book.write("engines/twin/engine.yaml", "format: 1\nengine: twin\nlayout: v8_90_crossplane\n")
    done = run("layout", "twin", cwd=book.root)
    assert done.returncode == 1
    assert "engine.yaml:3" in done.stdout
    assert "v8_90_cross_plane" in done.stdout


@pytest.mark.parametrize(
    ("arguments", "what", "remedy"),
    [
        (["--name", "v8_90_crossplane"], "no layout is called 'v8_90_crossplane'", "did you mean v8_90_cross_plane"),
        (["--name", "warp"], "no layout is called 'warp'", "see 'buildbook layout --list'"),
        (["heron-07", "--name", "i4"], "a build and a layout are both named", "name one of them"),
        (["--list", "--spell"], "--list goes alone", "leave the rest out"),
        (["herron-07"], "there is no engine named 'herron-07'", "did you mean heron-07?"),
    ],
)
def test_misuse_says_what_and_what_to_do(run: Run, arguments: list[str], what: str, remedy: str) -> None:
    done = run("layout", *arguments, cwd=SAMPLES)
    assert (done.returncode, done.stdout) == (2, "")
    assert what in flat(done.stderr)
    assert remedy in flat(done.stderr)


@pytest.mark.parametrize("columns", [80, 60])
def test_no_figure_is_lost_on_a_narrow_screen(columns: int) -> None:
    commands = [f"layout {engine}" for engine in ("heron-07", "plover-03", "dunlin-21", "magpie-02")]
    commands += [f"layout --name {name}" for name in ("v12_60", "flat_6", "v10_90_split_pin_18")] + ["layout --list"]
    wide = one_after_the_other(commands, SAMPLES, 200)
    for narrow, whole in zip(one_after_the_other(commands, SAMPLES, columns), wide, strict=True):
        assert (narrow.code, narrow.stderr) == (0, "")
        assert too_wide(narrow.stdout, columns) == []
        assert lost(narrow.stdout, whole.stdout) == Counter()
        assert steering(narrow.stdout) == []


def test_an_ascii_terminal_is_sent_ascii(run: Run) -> None:
    ascii_only = {"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0", "LC_ALL": "C"}
    for done in (run("layout", "heron-07", cwd=SAMPLES, **ascii_only), run("layout", "--list", **ascii_only)):
        assert (done.returncode, done.stderr) == (0, "")
        assert done.stdout.isascii()
        assert "?" not in done.stdout


def test_a_long_name_of_a_bank_leaves_the_picture_readable(book: Book, run: Run) -> None:
    long = "bank_that_leans_over_to_the_intake_side"
    spelled = f"""\
        format: 1
        engine: twin
        units: {{angle: deg}}
        layout:
          banks: {{left: -60, {long}: 60}}
          throws:
            1: {{angle: 0, cylinders: {{1: left, 2: {long}}}}}
            2: {{angle: 180, cylinders: {{3: left, 4: {long}}}}}
        """
    book.write("engines/twin/engine.yaml", spelled)
    done = run("layout", "twin", cwd=book.root)
    assert (done.returncode, done.stderr) == (0, "")
    picture = [each[:30] for each in done.stdout.partition("From the side")[0].splitlines()[3:]]
    assert any("left" in each and "1" in each and "bank_tha" in each for each in picture)


def test_angles_under_the_throws_stay_on_their_line_without_the_degree_sign(run: Run) -> None:
    environment = {"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
    done = run("layout", "plover-03", cwd=SAMPLES, **environment)
    assert (done.returncode, done.stderr) == (0, "")
    assert "30 deg 330 deg" in done.stdout
    assert not any(each.strip() == "deg" for each in done.stdout.splitlines())
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_a_layout_by_name_alone_misses_no_size_of_an_engine(run: Run) -> None:
    assert "not known" not in run("layout", "--name", "i4").stdout
