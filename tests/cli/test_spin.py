"""`spin`: one line at the machine, asked for what is missing, and nothing written that cannot be."""

import json
import os
import pty
import re
import subprocess
import sys
from pathlib import Path

import pytest
from conftest import Book, Run
from figures.ledger import PARTS
from figures.turning import on_the_machine
from figures.turning import spin as spin_step

from buildbook.book.reading import Reader
from buildbook.records.model import Step
from cli.workshop import git, into_git, one_after_the_other

CARRIED = PARTS + "  - {kind: flywheel, ids: [F1]}\n  - {kind: damper, ids: [D1]}\n"
READINGS = ("--front", "9.20@212", "--rear", "64@48", "--by", "ava")


@pytest.fixture
def twin(book: Book) -> Book:
    """A crankshaft with its bobweights set and one spin, in git."""
    on_the_machine(book, spin_step("20.0@30", "62.0@150", ", carrying: [F1]"))
    book.write("parts.yaml", CARRIED)
    into_git(book.root)
    return book


def steps(book: Book) -> tuple[Step, ...]:
    loaded = Reader(book.root).load("twin/first")
    assert loaded.build is not None
    assert loaded.findings == ()
    return loaded.build.spins.steps


def file(book: Book) -> Path:
    return book.folder / "spins.yaml"


def test_a_spin_in_one_line_is_added_and_every_other_byte_stays(twin: Book, run: Run) -> None:
    before = file(twin).read_bytes()
    more = ("--speed", "700", "--carrying", "F1", "--carrying", "D1", "--note", "belt new")
    done = run("spin", *READINGS, *more, cwd=twin.folder)
    assert (done.returncode, done.stderr) == (0, "")
    assert file(twin).read_bytes().startswith(before)
    *_, last = steps(twin)
    assert (last.id, last.by, last.with_, last.note) == ("S2", "ava", "balancer", "belt new")
    assert last.taken is not None
    assert last.taken.has_time
    assert last.spin is not None
    assert last.spin.speed is not None
    assert (last.spin.speed.text, last.spin.carrying) == ("700", ("F1", "D1"))
    shown = {plane: (each.amount.text, each.angle.text) for plane, each in last.spin.readings.items()}
    assert shown == {"front": ("9.20", "212"), "rear": ("64", "48")}  # the digits as typed


def test_it_commits_only_its_own_file_in_the_name_of_whoever_spun(twin: Book, run: Run) -> None:
    (twin.root / "shop.yaml").write_text((twin.root / "shop.yaml").read_text() + "# changed by hand\n")
    run("spin", *READINGS, cwd=twin.folder)
    author, subject, *rest = git(twin.root, "show", "--no-patch", "--format=%an <%ae>%n%B", "HEAD").splitlines()
    assert (author, subject) == ("Ava Merrow <ava@example.org>", "Record S2: spin")
    assert "Build: twin/first" in rest
    assert git(twin.root, "show", "--name-only", "--format=", "HEAD").split() == ["engines/twin/first/spins.yaml"]
    assert git(twin.root, "status", "--porcelain").splitlines() == [" M shop.yaml"]


def test_it_says_where_the_crankshaft_stands_and_how_the_prediction_held(twin: Book) -> None:
    hole = "correct drill rear@150 --diameter 16 --depth 20 --by ava"
    spun = "spin --front 20.0@30 --rear 30.5@150 --by ava"
    drilled, after, as_json = one_after_the_other([hole, spun, f"{spun} --json"], twin.folder)
    expected = re.search(r"the next spin should read: front 20\.0 @  30, rear (\S+) @ 150", drilled.stdout)
    assert expected is not None
    assert (after.code, after.stderr) == (0, "")
    assert "S3" in after.stdout
    assert f"was predicted: front 20.0 @ 30, rear {expected[1]} @ 150; missed by" in " ".join(after.stdout.split())
    assert "the floor: what cannot be told apart" in after.stdout
    said = json.loads(as_json.stdout)
    assert (said["figures"]["recorded"], said["figures"]["spins"][-1]["id"]) == ("S4", "S4")
    assert said["figures"]["verdict"] in {"over", "go_on", "stop"}


def test_what_is_carried_is_taken_from_the_spin_before_with_what_was_fitted_and_removed_since(twin: Book) -> None:
    spun = "spin --front 20.0@30 --rear 62.0@150 --by ava"
    commands = [spun, "correct fit D1 --by ava", spun, "correct remove F1 --by ava", spun, f"{spun} --carrying F1"]
    assert {shown.code for shown in one_after_the_other([*commands, spun], twin.folder)} == {0}
    carried = [step.spin.carrying for step in steps(twin) if step.spin is not None]
    assert carried == [("F1",), ("F1",), ("F1", "D1"), ("D1",), ("F1",), ("F1",)]


