"""`weigh`: weights as given, from a file, from the scale; and a whole engine, from nothing to its map by the keypad."""

import json
import os
import pty
import subprocess
import sys
import tty
from pathlib import Path
from time import sleep

import pytest
from conftest import SHOP, Book, Run
from figures.ledger import PARTS

from buildbook.book.reading import Reader
from buildbook.records.model import Build, WeighingSession
from cli.bench_terminal import Terminal
from cli.workshop import git, into_git, one_after_the_other

BY = ("--by", "ava", "--with", "scale")


@pytest.fixture
def twin(book: Book) -> Book:
    book.write("parts.yaml", PARTS + "  - {kind: pin_locks, count: 4}\n")
    book.write("weighings.yaml", "format: 1\nunits: {mass: g}\nsessions:  # none yet\n")
    into_git(book.root)
    return book


def build_of(root: Path, name: str = "twin/first") -> Build:
    loaded = Reader(root).load(name)
    assert loaded.build is not None, loaded.findings
    return loaded.build


def weighed(book: Book) -> tuple[WeighingSession, ...]:
    return build_of(book.root).weighings


def read(session: WeighingSession) -> dict[str, list[str]]:
    return {piece: [value.text for value in reading.values] for piece, reading in session.readings.items()}


def file(book: Book) -> Path:
    return book.folder / "weighings.yaml"


# --- as given --------------------------------------------------------------------------------------------------------


def test_weights_are_taken_down_in_the_digits_given_and_every_other_byte_stays(twin: Book, run: Run) -> None:
    before = file(twin).read_bytes()
    given = ("P1=480.1", "P2=482.0,482.1", "--check", "500.0,500.0,500.1", "--note", "washed")
    done = run("weigh", "piston", *given, *BY, cwd=twin.folder)
    assert (done.returncode, done.stderr) == (0, "")
    assert file(twin).read_bytes().startswith(before)
    (session,) = weighed(twin)
    assert read(session) == {"P1": ["480.1"], "P2": ["482.0", "482.1"]}
    check = session.check_weight
    assert check is not None
    assert [each.text if each else None for each in check] == ["500.0", "500.0", "500.1"]
    assert (session.id, session.by, session.with_, session.note) == ("W1", "ava", "scale", "washed")
    assert git(twin.root, "log", "-1", "--format=%an|%s|%b").strip() == (
        "Ava Merrow|Record W1: piston|Build: twin/first\nRecord: W1"
    )
    assert git(twin.root, "status", "--porcelain") == ""
    assert "481.075" in done.stdout  # the mean: what follows from it is shown at once


def test_the_only_scale_need_not_be_named_and_a_unit_may_be(twin: Book, run: Run) -> None:
    assert run("weigh", "piston", "P1=16.934oz", "P2=17.002 oz", "--by", "ava", cwd=twin.folder).returncode == 0
    (session,) = weighed(twin)
    assert (session.with_, read(session)) == ("scale", {"P1": ["16.934 oz"], "P2": ["17.002 oz"]})
    done = run("weigh", "pin", "N1=5.372", "N2=5.379", "--unit", "oz", "--by", "ava", cwd=twin.folder)
    assert done.returncode == 0, done.stdout
    assert read(weighed(twin)[1]) == {"N1": ["5.372 oz"], "N2": ["5.379 oz"]}


def test_a_lot_is_its_total_and_how_many_there_are(twin: Book, run: Run) -> None:
    assert run("weigh", "pin_locks", "total=7.4", *BY, cwd=twin.folder).returncode == 0  # parts.yaml counts 4
    assert run("weigh", "rod_bearing", "total=87.0", "pieces=4", "each=2", *BY, cwd=twin.folder).returncode == 0
    locks, bearings = (session.lot for session in weighed(twin))
    assert locks is not None
    assert bearings is not None
    assert (locks.pieces, locks.per_cylinder) == (4, 2)
    assert (bearings.pieces, bearings.per_cylinder) == (4, 2)
    assert "per_rod: 2" in file(twin).read_text()


def test_pistons_with_their_pins_are_named_together(twin: Book, run: Run) -> None:
    assert run("weigh", "piston_with_pin", "P1+N1=632.4", "P2+N2=634.5", *BY, cwd=twin.folder).returncode == 0
    assert read(weighed(twin)[0]) == {"P1+N1": ["632.4"], "P2+N2": ["634.5"]}


