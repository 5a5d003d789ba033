"""Entering at a real terminal: each reading safe as it is taken, and every way of stopping and going on."""

import json
import os
import re
import signal
from pathlib import Path

import pytest
from conftest import SHOP, Book, Run
from figures.ledger import PARTS
from rich.cells import cell_len

from buildbook.book.reading import Reader
from buildbook.records.model import WeighingSession
from cli.bench_terminal import CTRL_C, CTRL_D, Terminal
from cli.workshop import git, into_git, one_after_the_other

_FULL = """
import resource, runpy
resource.setrlimit(resource.RLIMIT_FSIZE, ({most}, {most}))
runpy.run_module("buildbook", run_name="__main__", alter_sys=True)
"""
FOUR = PARTS.replace("ids: [P1, P2]", "ids: [P1, P2, P3, P4]")


@pytest.fixture
def twin(book: Book) -> Book:
    """Four pistons to weigh on the only scale, in git."""
    book.write("parts.yaml", FOUR)
    book.write("weighings.yaml", "format: 1\nunits: {mass: g}\nsessions:\n")
    book.write("clearances.yaml", "format: 1\nunits: {length: mm}\nsessions:\n")
    into_git(book.root)
    return book


def weighed(book: Book) -> tuple[WeighingSession, ...]:
    loaded = Reader(book.root).load("twin/first")
    assert loaded.build is not None
    assert loaded.findings == ()
    return loaded.build.weighings


def read(session: WeighingSession) -> dict[str, list[str]]:
    return {piece: [value.text for value in reading.values] for piece, reading in session.readings.items()}


def pistons(book: Book, *more: str, columns: int = 80, **env: str) -> Terminal:
    return Terminal(["weigh", "piston", "--by", "ava", *more], book.folder, columns=columns, env=env)


def journal(book: Book) -> Path:
    return book.folder / ".piston.taking"


def test_a_session_is_one_record_and_one_commit(twin: Book) -> None:
    with pistons(twin) as at:
        at.shown("what is the check weight?")
        at.type("500.0", "check weight 500.0 g, before")
        at.type("5000", "P1 g › ")  # the point may be left out
        at.type("480.1", "P2 g › ")
        at.type("4820", "P3 g › ")
        at.type("481,2", "P4 g › ")
        at.type("481.6", "check weight 500.0 g, after")
        assert "mean 481.22  spread 1.9 g  of 4" in at.shown("check g › ")
        at.type("500.1", "recorded  W1")
        assert at.ends() == 0
    (session,) = weighed(twin)
    assert read(session) == {"P1": ["480.1"], "P2": ["482.0"], "P3": ["481.2"], "P4": ["481.6"]}
    check = session.check_weight
    assert check is not None
    assert [each.text if each else None for each in check] == ["500.0", "500.0", "500.1"]
    assert (session.by, session.with_) == ("ava", "scale")
    assert git(twin.root, "log", "-1", "--format=%an|%s").strip() == "Ava Merrow|Record W1: piston"
    assert git(twin.root, "log", "--oneline").count("\n") == 2
    assert git(twin.root, "status", "--porcelain") == ""
    assert not journal(twin).exists()


def test_each_reading_is_shown_among_its_fellows(twin: Book) -> None:
    with pistons(twin) as at:
        at.type("", "P1 g › ")
        assert "first one read" in at.type("480.1", "P2 g › ")
        said = at.type("482.0", "P3 g › ")
        assert "heaviest of 2, 1.9 over the others" in said
        assert "P1 |•                   ◆| P2" in said
        said = at.type("481.0", "P4 g › ")
        assert "2nd heaviest of 3, as the others' mean" in said  # 0.05 under it, which the scale does not show
        assert "mean 481.03  spread 1.9 g  of 3" in said
        assert "██" in said  # the piece that is asked for, in large letters


def test_back_skip_again_and_note_with_the_keypad(twin: Book) -> None:
    with pistons(twin) as at:
        at.type("", "P1 g › ")
        at.type("480.1", "P2 g › ")
        at.type("-", "P1 (480.1) g › ")
        at.type("480.3", "P2 g › ")
        at.type("*", "P3 g › ")
        at.type("481.2", "P4 g › ")
        at.type("+481.3", "P4 g › ")
        at.type("/draught from the door", "noted  P3: draught from the door")
        at.type("481.0", "done › ")
        at.type("", "recorded  W1")
        assert at.ends() == 0
    (session,) = weighed(twin)
    assert read(session) == {"P1": ["480.3"], "P3": ["481.2", "481.3"], "P4": ["481.0"]}
    assert session.note == "P3: draught from the door"