def test_of_several_machines_one_is_named(twin: Book) -> None:
    shop = (twin.root / "shop.yaml").read_text()
    bits = shop.index("bits:")
    twin.write("shop.yaml", f"{shop[:bits]}  second: {{kind: balancing_machine}}\n{shop[bits:]}")
    spun = "spin --front 20.0@30 --rear 30.5@150 --by ava"
    which, unknown, named = one_after_the_other([spun, f"{spun} --with secnd", f"{spun} --with second"], twin.folder)
    assert (which.code, unknown.code, named.code) == (2, 2, 0)
    assert "--with INSTRUMENT (balancer, second)" in " ".join(which.stderr.split())
    assert "did you mean second?" in " ".join(unknown.stderr.split())
    assert steps(twin)[-1].with_ == "second"


# What is not asked right is 2; what the record would not hold together with is 1.
REFUSED = {
    "--front 9.2 --rear 64@48": (2, "9.2@212"),
    "--front @212 --rear 64@48": (2, "9.2@212"),
    "--front 9.2@ --rear 64@48": (2, "9.2@212"),
    "--front 9.2@212@3 --rear 64@48": (2, "9.2@212"),
    "--front 9.2@360 --rear 64@48": (2, "write 0:"),
    "--front 9.2@-10 --rear 64@48": (2, "write 350:"),
    "--front 9.2@725 --rear 64@48": (2, "write 5:"),
    "--front 9,2@212 --rear 64@48": (2, "point"),
    "--front 9.2mm@212 --rear 64@48": (2, "use one of g,"),
    "--front 9.2@212": (2, "add --rear"),
    "--rear 9.2@212": (2, "add --front"),
    "--front 9.2@212 --rear 64@48 --middle 1@2": (2, "No such option"),
    "--front 9.2@212 --rear 64@48 --speed fast": (2, "plain digits"),
    "--front 9.2@212 --rear 64@48 --with balancr": (2, "did you mean balancer?"),
    "--front 9.2@212 --rear 64@48 --carrying F2": (1, "list it in parts.yaml"),
    "--front -9.2@212 --rear 64@48": (1, "it is at least 0"),
}


def test_bad_input_has_its_remedy_and_writes_nothing(twin: Book) -> None:
    before, head = file(twin).read_bytes(), git(twin.root, "rev-parse", "HEAD")
    commands = [f"spin {typed} --by ava" for typed in REFUSED]
    for (typed, (code, remedy)), done in zip(REFUSED.items(), one_after_the_other(commands, twin.folder), strict=True):
        said = " ".join((done.stdout if code == 1 else done.stderr).split())
        assert done.code == code, (typed, said)
        assert remedy in said, typed
        assert (done.stderr if code == 1 else done.stdout) == "", typed
    assert file(twin).read_bytes() == before
    assert git(twin.root, "rev-parse", "HEAD") == head


UNREADY = {
    "no bobweights": ("set: {1: 1775.6}", "set: {}", "record them first: buildbook bobweight --set 1=G --with SCALE"),
    "no radius": ("position: 100, radius: 100", "position: 100", "add planes:"),
    "one place": ("position: 100, radius", "position: -100, radius", "its own position"),
}


@pytest.mark.parametrize("case", UNREADY.values(), ids=UNREADY)
def test_a_crankshaft_that_is_not_ready_is_not_recorded_as_spun(book: Book, case: tuple[str, str, str]) -> None:
    old, new, remedy = case
    on_the_machine(book)
    file(book).write_text(file(book).read_text().replace(old, new))
    before = file(book).read_bytes()
    done, as_json = one_after_the_other(
        [f"spin --front 9.2@212 --rear 64@48 --by ava{more}" for more in ("", " --json")], book.folder
    )
    assert done.code == as_json.code == 1
    assert "nothing was written" in done.stdout
    assert remedy in " ".join(done.stdout.split())
    assert file(book).read_bytes() == before
    said = json.loads(as_json.stdout)
    assert said["figures"] == {}
    assert [each["severity"] for each in said["findings"]] == ["error"]


def test_two_spins_under_one_id_are_found_by_check_and_the_next_one_has_its_own(twin: Book) -> None:
    text = file(twin).read_text()
    line = text.splitlines()[-1]
    file(twin).write_text(f"{text}{line}\n")
    check, spun, again = one_after_the_other(["check", "spin --front 1@2 --rear 1@2 --by ava", "check"], twin.folder)
    assert check.code == again.code == 1
    assert "record-twice" in check.stdout
    assert "spins.yaml:8:" in check.stdout
    assert spun.code == 1  # it was written; the finding that was there before stays
    assert [step.id for step in steps(twin)] == ["S1", "S1", "S2"]


IN_OUNCES = "{mass: oz, angle: deg}"


