"""What every command promises: help, JSON, exit codes, the nearest name, and never a traceback."""

import json
import re
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from conftest import SAMPLES, SHOP, Book, Run
from figures.ledger import ALL_WEIGHED, PARTS, pairings, weighings

from cli.workshop import git, one_after_the_other

OF_A_BUILD = ("show", "weighings", "match", "bobweight", "map", "check", "fits", "compression")
WITHOUT_WEIGHING = ("motion", "layout", "shaking", "factor", "place", "next")
AT_THE_MACHINE = ("spins", "plan", "prove")
RECORDING = ("spin", *(f"correct {kind}" for kind in ("drill", "plug", "grind", "add", "fit", "remove", "index")))
ALL = (
    *OF_A_BUILD,
    *WITHOUT_WEIGHING,
    "weigh",
    "measure",
    "shells",
    *("sheet", "labels", "export"),
    *("keep", "history", "diff", "trace", "find", "trend", "sign", "reopen", "audit", "sync"),
    *AT_THE_MACHINE,
    *RECORDING,
    "trial",
    "tour",
    "new book",
    "new engine",
    "new build",
)


@pytest.mark.parametrize("command", [*ALL, "new", "correct", ""])
def test_every_command_has_help_with_an_example(run: Run, command: str) -> None:
    done = run(*command.split(), "--help")
    assert (done.returncode, done.stderr) == (0, "")
    assert re.search(r"^  Example: buildbook ", done.stdout, re.MULTILINE)
    assert command in {"new", "correct", ""} or "--json" in done.stdout
    assert "..." not in re.sub(
        r"COMMAND \[ARGS\]\.\.\.|READINGS\]{1,2}\.\.\.|\{WORDS\.\.\.\}", "", done.stdout
    )  # no line of help is cut


def test_help_names_every_command_under_the_stages_of_the_job(run: Run) -> None:
    said = run("--help").stdout
    stages = re.findall(r"^([A-Z][a-z ]+):$", said, re.MULTILINE)
    assert stages[-8:] == [
        "Begin",
        "Look after the book",
        "Weigh and match",
        "Measure and fit",
        "Understand the engine",
        "Balance",
        "Print and hand over",
        "Keep and look back",
    ]
    for command in {name.split()[0] for name in ALL}:
        assert len(re.findall(rf"^  {command} +[A-Z].*$", said, re.MULTILINE)) == 1


def findings_of(said: dict[str, Any]) -> list[dict[str, Any]]:
    """What was found, but for the note that these books are in no git repository of their own."""
    return [each for each in said["findings"] if each["rule"] != "not-kept"]


@pytest.mark.parametrize("command", [*OF_A_BUILD, *WITHOUT_WEIGHING, *AT_THE_MACHINE])
def test_json_is_one_object_with_build_figures_and_findings(run: Run, command: str) -> None:
    done = run(command, "heron-07/2025-06-first", "--json", cwd=SAMPLES)
    assert (done.returncode, done.stderr) == (0, "")
    said = json.loads(done.stdout)
    assert list(said) == ["build", "figures", "findings"]
    assert said["build"] == "heron-07/2025-06-first"
    assert findings_of(said) == []


@pytest.mark.parametrize("command", OF_A_BUILD)
def test_a_finding_is_exit_code_1_and_stands_in_the_json_with_its_place(book: Book, run: Run, command: str) -> None:
    book.write("weighings.yaml", weighings(*ALL_WEIGHED).replace("by: ava", "by: eva", 1))
    done = run(command, "twin", "--json", cwd=book.root)
    assert (done.returncode, done.stderr) == (1, "")
    (finding,) = findings_of(json.loads(done.stdout))
    assert (finding["rule"], finding["file"], finding["line"], finding["column"]) == (
        "unknown-by", "engines/twin/first/weighings.yaml", 4, 98,
    )  # fmt: skip
    assert "ava" in finding["remedy"]


def test_a_note_alone_is_exit_code_0(book: Book, run: Run) -> None:
    book.write("weighings.yaml", weighings(*ALL_WEIGHED).replace("\n", "\r\n"))
    done = run("check", cwd=book.root)
    assert done.returncode == 0
    assert "lines end with CRLF" in done.stdout


