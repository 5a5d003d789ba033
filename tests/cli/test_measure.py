"""`measure`: readings taken down as typed, and nothing written that cannot be of this engine."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from conftest import Book, Run
from figures.measurements import PAIRED, write

from buildbook.book.reading import Reader
from buildbook.records.model import MeasuringSession
from cli.workshop import git, into_git, one_after_the_other

SIZES = "bore: 101.8, stroke: 88.4, rod_length: 152.4, main_bearings: 2, main_journal: 62.2, rod_journal: 53.3"
JOURNALS = "what: main_journal, readings: {1: 62.180, 2: 62.181}"


@pytest.fixture
def twin(book: Book) -> Book:
    """Two main journals measured, and a limit on the ring gaps, in git."""
    write(book, JOURNALS, limits="top_ring_gap: {min: 0.46}, main_clearance: {min: 0.04}", sizes=SIZES, paired=PAIRED)
    into_git(book.root)
    return book


def sessions(book: Book) -> tuple[MeasuringSession, ...]:
    loaded = Reader(book.root).load("twin/first")
    assert loaded.build is not None
    assert loaded.findings == ()
    return loaded.build.clearances


def read(session: MeasuringSession) -> dict[str, list[str]]:
    """Place → its readings, in the digits written."""
    return {
        "/".join(filter(None, (spot.place, spot.along, spot.within))): [value.text for value in spot.reading.values]
        for spot in session.spots
    }


def file(book: Book) -> Path:
    return book.folder / "clearances.yaml"


BY = ("--with", "mic", "--by", "ava")


def test_readings_are_added_in_the_digits_typed_and_every_other_byte_stays(twin: Book, run: Run) -> None:
    before = file(twin).read_bytes()
    places = ("1/front=62.240,62.250", "1/rear=62.240", "2=62.250")
    done = run("measure", "main_bore", *places, *BY, "--temperature", "21.5", "--note", "caps torqued", cwd=twin.folder)
    assert (done.returncode, done.stderr) == (0, "")
    assert file(twin).read_bytes().startswith(before)
    *_, last = sessions(twin)
    assert (last.id, last.by, last.with_, last.note) == ("M2", "ava", "mic", "caps torqued")
    assert last.temperature is not None
    assert (last.temperature.text, last.temperature.unit) == ("21.5", "degC")
    assert read(last) == {"1/front": ["62.240", "62.250"], "1/rear": ["62.240"], "2": ["62.250"]}
    assert "0.060" in done.stdout  # 62.240 − 62.180: what follows from it is shown at once


def test_one_session_is_one_commit_with_a_message_that_a_program_can_read(twin: Book, run: Run) -> None:
    run("measure", "main_bore", "1=62.240", "2=62.250", *BY, cwd=twin.folder)
    said = git(twin.root, "log", "-1", "--format=%an|%s|%b").strip()
    assert said == "Ava Merrow|Record M2: main bore|Build: twin/first\nRecord: M2"
    assert git(twin.root, "status", "--porcelain") == ""


CSVS = {
    "columns named": "place,along,reading,reading\n1,front,62.240,62.250\n1,rear,62.240,\n2,,62.250,\n",
    "columns as they come": "1,front,62.240,62.250\n1,rear,62.240\n\n# the thrust bearing\n2,62.250\n",
    "semicolons and a mark": "\ufeff1;front;62.240;62.250\r\n1;rear;62.240\r\n2;62.250\r\n",
    "tabs": "1\tfront\t62.240\t62.250\n1\trear\t62.240\n2\t62.250\n",
    "tabs, columns named": "place\talong\treading\treading\n1\tfront\t62.240\t62.250\n1\trear\t62.240\n2\t\t62.250\n",
    "lines that end with a bare return": "1,front,62.240,62.250\r1,rear,62.240\r2,62.250\r",
    "bare returns, columns named": "Place,Along,Reading,Reading\r1,front,62.240,62.250\r1,rear,62.240\r2,,62.250\r",
}


@pytest.mark.parametrize("text", CSVS.values(), ids=CSVS)
def test_a_csv_file_says_the_same_as_readings_typed(twin: Book, run: Run, tmp_path: Path, text: str) -> None:
    (tmp_path / "bores.csv").write_bytes(text.encode())
    done = run("measure", "main_bore", "--csv", str(tmp_path / "bores.csv"), *BY, cwd=twin.folder)
    assert (done.returncode, done.stderr) == (0, "")
    assert read(sessions(twin)[-1]) == {"1/front": ["62.240", "62.250"], "1/rear": ["62.240"], "2": ["62.250"]}


def test_standard_input_is_read_where_the_file_is_a_dash(twin: Book) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "buildbook", "measure", "valve_to_piston", "--csv", "-", *BY],
        input="place,along,within,reading\n1,intake,10,2.310\n1,intake,5,2.290\n",
        cwd=twin.folder, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    assert read(sessions(twin)[-1]) == {"1/intake/10": ["2.310"], "1/intake/5": ["2.290"]}


def test_a_number_carries_its_unit_where_the_file_has_another(twin: Book, run: Run) -> None:
    assert run("measure", "main_bore", "1=2.4505in", "2=2.4506 in", *BY, cwd=twin.folder).returncode == 0
    assert read(sessions(twin)[-1]) == {"1": ["2.4505 in"], "2": ["2.4506 in"]}
    assert run("measure", "main_bore", "1=2.4504", "2=62.245mm", "--unit", "in", *BY, cwd=twin.folder).returncode == 0
    assert read(sessions(twin)[-1]) == {"1": ["2.4504 in"], "2": ["62.245 mm"]}


def test_what_a_fastener_was_asked_to_stands_with_what_was_done(twin: Book, run: Run) -> None:
    typed = ("main_1/left=40,80,105", "main_1/right=40,80", "--asked", "40,80,105", "--with", "wrench", "--by", "ava")
    done = run("measure", "fastener_torque", *typed, cwd=twin.folder)
    assert done.returncode == 1  # the right one lacks its last step
    last = sessions(twin)[-1]
    assert [value.text for value in last.asked] == ["40", "80", "105"]
    assert "UNDER" in done.stdout


IMPOSSIBLE = {
    "inches in a file of mm": ("main_bore 1=2.4505", "unit-slip", "inches written as mm"),
    "mm said to be inches": ("main_bore 1=62.240 --unit in", "unit-slip", "millimetres written as in"),
    "a decimal point that slipped": ("main_bore 1=6.2240", "unit-slip", "the decimal point slipped"),
    "a bore smaller than its journal": ("main_bore 1=62.100", "no-clearance", "smaller than main journal 1"),
    "a taper that is none": ("main_bore 1/front=62.240 1/rear=62.740", "no-form", "a digit slipped"),
    "a bearing that is not there": ("main_bore 3=62.240", "no-place", "no main bearing 3"),
    "a piston that is not listed": ("piston_skirt P9=101.718", "no-place", "no piston P9"),
    "a gauge for something else": ("main_bore 1=62.240 --with burette", "not-a-gauge", "reads no length"),
    "a feeler gauge for a diameter": ("main_bore 1=62.24 --with feeler", "not-a-gauge", "is a feeler gauge"),
    "more than the gauge can read": ("main_bore 1=62.240 --with short_mic", "not-a-gauge", "can read (50 mm)"),
    "a play below nothing": ("crankshaft_end_play 1=-0.13 --with feeler", "reading", "reads -0.13 mm"),
    "degrees Fahrenheit as Celsius": ("main_bore 1=62.240 --temperature 72", "temperature", 'write "72 degF"'),
}


@pytest.mark.parametrize(("typed", "rule", "said"), IMPOSSIBLE.values(), ids=IMPOSSIBLE)
def test_what_cannot_be_of_this_engine_is_refused_with_its_likely_cause(
    twin: Book, run: Run, typed: str, rule: str, said: str
) -> None:
    before = file(twin).read_bytes()
    gauge = () if "--with" in typed else ("--with", "mic")
    done = run("measure", *typed.split(), *gauge, "--by", "ava", cwd=twin.folder)
    assert (done.returncode, done.stderr) == (1, "")
    assert "nothing was written" in done.stdout
    assert f"  {rule}\n" in done.stdout
    assert said in " ".join(done.stdout.split())
    assert file(twin).read_bytes() == before
    assert git(twin.root, "log", "--oneline").count("\n") == 1


MISUSED = {
    "a decimal comma": ("main_bore 1=62,240", "decimal comma"),
    "a decimal comma with a unit": ("main_bore 1=2,3995in", "decimal comma"),
    "a decimal comma with a unit of the file": ("main_bore 1/front=62,240mm", "decimal comma"),
    "a volume with a decimal comma": ("chamber_volume 1=64,4mL --with burette", "decimal comma"),
    "asked of what is no fastener": ("main_bore 1=62.240 --asked 62.240", "--asked says what a fastener"),
    "asked of a gap": ("top_ring_gap 1=0.50 --asked 0.46 --with feeler", "a top ring gap is none"),
    "a place twice": ("main_bore 1=62.240 1=62.250", "1 is given twice"),
    "whole and divided": ("main_bore 1=62.240 1/front=62.250", "both whole and divided"),
    "divided and whole": ("main_bore 1/front=62.250 1=62.240", "both whole and divided"),
    "divided too often": ("main_bore 1/a/b/c=62.250", "divided twice at most"),
    "no readings": ("main_bore", "there are no readings"),
    "no place": ("main_bore 62.240", "no name with its readings"),
    "no such kind": ("main_bor 1=62.240", "did you mean main_bore?"),
    "no such unit": ("main_bore 1=62.240 --unit furlong", "is no length"),
    "a unit of something else": ("main_bore 1=62.240g", "is a mass"),
    "no number": ("main_bore 1=tight", "is not a number"),
    "no such gauge": ("main_bore 1=62.240 --with mick", "did you mean mic?"),
    "no such file": ("main_bore --csv nowhere.csv", "nowhere.csv"),
}


def test_what_was_not_asked_right_is_one_clear_message_and_nothing_is_written(twin: Book) -> None:
    before = file(twin).read_bytes()
    commands = [
        [*typed.split(), *(() if "--with" in typed else ("--with", "mic")), "--by", "ava"]
        for typed, _ in MISUSED.values()
    ]
    shown = one_after_the_other([["measure", *command] for command in commands], twin.folder)
    for (name, (_, said)), done in zip(MISUSED.items(), shown, strict=True):
        assert (done.code, done.stdout) == (2, ""), name
        assert any(each in " ".join(done.stderr.split()) for each in said.split("|")), (name, done.stderr)
        assert "→" in done.stderr, name
    assert file(twin).read_bytes() == before


def test_the_gauge_must_be_said(twin: Book, run: Run) -> None:
    done = run("measure", "main_bore", "1=62.240", "--by", "ava", cwd=twin.folder)
    assert (done.returncode, done.stdout) == (2, "")
    assert "add --with GAUGE (" in done.stderr
    assert "balancer" not in done.stderr  # which reads no bore


BAD_CSVS = {
    "1,front,62.240\n1,rear,tight\n": "bad.csv:2:",
    "1,front\n": "bad.csv:1: there is no reading",
    "place,reading\n,62.240\n": "bad.csv:2: no place is named",
    "1,62.240\n1,62.250\n": "bad.csv:2: 1 is given twice",
    "bearing,reading\n1,62.240\n": "bad.csv:1: there is no reading in this line",
    "1,62.240\r2,tight\r": "bad.csv:2:",
    "1\t62.240\n\t62.250\n": "bad.csv:2: no place is named",
}


@pytest.mark.parametrize("text", BAD_CSVS)
def test_a_bad_line_of_a_csv_file_is_named_and_none_of_the_file_is_taken(twin: Book, run: Run, text: str) -> None:
    before = file(twin).read_bytes()
    (twin.folder / "bad.csv").write_text(text)
    done = run("measure", "main_bore", "--csv", "bad.csv", *BY, cwd=twin.folder)
    assert (done.returncode, done.stdout) == (2, "")
    assert BAD_CSVS[text] in " ".join(done.stderr.split())
    assert file(twin).read_bytes() == before


def test_a_reading_of_a_csv_file_that_cannot_be_is_pointed_at_in_that_file(twin: Book, run: Run) -> None:
    before = file(twin).read_bytes()
    (twin.folder / "bores.csv").write_text("# bores\n1,front,62.240\n\n2,rear,2.4504\n")
    done = run("measure", "main_bore", "--csv", "bores.csv", *BY, "--json", cwd=twin.folder)
    assert done.returncode == 1
    found = json.loads(done.stdout)["findings"]
    assert {(each["file"], each["line"]) for each in found} == {("bores.csv", 4)}
    assert "unit-slip" in {each["rule"] for each in found}
    assert file(twin).read_bytes() == before
    typed = run("measure", "main_bore", "2/rear=2.4504", *BY, cwd=twin.folder)
    assert typed.returncode == 1
    assert "bores.csv" not in typed.stdout


def test_a_dry_run_shows_what_would_be_measured_and_found_and_writes_nothing(twin: Book, run: Run) -> None:
    (twin.folder / "bores.csv").write_text(
        "\ufeffplace;along;reading;reading\r\n1;front;62,240;62,250\r\n1/rear;;2,4504\r\n"
    )
    before = git(twin.root, "rev-parse", "HEAD")
    done = run("measure", "main_bore", "--csv", "bores.csv", *BY, "--dry-run", cwd=twin.folder)
    assert (done.returncode, done.stderr) == (1, "")
    for said in ("Nothing is written", "1/front", "62.240, 62.250", "mean 62.2450", "bores.csv:3:1", "unit-slip"):
        assert said in done.stdout, said
    said = json.loads(
        run(
            "measure", "main_bore", "1=62.240", *BY, "--dry-run", "--temperature", "72", "--json", cwd=twin.folder
        ).stdout
    )
    assert said["figures"]["would_record"]["readings"] == {"1": ["62.240"]}
    assert "temperature" in {each["rule"] for each in said["findings"]}
    assert git(twin.root, "rev-parse", "HEAD") == before
    assert git(twin.root, "status", "--porcelain") == "?? engines/twin/first/bores.csv\n"


def test_a_gauge_is_read_from_a_stream(twin: Book) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "buildbook", "measure", "main_bore", "1/front", "2/front", "--from", "-", *BY],
        input="62.240 mm\n62.241 mm\n62.250\n62.250\n",
        cwd=twin.folder, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    assert read(sessions(twin)[-1]) == {"1/front": ["62.240", "62.241"], "2/front": ["62.250", "62.250"]}


@pytest.mark.parametrize("names", ["bearing,reading", "journal;where;mm", "no\tdiameter"])
def test_columns_named_by_a_line_that_does_not_begin_with_place_are_said_to(twin: Book, run: Run, names: str) -> None:
    (twin.folder / "named.csv").write_text(f"{names}\n")
    done = run("measure", "main_bore", "--csv", "named.csv", *BY, cwd=twin.folder)
    assert (done.returncode, done.stdout) == (2, "")
    assert "a line that names the columns begins with 'place'" in " ".join(done.stderr.split())


def test_what_other_places_lack_is_no_fault_of_what_was_just_taken_down(twin: Book, run: Run) -> None:
    typed = ("R1=0.145,0.147", "--with", "mic", "--by", "ava", "--asked", "0.146")
    done = run("measure", "fastener_stretch", *typed, cwd=twin.folder)
    assert (done.returncode, done.stderr) == (0, "")
    assert "missing" in done.stdout  # and is still shown
    assert [value.text for value in sessions(twin)[-1].asked] == ["0.146"]


def test_two_readings_in_whole_numbers_may_be_written_with_a_point(twin: Book, run: Run) -> None:
    # what the message about a decimal comma says to do
    done = run("measure", "chamber_volume", "1=64.0,65.0", "--with", "burette", "--by", "ava", cwd=twin.folder)
    assert (done.returncode, done.stderr) == (0, "")
    assert read(sessions(twin)[-1]) == {"1": ["64.0", "65.0"]}


def test_rings_that_are_too_tight_are_recorded_and_say_how_much_to_file(twin: Book, run: Run) -> None:
    typed = ("1=0.41", "2=0.52", "--with", "feeler", "--by", "ava")
    done = run("measure", "top_ring_gap", *typed, cwd=twin.folder)
    assert done.returncode == 1
    assert "Rings to file" in done.stdout
    said = json.loads(run("fits", "--json", cwd=twin.folder).stdout)["figures"]["filing"]
    assert said["1"]["top_ring"]["file"] == pytest.approx(0.05)  # 0.46 − 0.41
    assert said["1"]["top_ring"]["file_to_be_sure"] == pytest.approx(0.061547, abs=5e-7)  # and 2 × 0.0057735
    assert (said["2"]["top_ring"]["file"], said["2"]["top_ring"]["file_to_be_sure"]) == (0, 0)


def test_text_that_steers_a_terminal_or_looks_like_markup_stays_text(twin: Book, run: Run) -> None:
    note = "[bold]tight[/bold] <b>=cmd()\x1b[31m"
    done = run("measure", "main_bore", "1=62.240", "2=62.250", *BY, "--note", note, cwd=twin.folder)
    assert done.returncode == 0
    assert "\x1b" not in done.stdout
    assert sessions(twin)[-1].note == note
    shown = run("fits", "--kind", "main_clearance", cwd=twin.folder).stdout
    assert "\x1b" not in shown
    assert "[bold]tight[/bold]" in " ".join(shown.split())


def test_json_names_the_record_and_what_follows_from_it(twin: Book, run: Run) -> None:
    done = run("measure", "main_bore", "1=62.240", "2=62.250", *BY, "--json", cwd=twin.folder)
    said = json.loads(done.stdout)
    assert (said["build"], said["figures"]["recorded"], said["findings"]) == ("twin/first", "M2", [])
    assert said["figures"]["fits"]["main_clearance"]["1"]["value"] == pytest.approx(0.060)


@pytest.mark.parametrize("state", ["a detached head", "a merge half done"])
def test_nothing_is_recorded_into_a_state_that_is_about_to_go_away(twin: Book, run: Run, state: str) -> None:
    if state == "a detached head":
        git(twin.root, "checkout", "--quiet", "--detach")
    else:
        (twin.root / ".git" / "MERGE_HEAD").write_text(git(twin.root, "rev-parse", "HEAD"))
    before = file(twin).read_bytes()
    done = run("measure", "main_bore", "1=62.240", *BY, cwd=twin.folder)
    assert (done.returncode, done.stdout) == (2, "")
    assert "nothing was written" in " ".join(done.stderr.split())
    assert file(twin).read_bytes() == before
