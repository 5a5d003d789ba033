"""Every way to depart from a schema is told in plain words at the exact spot, and no cache hides any."""
# ruff: noqa: E501, because a table is read row by row

import os
import re
import shutil
import socket
import subprocess
import sys
from pathlib import Path

import pytest
from conftest import Book

from buildbook.book import schema
from buildbook.book.loader import parse
from buildbook.book.places import data_folder
from buildbook.book.reading import Reader
from buildbook.book.schema import Passed, check_tree
from buildbook.records.finding import Finding
from buildbook.records.read import BUILD_FILES

KINDS = ("shop", "engine", *BUILD_FILES)

WEIGHED = """\
format: 1
units: {mass: g}
sessions:
  - id: W1
    taken: 2026-10-03T09:10+01:00
    by: ava
    with: scale
    what: piston
    readings: {P1: 655.3}
"""

# Words and marks by which a validator talks to programmers.
RAW = re.compile(
    r"is not valid under|is not of type|does not match|is a required property|[Aa]dditional propert|was expected"
    r"|is not one of|instance|schema|regex|\^\[|\\d|Decimal\(|None|True|False|\{'|\['|\$ref|const|enum"
)


def check(kind: str, text: str) -> list[Finding]:
    root, findings = parse(text, f"{kind}.yaml")
    assert root is not None, findings
    return check_tree(kind, root)


def session(fields: str) -> str:
    return f"format: 1\nunits: {{mass: g}}\nsessions:\n  - {{id: W1, what: rod, {fields}}}\n"


def build(fields: str) -> str:
    return f"format: 1\nengine: twin\nbuild: first\n{fields}\n"