def test_a_number_far_off_is_asked_for_again_and_taken_when_it_comes_again(twin: Book) -> None:
    with pistons(twin) as at:
        at.type("", "P1 g › ")
        at.type("480.1", "P2 g › ")
        said = at.type("840.1", "P2 g › ")
        assert "840.1 g is far off: about 480.1 was to be expected" in said
        assert "P2" not in journal(twin).read_text().splitlines()[-1]
        at.type("480.4", "P3 g › ")
        at.type("520.9", "P3 g › ")
        at.type("840.1", "P3 g › ")
        at.type("840.1", "P4 g › ")  # it is so
        at.type("**", "done › ")
        at.type("", "recorded  W1")
        assert at.ends() == 0
    assert read(weighed(twin)[0]) == {"P1": ["480.1"], "P2": ["480.4"], "P3": ["840.1"]}


def test_of_lines_pasted_at_once_none_moves_to_the_piece_before_it(twin: Book) -> None:
    with pistons(twin) as at:
        at.type("", "P1 g › ")
        at.press(b"480.1\n840.1\n481.2\n481.6\n")
        at.shown("840.1 g is far off")
        at.shown("P2 g › ")
        at.type("482.0", "P3 g › ")
        at.type("**", "done › ")
        at.type("", "recorded  W1")
        assert at.ends() == 0
    assert read(weighed(twin)[0]) == {"P1": ["480.1"], "P2": ["482.0"]}


@pytest.mark.parametrize("key", [CTRL_C, CTRL_D], ids=["ctrl-c", "ctrl-d"])
def test_stopped_it_says_how_to_go_on_and_goes_on_there(twin: Book, key: bytes) -> None:
    before = (twin.folder / "weighings.yaml").read_bytes()
    with pistons(twin) as at:
        at.type("500.0", "before")
        at.type("500.0", "P1 g › ")
        at.type("480.1", "P2 g › ")
        at.type("482.0", "P3 g › ")
        at.press(key)
        at.shown("stopped  2 of 4 are read, and safe on disk")
        at.shown("buildbook weigh piston --build twin/first")
        assert at.ends() == 130
        assert "what was written before stays" not in at.sent
    assert (twin.folder / "weighings.yaml").read_bytes() == before
    checked, left = one_after_the_other(["check twin", "next twin"], twin.root)
    assert "a session of piston by ava is not finished: 2 of 4 are read" in " ".join(checked.stdout.split())
    assert "weigh: piston (2 of 4 are read)" in " ".join(left.stdout.split())
    with Terminal(["weigh", "piston"], twin.folder) as at:  # who and what it was is known
        at.shown("An unfinished session goes on")
        at.shown("by ava with scale; 2 of 4 read, 2 to go\n")
        at.shown("P3 g › ")
        at.type("481.2", "P4 g › ")
        at.type("481.6", "check g › ")
        at.type("500.0", "recorded  W1")
        assert at.ends() == 0
    assert read(weighed(twin)[0]) == {"P1": ["480.1"], "P2": ["482.0"], "P3": ["481.2"], "P4": ["481.6"]}


def test_stopped_before_anything_was_read_nothing_is_left_behind(twin: Book) -> None:
    with pistons(twin) as at:
        at.shown("check g › ")
        at.press(CTRL_C)
        at.shown("nothing was read")
        assert at.ends() == 130
    assert not journal(twin).exists()
    assert git(twin.root, "status", "--porcelain") == ""


def test_closed_before_anything_was_read_it_keeps_nobody_else_out(twin: Book) -> None:
    with pistons(twin) as at:
        at.type("500.0", "before")
        os.kill(at.process.pid, signal.SIGHUP)  # as when the window is closed
        at.process.wait(timeout=30)
    with Terminal(["weigh", "piston", "--by", "tomas"], twin.folder) as at:
        at.shown("tomas with scale")
        assert "before" not in at.shown("what is the check weight?")