def test_a_piece_that_no_part_lists_is_refused_and_nothing_is_written(twin: Book, run: Run) -> None:
    before = file(twin).read_bytes()
    done = run("weigh", "piston", "P1=480.1", "P9=480.2", *BY, cwd=twin.folder)
    assert done.returncode == 1
    assert "piston P9 is weighed, and no part lists it" in " ".join(done.stdout.split())
    assert file(twin).read_bytes() == before


MISUSED = {
    "no such kind": ("pistn P1=480.1", "did you mean piston?"),
    "a decimal comma": ("piston P1=480,1", "decimal comma"),
    "no number": ("piston P1=heavy", "is not a number"),
    "no reading": ("piston P1=", "no name with its readings"),
    "a piece twice": ("piston P1=480.1 P1=480.2", "P1 is given twice"),
    "a piece without its weight": ("piston P1=480.1 P2", "'P2' is no name with its readings"),
    "a length": ("piston P1=480.1mm", "is a length"),
    "no such unit": ("piston P1=480.1 --unit stone", "is no mass"),
    "no such scale": ("piston P1=480.1 --with scole", "did you mean scale?"),
    "nobody of that name": ("piston P1=480.1 --by eve", "nobody named 'eve'"),
    "nobody at a terminal": ("piston", "nobody at a terminal"),
    "a dry run of nothing": ("piston --dry-run", "--dry-run needs readings"),
    "a check of nothing": ("piston --check 500.0,500.0", "--check needs readings"),
    "half a check": ("piston P1=480.1 --check 500.0", "--check"),
    "a lot of no pieces": ("pin_locks total=7.4 pieces=2.5", "is no number of pieces"),
    "a lot and a piece": ("pin_locks total=7.4 L1=1.8", "beside a lot"),
    "bearings of which nobody knows how many": ("rod_bearing total=87.0", "how many pieces the lot has"),
    "readings twice over": ("piston P1=480.1 --from -", "use one of them"),
    "no such file": ("piston --csv nowhere.csv", "nowhere.csv"),
}  # fmt: skip


def test_what_was_not_asked_right_is_one_clear_message_and_nothing_is_written(twin: Book) -> None:
    before = file(twin).read_bytes()
    commands = [
        ["weigh", *typed.split(), *(() if "--by" in typed else ("--by", "ava"))] for typed, _ in MISUSED.values()
    ]
    for (name, (_, said)), done in zip(MISUSED.items(), one_after_the_other(commands, twin.folder), strict=True):
        assert (done.code, done.stdout) == (2, ""), (name, done)
        assert said in " ".join(done.stderr.split()), (name, done.stderr)
        assert "→" in done.stderr, name
    assert file(twin).read_bytes() == before
    assert not list(twin.folder.glob(".*"))


def test_json_names_the_record_and_what_follows_from_it(twin: Book, run: Run) -> None:
    said = json.loads(run("weigh", "piston", "P1=480.1", "P2=482.0", *BY, "--json", cwd=twin.folder).stdout)
    assert (said["build"], said["figures"]["recorded"], said["findings"]) == ("twin/first", "W1", [])
    assert said["figures"]["weighings"]["piston"]["spread"] == pytest.approx(1.9)


# --- from a file -----------------------------------------------------------------------------------------------------


def test_a_file_is_taken_whole(twin: Book, run: Run) -> None:
    (twin.folder / "scale.csv").write_text("piece;weight;weight\nP1;480,1;480,2\nP2;482,0;\n")
    done = run("weigh", "piston", "--csv", "scale.csv", *BY, cwd=twin.folder)
    assert (done.returncode, done.stderr) == (0, "")
    assert read(weighed(twin)[0]) == {"P1": ["480.1", "480.2"], "P2": ["482.0"]}