# kind, text, rule, line, column, what, and what the remedy says
DEPARTURES = [
    # a field that nobody knows is shown at its own name, with the nearest there is
    ("weighings", session("raedings: {R1: 1.0}"), "unknown-field", 4, 25, "'raedings' is not a field of session", "did you mean readings? or use one of"),
    ("weighings", "format: 1\nsesions: []\n", "unknown-field", 2, 1, "'sesions' is not a field of weighings", "did you mean sessions? or use one of"),
    ("weighings", session("mood: good"), "unknown-field", 4, 25, "'mood' is not a field of session", "remarks go into 'note'"),
    ("weighings", session("readings: {R 1: 1.0}"), "unknown-field", 4, 36, "'R 1' is not a field of readings", "name it like R1"),
    ("pairings", "format: 1\ncylinders:\n  one: {rod: R1}\n", "unknown-field", 3, 3, "'one' is not a field of cylinders", "name it like 1"),
    ("shop", "format: 1\npeople:\n  ava: {name: Ava, mail: a@b.example}\n", "unknown-field", 3, 20, "'mail' is not a field", "did you mean email? or use one of"),
    # a missing field is missing from the group that should have it
    ("weighings", "format: 1\nsessions:\n  - id: W1\n", "missing-field", 3, 5, "'what' is missing here", "add what: rod_big_end"),
    ("weighings", "# nothing\nunits: {mass: g}\n", "missing-field", 2, 1, "'format' is missing here", "add format: 1"),
    ("weighings", session("lot: {total: 3.0}"), "missing-field", 4, 30, "'pieces' is missing here", "add pieces: 16"),
    # the wrong type
    ("weighings", session("readings: 5"), "wrong-type", 4, 35, "Readings is '5', not a group of fields", "{R1: 611.4"),
    ("weighings", session("readings: [5]"), "wrong-type", 4, 35, "Readings is a list, not a group of fields", "{R1: 611.4"),
    ("weighings", session("readings: {R1: {a: b}}"), "wrong-type", 4, 40, "a group of fields, not a number or a list", "611.4"),
    ("weighings", "format: 1\nsessions:\n  - id: W1\n    what: rod\n    readings:\n      R1:\n", "wrong-type", 6, 10, "Reading is empty, not a number or a list", "611.4"),
    ("weighings", session("readings: {R1: true}"), "quantity", 4, 40, "'true' is not a number", "611.4"),
    ("weighings", session("readings: {R1: [heavy]}"), "quantity", 4, 41, "'heavy' is not a number", "611.4"),
    ("weighings", "format: 1\nsessions: {}\n", "wrong-type", 2, 11, "Sessions is a group of fields, not a list", "correct it"),
    ("weighings", "format: 1\nsessions:\n  - W1\n", "wrong-type", 3, 5, "Session is 'W1', not a group of fields", "correct it"),
    ("weighings", session("lot: {total: 3.0, pieces: many}"), "wrong-type", 4, 51, "Pieces is 'many', not a whole number", "16"),
    ("weighings", session("lot: {total: 3.0, pieces: 1.5}"), "wrong-type", 4, 51, "Pieces is '1.5', not a whole number", "16"),
    ("build", build("balance: {factor: half}"), "quantity", 4, 19, "'half' is not a number", "write plain digits"),
    ("build", build("balance: {factor: 50 %}"), "quantity", 4, 19, "'50 %' is not a number", "write plain digits"),
    # a bare number where a name or a text belongs
    ("weighings", session("note: 12"), "wrong-type", 4, 31, "Note is '12', not a text", 'put it in quotes if it is a name: "12"'),
    ("weighings", session("with: 12.5"), "wrong-type", 4, 31, "With what is '12.5', not a text", 'quotes if it is a name: "12.5"'),
    ("weighings", session("note: true"), "wrong-type", 4, 31, "Note is 'true', not a text", '"true"'),
    ("build", "format: 1\nengine: twin\nbuild: 2026\n", "wrong-type", 3, 8, "Build is '2026', not a text", '"2026"'),
    ("shop", "format: 1\ninstruments:\n  s: {kind: scale, resolution: 0.1}\n", "wrong-type", 3, 32, "Resolution is '0.1', not a text", "0.1 g"),
    # units
    ("weighings", "format: 1\nunits: {mass: mm}\n", "unit", 2, 15, "mm is a unit of length, not of mass", "use one of: g, kg"),
    ("weighings", "format: 1\nunits: {mass: grams}\n", "unknown-word", 2, 15, "'grams' is not a known mass", "did you mean gr?"),
    ("weighings", session("readings: {R1: 611 mm}"), "quantity", 4, 40, "'611 mm' is a length, where a mass belongs", "g, kg"),
    ("weighings", session("readings: {R1: '611 mm'}"), "quantity", 4, 40, "'611 mm' is a length, where a mass belongs", "g, kg"),
    ("weighings", session("readings: {R1: [611.0, 611 mm]}"), "quantity", 4, 48, "'611 mm' is a length", "g, kg"),
    ("weighings", session("readings: {R1: 2 stone}"), "quantity", 4, 40, "'stone' is not a unit known here", "use one of g, kg"),
    ("weighings", session("readings: {R1: '611,4'}"), "quantity", 4, 40, "'611,4' has a decimal comma", "write it with a point"),
    ("weighings", session("readings: {R1: '1_000'}"), "quantity", 4, 40, "'1_000' has an underscore in it", "write the digits"),
    ("build", build("limits: {bobweight_set: {within: 1 mm}}"), "quantity", 4, 34, "'1 mm' is a length, where a mass", "g, kg"),
    ("shop", "format: 1\ninstruments:\n  s: {kind: scale, resolution: 0.1 gg}\n", "shape", 3, 32, "'0.1 gg' will not do for Resolution", "0.1 g"),
    # a word that is not in the list
    ("weighings", "format: 1\nsessions:\n  - {id: W1, what: rods}\n", "unknown-word", 3, 20, "'rods' is not a known what", "did you mean rod?"),
    ("weighings", "format: 1\nsessions:\n  - {id: W1, what: bolt}\n", "unknown-word", 3, 20, "'bolt' is not a known what", "use one of: rod,"),
    ("weighings", "format: 1\nsessions:\n  - {id: W1, what: [rod]}\n", "wrong-type", 3, 20, "What is a list, not a text", "rod_big_end"),
    # a text of the wrong shape
    ("weighings", session("taken: 3 October"), "shape", 4, 32, "'3 October' will not do for When", "2026-10-03T09:10+01:00"),
    ("weighings", session('taken: "2026-10-03\\n"'), "shape", 4, 32, "will not do for When", "2026-10-03"),
    ("weighings", session("by: a b"), "shape", 4, 29, "'a b' will not do for By whom", "for example ava"),
    ("weighings", session("note: ''"), "shape", 4, 31, "'' will not do for Note", "correct it"),
    # out of range, empty, another format
    ("weighings", session("readings: {R1: 0}"), "out-of-range", 4, 40, "Reading is '0'; it is more than 0", "611.4"),
    ("weighings", session("lot: {total: 1.0, pieces: 0}"), "out-of-range", 4, 51, "Pieces is '0'; it is at least 1", "16"),
    ("weighings", session("readings: {}"), "empty", 4, 35, "Readings is empty", "fill it in, or delete it"),
    ("weighings", session("readings: {R1: []}"), "empty", 4, 40, "Reading is empty", "fill it in, or delete it"),
    ("weighings", "format: 2\n", "format", 1, 9, "Format is '2'", "write 1"),
    ("weighings", "format: one\n", "format", 1, 9, "Format is 'one'", "write 1"),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "text", "rule", "line", "column", "what", "remedy"), DEPARTURES)