def test_on_a_full_disk_what_was_read_stays_and_goes_on(twin: Book) -> None:
    before = twin.write("weighings.yaml", f"format: 1\nunits: {{mass: g}}\nsessions:\n{'# x' * 2000}\n").read_bytes()
    for most in (700, 5000):  # bytes that a file may have: full while it is read, and at the record
        program = ("-c", _FULL.format(most=most))
        with Terminal(["weigh", "piston", "--by", "ava"], twin.folder, program=program) as at:
            at.shown(" › ")
            if most == 700:
                at.type("", "P1 g › ")
                at.type("480.1", "P2 g › ")
                at.type("/" + "a long note " * 20, "1 of 4 are read, and safe on disk")
            else:
                at.type("**", "done › ")
                at.type("", "1 of 4 are read, and safe on disk")
            assert at.ends() == 2
            assert "Traceback" not in at.sent
        assert (twin.folder / "weighings.yaml").read_bytes() == before
    with pistons(twin) as at:
        at.shown("1 of 4 read, 0 to go")
        at.shown("done › ")
        at.type("", "recorded  W1")
        assert at.ends() == 0
    assert read(weighed(twin)[0]) == {"P1": ["480.1"]}


def test_killed_at_any_question_nothing_but_the_line_being_typed_is_lost(twin: Book) -> None:
    lines = ["500.0", "500.0", "480.1", "482.0", "-", "482.1", "+482.2", "481.2", "481.6"]
    prompts = ["check g", "P1 g", "P2 g", "P3 g", "P2 (482.0) g", "P3 g", "P3 g", "P4 g", "check g"]
    for line, prompt in zip(lines, prompts, strict=True):  # each line of the session in a process of its own
        with pistons(twin) as at:
            at.shown(" › ")
            at.type(line, f"{prompt} › ")
            at.press(b"99")  # being typed
            os.kill(at.process.pid, signal.SIGKILL)
            at.process.wait(timeout=30)
    with pistons(twin) as at:
        at.shown("check g › ")
        at.type("500.0", "recorded  W1")
        assert at.ends() == 0
    (session,) = weighed(twin)
    assert read(session) == {"P1": ["480.1"], "P2": ["482.1", "482.2"], "P3": ["481.2"], "P4": ["481.6"]}


def test_a_session_that_was_recorded_before_it_was_killed_is_not_entered_twice(twin: Book) -> None:
    with pistons(twin) as at:
        at.type("", "P1 g › ")
        at.type("480.1", "P2 g › ")
        at.type("**", "done › ")
        left_behind = journal(twin).read_bytes()
        at.type("", "recorded  W1")
        at.ends()
    journal(twin).write_bytes(left_behind)  # as it is between the record and the end
    git(twin.root, "reset", "--quiet", "--soft", "HEAD~1")  # and before the commit
    git(twin.root, "reset", "--quiet")
    with pistons(twin) as at:
        at.shown("it had been recorded already, as W1: nothing is entered twice")
        assert at.ends() == 0
    assert len(weighed(twin)) == 1
    assert not journal(twin).exists()
    assert git(twin.root, "status", "--porcelain") == ""  # and is in git's history


def test_while_it_is_unfinished_git_and_keep_leave_it_alone(twin: Book, run: Run) -> None:
    with pistons(twin) as at:
        at.type("", "P1 g › ")
        at.type("480.1", "P2 g › ")
        at.press(CTRL_C)
        at.ends()
    twin.write("parts.yaml", FOUR + "# looked through\n")
    assert run("keep", "--by", "ava", cwd=twin.root).returncode == 0
    assert git(twin.root, "ls-files", "--", "engines").count(".taking") == 0
    assert journal(twin).exists()
    assert run("show", cwd=twin.folder).returncode == 0


def test_another_terminal_is_told_that_this_one_is_at_it(twin: Book) -> None:
    with pistons(twin) as one:
        one.shown("check g › ")
        with pistons(twin) as other:
            other.shown("piston is being entered in another terminal")
            assert other.ends() == 2
        one.type("", "P1 g › ")


def test_when_all_were_weighed_it_weighs_all_of_them_again_and_says_so(twin: Book) -> None:
    twin.write("weighings.yaml", "format: 1\nunits: {mass: g}\nsessions:\n  - {id: W1, taken: 2026-10-03, by: ava, "
               "with: scale, what: piston, readings: {P1: 480.1, P2: 480.2, P3: 480.3}}\n")  # fmt: skip
    with pistons(twin) as at:
        at.type("", "P4 g › ")  # only what is left
        at.type("480.4", "done › ")
        at.type("", "recorded  W2")
        at.ends()
    with pistons(twin) as at:
        at.shown("all of this was read before: it is read again")
        at.type("", "P1 g › ")


def test_the_width_is_the_terminals_also_after_the_window_changed(twin: Book) -> None:
    def widest(text: str) -> int:
        return max(map(cell_len, text.splitlines()))

    with pistons(twin, TERM="xterm", NO_COLOR="1") as at:
        at.type("", "P1 g › ")
        assert 60 < widest(at.sent) <= 80
        for columns in (60, 40, 100):
            at.resize(columns)
            said = at.type("/note", " g › ") + at.type("481.0", " g › ")
            assert widest(said) <= columns, said
            assert "481.0" in said