NEAREST = {
    "weighing": "did you mean weighings?",
    "shwo heron-07": "did you mean show?",
    "show heron-7": "did you mean heron-07?",
    "map heron-07/2026-10-rebuilt": "did you mean heron-07/2026-10-rebuild?",
    "check plover-3": "did you mean plover-03?",
    "match heron-07 --write --by avva": "did you mean ava?",
    "new engine tern-01 --layout v8_90_crossplane": "v8_90_cross_plane",
    "new build hern-07/2027-first": "heron-07",
    "show heron-07 --jsn": "--json",
    "spinns heron-07": "did you mean spins?",
    "plan heron-7": "did you mean heron-07?",
    "spin heron-07 --front 1@2 --rear 1@2 --by tomass": "did you mean tomas?",
    "spin heron-07 --front 1@2 --rear 1@2 --by tomas --with balncer": "did you mean balancer?",
    "prove heron-07/2025-06-frist": "did you mean heron-07/2025-06-first?",
    "weighings heron-07 --kind pistn": "piston",
    "fits heron-07 --kind rod_clearence": "did you mean rod_clearance?",
    "measure rod_bor R1=53.344 --build heron-07": "did you mean rod_bore?",
    "compresion heron-07": "did you mean compression?",
    "wiegh piston": "did you mean weigh?",
    "weigh pistn --build heron-07": "did you mean piston?",
    "factor heron-07 --least vertcal": "did you mean vertical?",
    "layout --name v8_90_crossplane": "v8_90_cross_plane",
}


def test_a_misspelt_name_is_exit_code_2_and_offers_the_nearest(samples: Path) -> None:
    for (typed, nearest), done in zip(NEAREST.items(), one_after_the_other([*NEAREST], samples), strict=True):
        assert (done.code, done.stdout) == (2, ""), typed
        assert nearest in " ".join(done.stderr.split()), typed


MISUSE = (
    "show nothing-like-it",
    "show /",
    "show ..",
    "show ../..",
    "show heron-07/../plover-03",
    "show heron-07/2025-06-first/weighings.yaml",
    "check no-such-file.yaml",
    "weighings heron-07 --kind nonsense",
    "match heron-07 --seconds 0",
    "match heron-07 --seconds -1",
    "match heron-07 --seconds soon",
    "match heron-07 --write",
    "show heron-07 plover-03",
    "spin nothing-like-it --front 1@2 --rear 1@2 --by ava",
    "spin heron-07 --front 1@2 --by ava",
    "spin heron-07 --front 1 --rear 2 --by ava",
    "spin heron-07 --front 1@2 --rear 1@2",
    "correct drill rear --diameter 22 --depth 9 --build heron-07 --by ava",
    "correct drill rear@48 --diameter wide --depth 9 --build heron-07 --by ava",
    "correct weld rear@48",
    "plan heron-07 --bit ten",
    "plan heron-07 --leave 100",
    "plan heron-07 --holes 0",
    "plan heron-07 --most 0",
    "trial --first 8.5@60",
    "trial --first 8.5@60 --use nothing-kept",
    "bobweight heron-07 --set 1=2180.4",
    "fits heron-07 --kind nonsense",
    "fits heron-07 --at nowhere",
    "measure",
    "measure rod_bore",
    "measure rod_bore R1=53.344 --build heron-07 --by ava",
    "measure rod_bore --csv no-such-file.csv --build heron-07 --with bore_gauge_50_100 --by ava",
    "shells nonsense heron-07",
    "shells main heron-07 --sizes wide",
    "compression heron-07 --ratio 1",
    "motion heron-07 --speed fast",
    "show heron-07 --book /no/such/folder",
    "new build no-slash",
    "new build tern-99/first",
    "new engine Heron --layout i4",
    "new engine heron-07 --layout i4",
    "nonsense",
    "--nonsense",
)


def test_what_cannot_be_done_is_exit_code_2_with_a_remedy_and_no_traceback(samples: Path) -> None:
    for typed, done in zip(MISUSE, one_after_the_other(MISUSE, samples), strict=True):
        assert (done.code, done.stdout) == (2, ""), typed
        assert "Traceback" not in done.stderr, typed
        assert re.search(r"^→ \S|Try 'buildbook.* --help'", done.stderr, re.MULTILINE), typed


def test_outside_a_book_every_command_says_where_to_go(tmp_path: Path) -> None:
    recording = ("spin --front 1@2 --rear 1@2", "correct fit D1")
    for done in one_after_the_other((*OF_A_BUILD, *WITHOUT_WEIGHING, *AT_THE_MACHINE, *recording), tmp_path):
        assert (done.code, done.stdout) == (2, "")
        assert "--book PATH" in done.stderr