def test_a_departure_is_told_in_plain_words_at_the_exact_spot(
    kind: str, text: str, rule: str, line: int, column: int, what: str, remedy: str
) -> None:
    findings = check(kind, text)
    at = [finding for finding in findings if (finding.rule, *finding.where[1:]) == (rule, line, column)]
    assert len(at) == 1, findings
    assert what in at[0].what
    assert remedy in at[0].remedy
    assert len(findings) <= 2
    for finding in findings:
        assert finding.severity == "error"
        assert finding.why.endswith(".")
        assert not RAW.search(f"{finding.what} {finding.remedy}"), finding
        assert len(finding.what) < 120


def test_a_misspelt_field_that_is_also_required_is_two_findings() -> None:
    findings = check("weighings", "format: 1\nsessions:\n  - {id: W1, waht: rod}\n")
    assert [(finding.rule, *finding.where[1:]) for finding in findings] == [
        ("missing-field", 3, 5),
        ("unknown-field", 3, 14),
    ]


def test_findings_come_in_the_order_of_the_file() -> None:
    text = "format: 2\nunits: {mass: mm}\nsessions:\n  - {id: W1, what: rods}\n  - {id: W2, what: rod, note: 5}\n"
    assert [finding.where.line for finding in check("weighings", text)] == [1, 2, 4, 5]


@pytest.mark.parametrize("kind", KINDS)
def test_whatever_stands_in_a_file_is_told_in_plain_words(kind: str) -> None:
    odd = ["5", "[]", "{}", "text", "'5'", "true", "~", "[[1]]", "{a: {b: c}}", "'12,5'", "-1", "99999999999999999999"]
    fields = re.findall(r'^ {4}"(\w+)": \{', schema.schema_text(kind), re.MULTILINE)
    assert len(fields) >= 4
    for field in fields:
        for value in odd:
            before = "" if field == "format" else "format: 1\n"
            for finding in check(kind, f"{before}{field}: {value}\n"):
                assert not RAW.search(f"{finding.what} {finding.remedy}".replace("reconst", "")), finding
                assert 1 <= finding.where.line <= 2


@pytest.mark.parametrize("text", ["611.4", "'611.4 g'", "21.59 oz", "0.6114kg", "[611.4, '21.59 oz']"])
def test_a_number_with_or_without_its_own_unit_passes(text: str) -> None:
    assert check("weighings", session(f"readings: {{R1: {text}}}")) == []


# the cache


def passed(cache: Path) -> list[str]:
    file = cache / "buildbook" / "passed"
    return file.read_text().split() if file.exists() else []


@pytest.fixture
def cache(tmp_path: Path) -> Path:
    return tmp_path / "home" / "cache"


def test_what_passed_is_remembered_and_what_changed_is_looked_at_again(book: Book, cache: Path) -> None:
    book.write("weighings.yaml", WEIGHED)
    assert Reader(book.root).load("twin/first").findings == ()
    remembered = passed(cache)
    assert len(remembered) == 4  # shop, engine, build, weighings
    assert Reader(book.root).load("twin/first").findings == ()
    assert passed(cache) == remembered
    path = book.write("weighings.yaml", WEIGHED.replace("what: piston", "what: pistn"))
    loaded = Reader(book.root).load("twin/first")
    assert loaded.build is None
    assert [(finding.rule, finding.where.line) for finding in loaded.findings] == [("unknown-word", 8)]
    assert passed(cache) == remembered
    path.write_text(WEIGHED)
    assert Reader(book.root).load("twin/first").findings == ()


def test_a_finding_is_found_again_at_every_reading(book: Book) -> None:
    book.write("weighings.yaml", WEIGHED.replace("what: piston", "what: pistn"))
    first, second = (Reader(book.root).load("twin/first").findings for _ in range(2))
    assert first == second != ()


