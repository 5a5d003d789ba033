"""`export`: the records as tables that any program opens, whole or not at all."""

import csv
import json
import resource
import sqlite3
import subprocess
import sys
from contextlib import closing
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

import pytest
from conftest import SAMPLES, Book, Run
from figures.ledger import ALL_WEIGHED, PARTS, pairings, weighings
from hypothesis import given
from hypothesis import strategies as st

from buildbook.book.export.exporting import DESCRIBED, _guarded
from buildbook.book.export.tables import tables
from buildbook.book.reading import Reader
from buildbook.figures import work_out
from buildbook.figures.named import named_figures
from cli.workshop import one_after_the_other

Rows = list[dict[str, object]]


def exported(run: Run, book: Path, *what: str) -> dict[str, Rows]:
    """Every table of an SQLite export, its rows by column."""
    place = book.parent / "out.sqlite"
    done = run("export", *what, "--sqlite", str(place), cwd=book)
    assert (done.returncode, done.stderr) == (0, "")
    return rows_of(place)


def rows_of(place: Path) -> dict[str, Rows]:
    with closing(sqlite3.connect(place)) as database:
        database.row_factory = sqlite3.Row
        names = [name for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        return {name: [dict(row) for row in database.execute(f"SELECT * FROM {name}")] for name in names}


@cache
def exports_of_the_samples() -> dict[str, Path]:
    """The sample book, exported once: as SQLite and as CSV, and one engine and one build of it."""
    place = Path(mkdtemp())
    files = {name: place / name for name in ("all.sqlite", "csv", "heron.sqlite", "first.sqlite")}
    done = one_after_the_other(
        [
            f"export --sqlite {files['all.sqlite']}",
            f"export --csv {files['csv']}",
            f"export heron-07 --sqlite {files['heron.sqlite']}",
            f"export heron-07/2025-06-first --sqlite {files['first.sqlite']}",
        ],
        SAMPLES,
    )
    assert [(each.code, each.stderr) for each in done] == [(0, "")] * 4
    return files


@pytest.fixture
def sample() -> dict[str, Rows]:
    return rows_of(exports_of_the_samples()["all.sqlite"])


def test_every_reading_goes_out_with_its_digits(sample: dict[str, Rows]) -> None:
    builds = [each["build"] for each in sample["builds"]]
    assert len(builds) == 5
    written = 0
    for name in builds:
        build = Reader(SAMPLES).load(str(name)).build
        assert build is not None
        rows = [each for each in sample["weighings"] if each["build"] == name]
        expected = [
            (session.id, piece, f"{quantity.text} {quantity.unit}", float(quantity.worth("g")))
            for session in build.weighings
            for piece, reading in session.readings.items()
            for quantity in reading.values
        ]
        found = [(row["session"], row["piece"], row["weight_written"], row["weight_g"]) for row in rows]
        assert found == expected
        gauged = sum(len(spot.reading.values) for session in build.clearances for spot in session.spots)
        assert len([each for each in sample["measurements"] if each["build"] == name]) == gauged
        spun = [step for step in build.spins.steps if step.spin]
        assert len([each for each in sample["spins"] if each["build"] == name]) == 2 * len(spun)
        changes = [step.id for step in build.spins.steps if step.change]
        assert [each["step"] for each in sample["corrections"] if each["build"] == name] == changes
        written += len(expected)
    assert written == len(sample["weighings"]) > 100


def test_what_is_void_or_was_weighed_again_goes_out_and_is_marked(sample: dict[str, Rows]) -> None:
    rows = [each for each in sample["weighings"] if each["build"] == "heron-07/2025-06-first"]
    void = [each for each in rows if each["session"] == "W3"]
    assert len(void) == 8
    assert {(each["counts"], each["void"]) for each in void} == {
        (0, "the hanger rubbed on the draught shield; every reading is high")
    }
    p6 = {each["session"]: each["counts"] for each in rows if each["piece"] == "P6"}
    assert p6 == {"W5": 0, "W10": 1}


def test_the_figures_are_those_of_the_screens_with_unit_and_uncertainty(sample: dict[str, Rows]) -> None:
    build = Reader(SAMPLES).load("heron-07/2025-06-first").build
    assert build is not None
    expected = named_figures(work_out(build))
    rows = {row["figure"]: row for row in sample["figures"] if row["build"] == build.name}
    assert list(rows) == list(expected)
    assert len(rows) > 200
    for name, each in expected.items():
        row = rows[name]
        assert (row["value"], row["uncertainty"]) == (float(each.value), each.uncertainty)
        assert row["unit"] == (each.unit or "ratio")
    assert rows["bobweight_target"]["shown"] == "2180.14"


def test_what_has_no_table_of_its_own_goes_out_as_it_is_written(sample: dict[str, Rows]) -> None:
    places = {(row["file"], row["path"]): row["written"] for row in sample["as_written"]}
    assert places["shop.yaml", "instruments.bench_scale.certificate"] == "K-2291"
    assert places["engines/heron-07/engine.yaml", "bank_offset"] == "24.0"
    assert places["engines/heron-07/2025-06-first/weighings.yaml", "sessions[4].readings.R6"] == "168.7"


def test_every_column_is_described_and_can_be_asked_for_without_quotes(sample: dict[str, Rows]) -> None:
    found = sample
    described = {(row["table_name"], row["column_name"]): row for row in found["columns"]}
    assert set(found) == {table.name for table in (*tables(), DESCRIBED)}
    with closing(sqlite3.connect(exports_of_the_samples()["all.sqlite"])) as database:
        for table in found:
            names = [name for (_, name, *_) in database.execute(f"PRAGMA table_info({table})")]
            assert {name for where, name in described if where == table} == set(names)
            database.execute(f"SELECT {', '.join(names)} FROM {table}").fetchall()
    for row in described.values():
        assert len(str(row["description"])) > 5
        assert len(str(row["table_description"])) > 5
    assert described["weighings", "weight_g"]["unit"] == "g"
    assert described["builds", "purpose"]["description"] == _schema_says("build", "purpose")


def _schema_says(kind: str, field: str) -> str:
    schema = json.loads((SAMPLES.parent / "schemas" / f"{kind}.schema.json").read_text(encoding="utf-8"))
    return str(schema["properties"][field]["description"])


def test_csv_and_sqlite_say_the_same(sample: dict[str, Rows]) -> None:
    for table, rows in sample.items():
        with (exports_of_the_samples()["csv"] / f"{table}.csv").open(encoding="utf-8-sig", newline="") as file:
            read = list(csv.DictReader(file))
        assert len(read) == len(rows)
        for from_csv, row in zip(read, rows, strict=True):
            for column, value in row.items():
                shown = "" if value is None else str(value)
                assert from_csv[column].removeprefix("'") == shown.removeprefix("'")


def test_one_engine_or_one_build_can_go_out_alone() -> None:
    of_engine = rows_of(exports_of_the_samples()["heron.sqlite"])
    assert [each["build"] for each in of_engine["builds"]] == ["heron-07/2025-06-first", "heron-07/2026-10-rebuild"]
    assert [each["engine"] for each in of_engine["engines"]] == ["heron-07"]
    of_build = rows_of(exports_of_the_samples()["first.sqlite"])
    assert [each["build"] for each in of_build["builds"]] == ["heron-07/2025-06-first"]
    assert {each["build"] for each in of_build["weighings"]} == {"heron-07/2025-06-first"}


def test_a_unit_other_than_the_first_stays_as_written_beside_the_number(book: Book, run: Run) -> None:
    book.write("weighings.yaml", weighings('id: W1, what: rod_big_end, readings: {R1: "14.80 oz"}'))
    (row,) = exported(run, book.root)["weighings"]
    assert row["weight_written"] == "14.80 oz"
    assert row["weight_g"] == pytest.approx(419.572942, abs=1e-6)


NASTY = ("=cmd()|'/C calc'!A0", "+1+1", "-2+3", "@SUM(A1)", "[bold]Ann[/bold]", "<script>", "מנוע", "Ferry" * 120,
         "two\nlines", 'a "quoted", text', "\x1b[31mred", "＝1+1")  # fmt: skip


def test_no_text_runs_in_a_spreadsheet_and_sqlite_keeps_it_as_it_is(book: Book, run: Run) -> None:
    people = "".join(f"  p{number}: {{name: {json.dumps(name)}}}\n" for number, name in enumerate(NASTY))
    book.write("shop.yaml", f"format: 1\npeople:\n{people}")
    kept = [row["name"] for row in exported(run, book.root)["people"]]
    assert kept == list(NASTY)
    assert run("export", "--csv", "out", cwd=book.root).returncode == 0
    with (book.root / "out" / "people.csv").open(encoding="utf-8-sig", newline="") as file:
        read = [row["name"] for row in csv.DictReader(file)]
    for name, cell in zip(NASTY, read, strict=True):
        runs = name[0] in "=+-@＝"
        assert cell == (f"'{name}" if runs else name)


@given(st.text(min_size=1))
def test_a_guarded_text_never_begins_as_a_formula_does(said: str) -> None:
    guarded = str(_guarded(said))
    assert guarded[0] not in "=@\t\r\n"
    assert guarded in {said, f"'{said}"}
    if guarded[0] in "+-":
        float(guarded)


def test_a_number_with_a_sign_stays_a_number(book: Book, run: Run) -> None:
    assert _guarded("-0.5") == "-0.5"
    assert _guarded("-0.5 mm") == "'-0.5 mm"
    assert _guarded(-0.5) == -0.5


def test_an_export_takes_the_place_of_an_earlier_one_and_of_nothing_else(run: Run, samples: Path) -> None:
    again = one_after_the_other(["export --csv out", "export --sqlite out.sqlite"] * 2, samples)
    assert [(each.code, each.stderr) for each in again] == [(0, "")] * 4
    with closing(sqlite3.connect(samples / "mine.sqlite")) as database, database:
        database.execute("CREATE TABLE mine (a)")
    (samples / "out" / "notes.txt").write_text("mine")
    (samples / "mine.txt").write_text("mine")
    before = {path: path.read_bytes() for path in samples.rglob("*") if path.is_file()}
    places = [*(f"--csv {each}" for each in ("out", "engines", "mine.txt", "no/where"))]
    places += [f"--sqlite {each}" for each in ("mine.sqlite", "shop.yaml", "engines", "no/where")]
    for done in one_after_the_other([f"export {place}" for place in places], samples):
        assert (done.code, done.stdout) == (2, "")
        assert "nothing was written" in " ".join(done.stderr.split())
    assert {path: path.read_bytes() for path in samples.rglob("*") if path.is_file()} == before


@pytest.mark.parametrize("kind", ["--csv", "--sqlite"])
def test_a_disk_that_refuses_is_said_and_leaves_the_earlier_export(samples: Path, kind: str) -> None:
    export = [sys.executable, "-m", "buildbook", "export", kind, "out"]
    assert subprocess.run(export, cwd=samples, capture_output=True, check=False).returncode == 0
    before = {path: path.read_bytes() for path in samples.rglob("*") if path.is_file()}
    most = resource.getrlimit(resource.RLIMIT_FSIZE)[1]
    done = subprocess.run(
        export,
        cwd=samples,
        capture_output=True,
        text=True,
        check=False,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, most)),
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert "nothing more was written" in done.stderr
    assert {path: path.read_bytes() for path in samples.rglob("*") if path.is_file()} == before