# Weighings that cannot be read for certain, and the place and the remedy that must be named.
BROKEN = {
    "a tab": (b"format: 1\nsessions:\n\t- {id: W1}\n", "3:1", "spaces"),
    "no YAML": (b"format: 1\nsessions: [{id: W1}\n", "", "close"),
    "a text": (b"weighed on Tuesday\n", "1:1", "format: 1"),
    "no text": (b"\x89PNG\r\n\x1a\n\x00\x00", "1:1", "UTF-8"),
    "empty": (b"", "1:1", "format: 1"),
    "a field nobody knows": (b"format: 1\nsesions: []\n", "2:1", "sessions"),
    "a decimal comma": (
        b'format: 1\nunits: {mass: g}\nsessions:\n  - {id: W1, what: pin, readings: {N1: "152,3"}}\n',
        "4:40",
        "point",
    ),
    "a number twice": (
        b"format: 1\nunits: {mass: g}\nsessions:\n  - {id: W1, what: pin, readings: {N1: 1.0, N1: 2.0}}\n",
        "4:45",
        "delete",
    ),
    "an escape": (b"format: 1\n# \x1b[31m\n", "2:3", "type the line again"),
}


@pytest.mark.parametrize("content", BROKEN.values(), ids=BROKEN)
def test_bad_input_is_named_with_line_and_remedy_and_no_figure_is_shown(
    book: Book, run: Run, content: tuple[bytes, str, str]
) -> None:
    text, place, remedy = content
    book.write("weighings.yaml", text)
    done = run("weighings", cwd=book.folder)
    assert (done.returncode, done.stderr) == (1, "")
    assert f" weighings.yaml:{place}" in done.stdout
    assert re.search(rf"→ .*{re.escape(remedy)}", " ".join(done.stdout.split()))
    assert "no figures until" in done.stdout


def test_every_command_finds_the_same_in_a_broken_file(book: Book) -> None:
    book.write("weighings.yaml", BROKEN["a tab"][0])
    recording = ("spin --front 1@2 --rear 1@2 --by ava", "correct fit D1 --by ava --build")
    of_a_build = (*OF_A_BUILD, *WITHOUT_WEIGHING, *AT_THE_MACHINE, *recording)
    commands = [command for command in of_a_build if command != "layout"]  # which looks at nothing but the engine
    typed = [f"{command} twin --json" for command in commands]
    for command, done in zip(commands, one_after_the_other(typed, book.root), strict=True):
        assert (done.code, done.stderr) == (1, ""), command
        said = json.loads(done.stdout)
        unchecked = [("unchecked", 3)] if command == "check" else []
        assert [(each["rule"], each["line"]) for each in findings_of(said)] == [("yaml", 3), *unchecked], command
        assert said["figures"] == ({"checked": ["twin/first"]} if command == "check" else {})


def test_a_layout_nobody_knows_leaves_the_weighings_to_be_seen(book: Book) -> None:
    book.write("engines/twin/engine.yaml", "format: 1\nengine: twin\nlayout: v2_90_comon_pin\n")
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    for command, done in zip(OF_A_BUILD, one_after_the_other(OF_A_BUILD, book.folder), strict=True):
        assert (done.code, done.stderr) == (1, ""), command
        assert "v2_90_common_pin" in done.stdout
        assert ("421" in done.stdout) is (command == "weighings")


def test_inside_a_build_no_name_is_needed_and_inside_an_engine_its_newest_build_is_meant(run: Run) -> None:
    heron = SAMPLES / "engines" / "heron-07"
    for folder, meant in ((heron / "2025-06-first", "2025-06-first"), (heron, "2026-10-rebuild")):
        assert json.loads(run("map", "--json", cwd=folder).stdout)["build"] == f"heron-07/{meant}"


def test_the_book_is_found_by_option_and_by_the_environment(run: Run, tmp_path: Path) -> None:
    by_option = run("map", "plover-03", "--book", str(SAMPLES), cwd=tmp_path)
    by_environment = run("map", "plover-03", cwd=tmp_path, BUILDBOOK_BOOK=str(SAMPLES))
    assert by_option.returncode == by_environment.returncode == 0
    assert by_option.stdout == by_environment.stdout