def test_a_dry_run_shows_what_would_be_entered_and_found_and_writes_nothing(twin: Book, run: Run) -> None:
    (twin.folder / "scale.csv").write_text("P1,480.1,480.2\nP2,482\n")
    before = git(twin.root, "rev-parse", "HEAD")
    done = run("weigh", "piston", "--csv", "scale.csv", *BY, "--dry-run", cwd=twin.folder)
    assert done.returncode == 1
    for said in ("Nothing is written", "480.1, 480.2", "mean 480.15", "482", "scale.csv:2:1", "fewer digits"):
        assert said in done.stdout, said
    assert (git(twin.root, "rev-parse", "HEAD"), git(twin.root, "status", "--porcelain")) == (
        before, "?? engines/twin/first/scale.csv\n",
    )  # fmt: skip
    said = json.loads(run("weigh", "piston", "--csv", "scale.csv", *BY, "--dry-run", "--json", cwd=twin.folder).stdout)
    assert said["figures"]["would_record"]["readings"] == {"P1": ["480.1", "480.2"], "P2": ["482"]}
    assert said["figures"]["recorded"] is None


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("P1,480.1\nP9,482.0\n", "scale.csv:2:1 unlisted"),
        ("P1,480.1\nP2,48o.2\n", "scale.csv:2: 'o.2' is not a unit"),
        ("P1,480.1\nP1,480.2\n", "scale.csv:2: P1 is given twice"),
        ("P1,480.1\nP2\n", "scale.csv:2: there is no reading"),
        ("P1,480.1\nP2,-482.0\n", "more than 0|a weight is zero or less"),
        ("", "holds no reading"),
    ],
)
def test_of_a_file_with_one_bad_line_nothing_is_taken(twin: Book, run: Run, text: str, said: str) -> None:
    (twin.folder / "scale.csv").write_text(text)
    before = file(twin).read_bytes()
    for more in ((), ("--dry-run",)):
        done = run("weigh", "piston", "--csv", "scale.csv", *BY, *more, cwd=twin.folder)
        assert done.returncode in {1, 2}
        assert any(each in " ".join((done.stdout + done.stderr).split()) for each in said.split("|")), done
        assert "Traceback" not in done.stderr
    assert file(twin).read_bytes() == before


def test_what_is_refused_stands_where_it_was_typed_and_in_no_line_that_the_file_has_not(twin: Book, run: Run) -> None:
    done = run("weigh", "piston", "P1=480.1", "P9=482.0", *BY, cwd=twin.folder)
    assert "command line:1:2  unlisted" in done.stdout
    assert "weighings.yaml" not in done.stdout


# --- from the scale --------------------------------------------------------------------------------------------------


def stream(book: Book, text: str) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [sys.executable, "-m", "buildbook", "weigh", "piston", "--from", "-", *BY],
        input=text, cwd=book.folder, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip


def test_a_stream_of_readings_needs_nobody_at_the_keyboard(twin: Book) -> None:
    done = stream(twin, "ST,GS,+  480.1 g\n")
    assert done.returncode == 130  # the second is still to come
    assert "1 of 2 are read, and safe on disk" in done.stdout
    done = stream(twin, "US,GS,+  471.3 g\nOL\n+  482.0 g\n")
    assert done.returncode == 0, done.stdout
    assert read(weighed(twin)[0]) == {"P1": ["480.1"], "P2": ["482.0"]}


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("+  840.1 g", "840.1 g is far off"),
        ("+  482.0 kg", "it shows 482.0 kg, and this session is in g"),
        ("+  48x.0 g", "this is not understood"),
    ],
)
def test_in_a_stream_nobody_watches_no_reading_moves_to_the_piece_before_it(twin: Book, line: str, said: str) -> None:
    """The third piece is on the scale when the second is asked for again: it must not be taken for that."""
    twin.write("parts.yaml", PARTS.replace("ids: [P1, P2]", "ids: [P1, P2, P3]"))
    done = stream(twin, f"+  480.1 g\n{line}\n+  481.6 g\n")
    assert done.returncode == 2
    assert said in " ".join(done.stdout.split())
    assert "1 of 3 are read, and safe on disk" in done.stdout
    assert "nobody is at a terminal" in done.stderr


def test_the_print_key_of_the_scale_is_enter(twin: Book) -> None:
    scale, port = pty.openpty()
    tty.setraw(scale)

    def press(printed: bytes) -> None:
        sleep(1.7)  # by hand: what comes without a pause is a scale that sends all the time
        os.write(scale, printed)

    with Terminal(["weigh", "piston", "--from", os.ttyname(port), *BY], twin.folder) as at:
        at.shown("check g › ")
        at.type("", "P1 g › ")
        press(b"ST,GS,+  480.1 g\r\n")
        at.shown("P2 g › ")
        press(b"S S     840.0 g\r\n")
        at.shown("840.0 g is far off")
        at.shown("P2 g › ")
        at.type("*", "done › ")  # the keyboard counts beside it
        at.type("-", "P2 g › ")
        press(b"ST,GS,+  482.0 g\r\n")
        at.shown("done › ")
        at.type("", "recorded  W1")
        assert at.ends() == 0
    os.close(scale)
    os.close(port)
    assert read(weighed(twin)[0]) == {"P1": ["480.1"], "P2": ["482.0"]}