def test_a_terminal_that_can_do_nothing_is_sent_no_escapes_and_no_colours_where_none_are_wanted(twin: Book) -> None:
    for terminal in ("dumb", "xterm-256color"):
        with pistons(twin, TERM=terminal, NO_COLOR="1") as at:
            at.shown(" › ")
            at.type("")
            at.type("480.1")
            at.type("940.1", "far off")
            assert not re.search(r"\x1b\[[0-9;]*[34][0-7]", at.raw)
            assert ("\x1b" in at.raw) == (terminal != "dumb")  # bold is no colour
        journal(twin).unlink()


def test_who_and_which_scale_are_chosen_by_number(twin: Book) -> None:
    twin.write("shop.yaml", SHOP + "  fine: {kind: scale, resolution: 0.01 g}\n")
    with Terminal(["weigh", "piston"], twin.folder) as at:
        at.shown("1 ava   2 tomas")
        at.shown(" › ")
        at.type("7", "type a number from 1 to 2")
        at.type("2", "1 scale   2 fine")
        at.shown(" › ")
        at.type("2", "tomas with fine")
        at.type("", "P1 g › ")
        at.type("480.10", "P2 g › ")
        at.type("**", "done › ")
        at.type("", "recorded  W1")
        at.ends()
    assert (weighed(twin)[0].by, weighed(twin)[0].with_) == ("tomas", "fine")
    with Terminal(["weigh", "pin"], twin.folder) as at:  # from then on it is who and what it was, or another
        at.shown("tomas, on which instrument?")
        at.shown("Enter: fine   - somebody else")
        at.shown(" › ")
        at.type("-", "Enter: tomas")
        at.shown(" › ")
        at.type("1", "Enter: fine")
        at.shown(" › ")
        at.type("", "ava with fine")


def test_a_session_with_another_scale_or_by_another_waits_until_this_one_is_ended(twin: Book, run: Run) -> None:
    with pistons(twin) as at:
        at.type("", "P1 g › ")
        at.type("480.1", "P2 g › ")
        at.press(CTRL_C)
        at.ends()
    with Terminal(["weigh", "piston", "--by", "tomas"], twin.folder) as at:
        at.shown("a session of piston by ava with scale, in g, lies here")
        at.shown("--by ava --with scale")
        assert at.ends() == 2
    assert journal(twin).exists()


def test_nothing_is_asked_that_could_not_be_recorded(twin: Book) -> None:
    git(twin.root, "checkout", "--quiet", "--detach")
    with pistons(twin) as at:
        assert at.ends() == 2
        assert "nothing was written" in " ".join(at.sent.split())
    git(twin.root, "checkout", "--quiet", "main")
    twin.write("parts.yaml", "format: 1\nparts: {}\n")
    with pistons(twin) as at:
        assert at.ends() == 1
        assert "parts.yaml" in at.sent
    assert not journal(twin).exists()


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--with", "scole"], "did you mean scale?"),
        (["--with", "mic"], "mic is no scale"),
        (["--by", "eve"], "nobody named 'eve'"),
        (["--unit", "mm"], "is no mass"),
        (["P9"], "there is no piston P9"),
        (["--from", "nowhere"], "port 'nowhere'"),
    ],
)
def test_what_was_not_asked_right_is_said_before_anything_is_asked(twin: Book, options: list[str], said: str) -> None:
    twin.write("shop.yaml", SHOP + "  mic: {kind: micrometer, resolution: 0.001 mm}\n")
    with Terminal(["weigh", "piston", *options, *(() if "--by" in options else ("--by", "ava"))], twin.folder) as at:
        assert at.ends() == 2
        assert said in " ".join(at.sent.split())
    assert not journal(twin).exists()


def test_what_could_not_be_recorded_is_safe_and_can_be_put_right(twin: Book) -> None:
    with pistons(twin) as at:
        at.type("", "P1 g › ")
        at.type("480.1", "P2 g › ")
        at.type("**", "done › ")
        twin.write("parts.yaml", FOUR.replace("P1, ", ""))  # in an editor, meanwhile
        at.type("", "nothing was written")
        at.shown("1 of 4 are read, and safe on disk")
        assert at.ends() == 1
    twin.write("parts.yaml", FOUR)
    with pistons(twin) as at:
        at.shown("done › ")
        at.type("-", "P4 g › ")
        at.type("", "done › ")
        at.type("", "recorded  W1")
        assert at.ends() == 0
    assert read(weighed(twin)[0]) == {"P1": ["480.1"]}