def test_check_takes_the_book_an_engine_a_build_or_a_file(samples: Path) -> None:
    file = samples / "engines" / "heron-07" / "2025-06-first" / "weighings.yaml"
    text = file.read_text()
    file.write_text(text.replace("by: tomas", "by: tomasz", 1))
    expected = {
        "check": 1,
        "check heron-07": 1,
        "check heron-07/2025-06-first": 1,
        "check engines/heron-07/2025-06-first/weighings.yaml": 1,
        "check engines/heron-07/2025-06-first/parts.yaml": 0,
        "check engines/heron-07/engine.yaml": 0,
        "check shop.yaml": 0,
        "check heron-07/2026-10-rebuild": 0,
        "check plover-03": 0,
    }
    for (typed, code), done in zip(expected.items(), one_after_the_other([*expected], samples), strict=True):
        assert (done.code, done.stderr) == (code, ""), typed
        assert ("did you mean tomas?" in done.stdout) is bool(code), typed


@pytest.mark.parametrize("name", ["notes.txt", "engines/heron-07/2025-06-first/photo.yaml", "engines/loose.yaml"])
def test_check_does_not_pass_a_file_that_it_does_not_read(run: Run, samples: Path, name: str) -> None:
    (samples / name).write_text("format: 1\nanything: goes\n")
    done = run("check", name, cwd=samples)
    assert done.returncode != 0
    assert "nothing found" not in done.stdout


def test_a_new_book_engine_and_build_pass_check_and_are_kept_in_git(run: Run, tmp_path: Path) -> None:
    book = tmp_path / "book"
    month = f"{date.today():%Y-%m}"
    for typed in (
        ("new", "book", "book", "--person", "ava"),
        ("new", "engine", "tern-01", "--layout", "i4", "--book", "book"),
        ("new", "build", f"tern-01/{month}-first", "--book", "book"),
        ("new", "build", f"tern-01/{month}-second", "--follows", f"{month}-first", "--book", "book"),
    ):
        done = run(*typed)
        assert (done.returncode, done.stderr) == (0, "")
    checked = run("check", cwd=book)
    assert (checked.returncode, checked.stderr) == (0, "")
    assert "2 builds  nothing found" in checked.stdout
    assert git(book, "status", "--porcelain") == ""
    assert len(git(book, "log", "--format=%s").splitlines()) == 4
    build = (book / "engines" / "tern-01" / f"{month}-second" / "build.yaml").read_text()
    assert f"follows: {month}-first" in build


def test_new_says_in_json_what_it_wrote(run: Run, tmp_path: Path) -> None:
    said = json.loads(run("new", "book", "book", "--person", "ava", "--json").stdout)
    assert "book/shop.yaml" in said["figures"]["written"]
    assert all((tmp_path / name).is_file() for name in said["figures"]["written"])


def test_a_fault_of_buildbook_itself_is_exit_code_3_and_says_how_to_report_it(run: Run, tmp_path: Path) -> None:
    """Forced from outside: a package of the same name that is broken stands in for one of ours."""
    (tmp_path / "ruamel").mkdir()
    (tmp_path / "ruamel" / "__init__.py").write_text("raise RuntimeError('broken on purpose')\n")
    done = run("show", "heron-07", cwd=SAMPLES, PYTHONPATH=str(tmp_path))
    assert (done.returncode, done.stdout) == (3, "")
    assert "broken on purpose" in done.stderr
    assert "Traceback" not in done.stderr
    assert "BUILDBOOK_TRACEBACK=1" in done.stderr


def test_one_person_in_the_shop_need_not_be_named(book: Book, run: Run) -> None:
    only_ava = "".join(line for line in SHOP.splitlines(keepends=True) if "tomas" not in line)
    book.write("shop.yaml", only_ava)
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    book.write("pairings.yaml", "format: 1\n")
    assert run("match", "--write", cwd=book.folder).returncode == 0
    assert "by: ava" in (book.folder / "pairings.yaml").read_text()


def test_the_map_is_loud_where_something_is_not_certain(book: Book, run: Run) -> None:
    book.write("parts.yaml", PARTS)
    book.write(
        "weighings.yaml",
        weighings(*ALL_WEIGHED, "id: W9, taken: 2026-10-05, what: piston, readings: {P2: 481.0}"),
    )
    assert "NOT MATCHED" in run("map", cwd=book.folder).stdout
    locked = "locked:\n  - {piston: P2, cylinder: 1, because: honed to this piston}\n"
    book.write("pairings.yaml", pairings("rod: R1, piston: P2, pin: N1", locked=locked))
    said = " ".join(run("map", cwd=book.folder).stdout.split())
    assert "P2 WAS WEIGHED AGAIN (PISTON)" in said
    assert "NOT MATCHED" in said  # cylinder 2
    assert "locked: honed to this piston" in said