@pytest.mark.parametrize(
    ("command", "said"),
    [
        ("spin --front 0.30@30 --rear 62.0oz@150", "0.30 says no unit, and the numbers in the file are in oz"),
        ("correct add rear@48 --amount 30", "write 30oz, or 30g"),
    ],
)
def test_a_number_without_a_unit_is_not_guessed_at_where_the_file_has_another(
    twin: Book, command: str, said: str
) -> None:
    text = file(twin).read_text().replace("{mass: g, length: mm, angle: deg, speed: rpm}", IN_OUNCES)
    text = re.sub(r"(position|radius): (-?\d+)", r"\1: \2 mm", text).replace("1775.6", "1775.6 g")
    file(twin).write_text(text)
    (refused,) = one_after_the_other([f"{command} --by ava"], twin.folder)
    assert refused.code == 2
    assert said in " ".join(refused.stderr.split())
    assert file(twin).read_text() == text


def test_a_file_in_other_units_is_told_the_unit_of_what_is_typed(twin: Book) -> None:
    text = file(twin).read_text().replace("{mass: g, length: mm, angle: deg, speed: rpm}", IN_OUNCES)
    text = re.sub(r"(position|radius): (-?\d+)", r"\1: \2 mm", text).replace("1775.6", "1775.6 g")
    file(twin).write_text(text)
    commands = [
        "spin --front 567.0g@30 --rear 62.0oz@150 --speed 700 --by ava",
        "correct drill rear@48 --diameter 16 --depth 0.5in --by ava",
    ]
    assert [shown.code for shown in one_after_the_other(commands, twin.folder)] == [0, 0]
    spun, hole = steps(twin)[-2:]
    assert spun.spin is not None
    assert spun.spin.speed is not None
    assert hole.change is not None
    assert spun.spin.readings["front"].amount.worth("g") == 567
    assert float(spun.spin.readings["rear"].amount.worth("g")) == pytest.approx(62.0 * 28.349523125)
    assert spun.spin.speed.worth("rpm") == 700
    assert hole.change.numbers["diameter"].worth("mm") == 16
    assert float(hole.change.numbers["depth"].worth("mm")) == pytest.approx(12.7)


def test_who_spun_it_must_be_known(twin: Book) -> None:
    commands = ["spin --front 1@2 --rear 1@2", "spin --front 1@2 --rear 1@2 --by avva"]
    nobody, stranger = one_after_the_other(commands, twin.folder)
    assert (nobody.code, stranger.code) == (2, 2)
    assert "--by PERSON (ava, tomas)" in " ".join(nobody.stderr.split())
    assert "did you mean ava?" in " ".join(stranger.stderr.split())


def test_without_git_it_is_written_and_says_that_it_is_not_kept(book: Book, run: Run) -> None:
    on_the_machine(book)
    done = run("spin", *READINGS, cwd=book.folder)
    assert done.returncode == 0
    assert "not kept in git's history" in done.stdout
    assert [step.id for step in steps(book)] == ["S1"]


def at_a_terminal(typed: str, *arguments: str, cwd: Path) -> tuple[int, str]:
    """Exit code and screen of a command whose questions are answered at the keyboard."""
    terminal, ours = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-m", "buildbook", *arguments], cwd=cwd, stdin=ours, stdout=ours, stderr=ours
    ) as process:
        os.close(ours)
        os.write(terminal, typed.encode())
        sent = b""
        while True:
            try:
                block = os.read(terminal, 65536)
            except OSError:  # Linux says so when the other side is closed
                break
            sent += block
        os.close(terminal)
        return process.wait(timeout=60), sent.decode()


def test_at_a_terminal_a_missing_reading_is_asked_for(twin: Book) -> None:
    code, screen = at_a_terminal("20.0@30\n62@150\n", "spin", "--by", "ava", cwd=twin.folder)
    assert code == 0
    assert "front reading, amount@angle" in screen
    assert "rear reading, amount@angle" in screen
    last = steps(twin)[-1]
    assert last.spin is not None
    assert last.spin.readings["rear"].amount.text == "62"


def test_at_a_terminal_only_what_is_missing_is_asked_for(twin: Book) -> None:
    code, screen = at_a_terminal("62 @ 150\n", "spin", "--by", "ava", "--front", "20.0 @ 30°", cwd=twin.folder)
    assert (code, "front reading" in screen) == (0, False)
    last = steps(twin)[-1]
    assert last.spin is not None
    assert {plane: each.angle.text for plane, each in last.spin.readings.items()} == {"front": "30", "rear": "150"}


def test_an_answer_without_an_angle_writes_nothing(twin: Book) -> None:
    before = file(twin).read_bytes()
    code, screen = at_a_terminal("64\n", "spin", "--by", "ava", "--front", "9.2@212", cwd=twin.folder)
    assert code == 2
    assert "write both, such as 9.2@212" in " ".join(screen.split())
    assert file(twin).read_bytes() == before


def test_a_piped_spin_asks_nothing(twin: Book) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "buildbook", "spin", "--by", "ava"],
        cwd=twin.folder, input="9.2@212\n64@48\n", capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stdout) == (2, "")
    assert "add --front AMOUNT@ANGLE" in " ".join(done.stderr.split())