def test_json_comes_by_itself_and_the_questions_go_elsewhere(twin: Book) -> None:
    with Terminal(["weigh", "piston", "--by", "ava", "--json"], twin.folder) as at:
        at.type("", "P1 g › ")
        at.type("480.1", "P2 g › ")
        at.type("**", "done › ")
        at.type("", "}\n")
        at.ends()
        said = at.sent[at.sent.index("{\n") :]
    assert json.loads(said)["figures"]["recorded"] == "W1"


def test_hostile_names_and_notes_stay_text(twin: Book) -> None:
    twin.write("parts.yaml", FOUR.replace("P1", "P=cmd").replace("P=cmd", "P.x-1_" + "y" * 60))
    with pistons(twin) as at:
        at.type("", "g › ")
        at.type("/[bold]loud[/bold] <script> \x1b[31m", "noted")
        at.type("480.1", "P2 g › ")
        assert "\x1b[31m" not in at.raw.partition("noted")[2]
        assert "[bold]loud[/bold]" in at.sent
        assert max(map(len, at.sent.splitlines())) <= 90


# --- measuring -------------------------------------------------------------------------------------------------------

SIZES = "bore: 101.8, stroke: 88.4, rod_length: 152.4, main_bearings: 2, main_journal: 62.2, rod_journal: 53.3"


@pytest.fixture
def measured(twin: Book) -> Book:
    gauges = "  mic: {kind: micrometer, capacity: 75 mm, resolution: 0.001 mm, repeatability: 0.001 mm}\n"
    twin.write("shop.yaml", SHOP + gauges + "  feeler: {kind: feeler_gauge, resolution: 0.01 mm}\n")
    twin.write(
        "engines/twin/engine.yaml",
        f"{{format: 1, engine: twin, layout: v2_90_common_pin, units: {{length: mm}}, {SIZES}}}\n",
    )
    return twin


def measure(book: Book, *arguments: str) -> Terminal:
    return Terminal(["measure", *arguments, "--by", "ava"], book.folder)


def test_a_journal_is_asked_end_by_end_and_way_by_way(measured: Book) -> None:
    with measure(measured, "main_journal") as at:
        assert "main journal front, 1 of 4, first reading" in at.shown("1/front mm › ")
        assert "main journal front, 1 of 4, second reading" in at.type("62.180", "1/front mm › ")
        assert "main journal rear, 2 of 4, first reading" in at.type("62179", "1/rear mm › ")
        at.type("62180", "1/rear mm › ")
        at.type("-", "1/rear (62.180) mm › ")
        at.type("62,178", "1/rear mm › ")
        said = at.type("62178", "2/front mm › ")
        assert "mean 62.1780" in said
        said = at.type("61.280", "2/front mm › ")
        assert "far off" in said
        at.press(CTRL_C)
        at.shown("buildbook measure main_journal --build twin/first")
        assert at.ends() == 130
    with measure(measured, "main_journal") as at:
        at.shown("2/front mm › ")
        at.type("62.181", "2/front mm › ")
        at.type("**", "done › ")
        at.type("", "recorded  M1")
        at.ends()
    loaded = Reader(measured.root).load("twin/first")
    assert loaded.build is not None
    (session,) = loaded.build.clearances
    texts = [(spot.place, spot.along, [value.text for value in spot.reading.values]) for spot in session.spots]
    assert texts == [
        ("1", "front", ["62.180", "62.179"]),
        ("1", "rear", ["62.178", "62.178"]),
        ("2", "front", ["62.181"]),
    ]
    assert (session.with_, session.by) == ("mic", "ava")  # no feeler gauge reads a diameter


def test_what_is_of_another_engine_is_refused_however_often_it_is_typed(measured: Book) -> None:
    with measure(measured, "main_journal") as at:
        at.shown("1/front mm › ")
        for _ in range(3):
            said = at.type("2.4480", "1/front mm › ")
            assert "it looks like inches" in " ".join(said.split())
        assert "2.448" not in (measured.folder / ".main_journal.taking").read_text()


def test_only_the_places_that_are_named_are_asked(measured: Book) -> None:
    with measure(measured, "top_ring_gap", "2", "--with", "feeler") as at:
        at.shown("2 mm › ")
        at.type("0.48", "done › ")
        at.type("", "recorded  M1")
        at.ends()