def test_a_doubt_that_lets_a_file_pass_is_not_hidden_by_the_cache(book: Book) -> None:
    book.write("weighings.yaml", "\ufeff" + WEIGHED.replace("\n", "\r\n"))
    for _ in range(2):
        rules = [finding.rule for finding in Reader(book.root).load("twin/first").findings]
        assert rules == ["byte-order-mark", "line-ends"]


def test_a_file_that_passed_as_one_kind_has_not_passed_as_another(book: Book) -> None:
    text = "format: 1\nunits: {mass: g}\nsessions:\n  - {id: W1, what: rod, readings: {R1: 611.4}}\n"
    book.write("weighings.yaml", text)
    assert Reader(book.root).load("twin/first").build is not None
    book.write("clearances.yaml", text)
    assert Reader(book.root).load("twin/first").build is None


def test_a_changed_schema_or_version_looks_at_everything_again(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def key() -> str:
        schema._schema_digest.cache_clear()
        return Passed().key("weighings", b"format: 1\n")

    before = key()
    with monkeypatch.context() as patch:
        patch.setattr(schema, "_reading_code", lambda: b"another")
        assert key() != before
    theirs = Path(shutil.copytree(data_folder("schemas"), tmp_path / "schemas"))
    with monkeypatch.context() as patch:
        patch.setattr(schema, "data_folder", lambda name: theirs)
        assert key() == before
        text = (theirs / "weighings.schema.json").read_text()
        (theirs / "weighings.schema.json").write_text(text.replace('"minLength": 1', '"minLength": 2'))
        assert key() != before
    assert key() == before


@pytest.mark.parametrize("spoiled", ["bytes", "cut", "folder", "file in the way"])
def test_a_spoiled_cache_does_no_harm(book: Book, cache: Path, spoiled: str) -> None:
    book.write("weighings.yaml", WEIGHED)
    bad = WEIGHED.replace("what: piston", "what: pistn")
    assert Reader(book.root).load("twin/first").findings == ()
    file = cache / "buildbook" / "passed"
    whole = file.read_text()
    if spoiled == "bytes":
        file.write_bytes(b"\xff\xfe\0" * 100)
    elif spoiled == "cut":
        file.write_text(whole[: len(whole) // 2 - 7])
    else:
        shutil.rmtree(cache)
        if spoiled == "folder":
            file.mkdir(parents=True)
        else:
            cache.write_text("in the way")
    assert Reader(book.root).load("twin/first").findings == ()
    book.write("weighings.yaml", bad)
    assert [finding.rule for finding in Reader(book.root).load("twin/first").findings] == ["unknown-word"]


def test_a_cache_that_has_grown_large_starts_again(cache: Path, book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    Reader(book.root).load("twin/first")
    monkeypatch.setattr(schema, "_REMEMBERED_MOST", 100)
    book.write("weighings.yaml", WEIGHED)
    Reader(book.root).load("twin/first")
    assert len(passed(cache)) == 1


def test_a_user_without_a_home_has_no_cache_and_no_trouble(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    def nobody() -> Path:
        raise RuntimeError("Could not determine home directory.")

    monkeypatch.delenv("XDG_CACHE_HOME")
    monkeypatch.setattr(Path, "home", nobody)
    assert Reader(book.root).load("twin/first").build is not None


def test_jsonschema_is_imported_only_where_something_is_wrong(book: Book) -> None:
    code = (
        "import sys; from pathlib import Path; from buildbook.book.reading import Reader\n"
        "print(Reader(Path(sys.argv[1])).load('twin/first').build is not None, 'jsonschema' in sys.modules)"
    )

    def said() -> bytes:
        run = [sys.executable, "-c", code, str(book.root)]
        return subprocess.run(run, env=os.environ, capture_output=True, check=True).stdout

    assert said() == b"True False\n"
    book.write("weighings.yaml", WEIGHED.replace("what: piston", "what: pistn"))
    assert said() == b"False True\n"


def test_nothing_ever_goes_to_the_network(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("a socket was opened")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    monkeypatch.setattr(socket, "getaddrinfo", refuse)
    for kind in KINDS:
        text = schema.schema_text(kind)
        assert '"$id"' not in text
        assert set(re.findall(r'"\$ref": "([^"]*)"', text)) <= set(re.findall(r'"\$ref": "(#/\$defs/\w+)"', text))
        check(kind, "format: 2\nsessions: 5\n")