def test_while_a_file_holds_an_error_nothing_is_written(run: Run, samples: Path) -> None:
    path = samples / "engines" / "magpie-02" / "2026-07-first" / "weighings.yaml"
    path.write_text(path.read_text(encoding="utf-8").replace("P1: 462.31", "P1: 462,31"), encoding="utf-8")
    before = sorted(samples.rglob("*"))
    for arguments in (("--csv", "out"), ("--sqlite", "out.sqlite")):
        done = run("export", *arguments, cwd=samples)
        assert done.returncode == 1
        assert "nothing was written" in done.stdout
        assert "weighings.yaml" in done.stdout
    assert sorted(samples.rglob("*")) == before
    assert exported(run, samples, "heron-07")["builds"]  # what is sound can still go out


def test_a_build_whose_figures_would_be_wrong_goes_out_without_them(book: Book, run: Run) -> None:
    limits = "units: {length: mm}\nlimits: {top_ring_gap: {min: 0.50, max: 0.40}}\n"
    book.write("engines/twin/first/build.yaml", f"format: 1\nengine: twin\nbuild: first\n{limits}")
    book.write("parts.yaml", PARTS)
    book.write("weighings.yaml", weighings(*ALL_WEIGHED))
    done = run("export", "--csv", "out", cwd=book.root)
    assert done.returncode == 1
    assert "1 error" in done.stdout
    with (book.root / "out" / "weighings.csv").open(encoding="utf-8-sig", newline="") as file:
        assert len(list(csv.DictReader(file))) == 8
    with (book.root / "out" / "figures.csv").open(encoding="utf-8-sig", newline="") as file:
        assert not list(csv.DictReader(file))