# --- a whole engine by the keypad ------------------------------------------------------------------------------------

EIGHT = """\
format: 1
units: {mass: g}
parts:
  - {kind: rod, ids: [R1, R2, R3, R4, R5, R6, R7, R8]}
  - {kind: piston, ids: [P1, P2, P3, P4, P5, P6, P7, P8]}
  - {kind: pin, ids: [N1, N2, N3, N4, N5, N6, N7, N8]}
  - {kind: ring_set, ids: [G1, G2, G3, G4, G5, G6, G7, G8]}
  - {kind: pin_locks, count: 16}
  - {kind: rod_bearing, count: 16}
"""
ON_THE_PANS = {
    "rod_big_end": ("1", "611.3 611.8 611.2 611.9 612.2 611.1 611.6 611.5"),
    "rod_small_end": ("1", "168.0 168.6 167.8 168.3 168.9 168.7 168.0 168.2"),
    "piston": ("2", "507.06 507.49 507.88 507.66 507.29 506.81 507.13 506.91"),
    "pin": ("2", "148.02 147.90 148.11 147.97 148.06 147.88 148.00 148.14"),
    "ring_set": ("2", "43.12 43.27 43.05 43.18 43.22 43.09 43.31 43.16"),
    "pin_locks": ("2", "29.58"),
    "rod_bearing": ("2", "335.12"),
}
CHECK = {"1": "500.0", "2": "100.00"}
TWO_SCALES = SHOP.replace("  scale:", "  bench_scale:") + "  fine_scale: {kind: scale, resolution: 0.01 g}\n"


@pytest.mark.parametrize("checked", [True, False], ids=["with check weights", "without"])
def test_eight_cylinders_from_nothing_to_the_map_with_the_keypad_alone(book: Book, run: Run, checked: bool) -> None:
    """What is typed stays below 1.2 times the digits of the readings and one Enter for each, with all that is asked
    beside them: who, on which scale, what the check weight is, how many locks there are."""
    book.write("shop.yaml", TWO_SCALES)
    book.write("engines/twin/engine.yaml", "format: 1\nengine: twin\nlayout: v8_90_cross_plane\n")
    book.write("parts.yaml", EIGHT)
    for name in ("weighings", "pairings"):
        book.write(f"{name}.yaml", f"format: 1\n{'units: {mass: g}' if name == 'weighings' else ''}\n")
    into_git(book.root)
    keys = digits = readings = 0
    used: list[str] = []  # the scales, in the order of the sessions
    for what, (scale, weights) in ON_THE_PANS.items():
        with Terminal(["weigh", what], book.folder) as at:
            at.shown(" › ")
            if not used:
                at.type("1")  # who; from then on it is the same unless it is said to be another
            at.type("" if used[-1:] == [scale] else scale)  # Enter is the scale of the last time
            if scale not in used:
                at.type(CHECK[scale] if checked else "")
            elif not checked:
                at.type("")
            pan = [CHECK[scale], *weights.split(), CHECK[scale]] if checked else weights.split()
            first = 1 if checked else 0  # of the first piece nobody knows yet where the point goes
            for number, weight in enumerate(pan):
                ends = checked and number == len(pan) - 1
                at.type(weight if number == first else weight.replace(".", ""), "recorded" if ends else " › ")
                if what in {"pin_locks", "rod_bearing"} and number == first:
                    at.type("")  # as many as the parts list counts
            if not checked:
                at.type("", "recorded")
            assert at.ends() == 0
            keys += at.keys
            assert set("".join(at.typed)) <= set("0123456789.+-*/")
        digits += sum(map(str.isdigit, "".join(pan)))
        readings += len(pan)
        used.append(scale)
    assert keys < 1.2 * digits + readings, (keys, digits, readings)
    build = build_of(book.root)
    for session in build.weighings:
        texts = [text for texts in read(session).values() for text in texts]
        assert texts in (ON_THE_PANS[session.what][1].split(), [])
        assert (session.check_weight is not None) == checked
    assert len(build.weighings) == 7
    assert run("match", "--write", "--by", "ava", cwd=book.folder).returncode == 0
    shown = run("map", cwd=book.folder)
    assert shown.returncode == 0
    assert all(piece in shown.stdout for piece in ("R1", "P8", "N4"))