def test_a_later_decision_counts_and_the_first_stays(book: Book, run: Run) -> None:
    book.write("parts.yaml", PARTS)
    first = pairings("rod: R1, piston: P1, pin: N1", "rod: R2, piston: P2, pin: N2")
    again = """\
revised:
  - id: D2
    decided: {taken: 2026-10-05T08:00+01:00, by: ava}
    because: dropped
    cylinders:
      1: {rod: R2, piston: P1, pin: N1}
      2: {rod: R1, piston: P2, pin: N2}
"""
    book.write("pairings.yaml", first + again)
    rows = exported(run, book.root)["pairings"]
    rods = [row for row in rows if row["kind"] == "rod"]
    assert [(row["decision"], row["cylinder"], row["piece"], row["counts"]) for row in rods] == [
        (1, "1", "R1", 0), (1, "2", "R2", 0), (2, "1", "R2", 1), (2, "2", "R1", 1),
    ]  # fmt: skip
    assert rows[-1]["because"] == "dropped"


@pytest.mark.parametrize("arguments", [(), ("--csv", "a", "--sqlite", "b")])
def test_where_it_goes_has_to_be_said_once(run: Run, samples: Path, arguments: tuple[str, ...]) -> None:
    done = run("export", *arguments, cwd=samples)
    assert (done.returncode, done.stdout) == (2, "")
    assert "add --csv FOLDER or --sqlite FILE" in done.stderr


def test_json_counts_the_rows_of_every_table(run: Run, samples: Path) -> None:
    done = run("export", "magpie-02", "--csv", "out", "--json", cwd=samples)
    said = json.loads(done.stdout)
    assert (said["build"], said["findings"]) == ("magpie-02", [])
    assert said["figures"]["export"]["csv"] == "out"
    assert said["figures"]["export"]["rows"]["builds"] == 1
