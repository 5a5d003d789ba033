"""Whatever happens to a file, working out the build raises nothing, and every finding has a place inside its file."""

import re
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

import pytest
from conftest import SAMPLES
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from buildbook.book.loader import parse
from buildbook.book.places import builds, engines
from buildbook.book.reading import Reader
from buildbook.figures import work_out
from buildbook.records.finding import Finding
from buildbook.records.tree import ListNode, Node, TextNode

FILES = sorted(path.relative_to(SAMPLES) for path in SAMPLES.rglob("*.yaml"))
BUILDS = [f"{engine}/{build}" for engine in engines(SAMPLES) for build in builds(SAMPLES, engine)]

mutations = settings(
    max_examples=200,
    suppress_health_check=[*settings().suppress_health_check, HealthCheck.differing_executors],
)
files = st.sampled_from(FILES)
ODD = [
    *("0", "-5", "0.0", "1", "7", "12.50", "5.", ".5", "+3", "99999999", "999999999999999999", "9" * 30, "9" * 5000),
    *("010", "1_000", "1:30", "12,5", "1e9", "0x1F", ".nan", "-.inf", "'5'", "'0'", "0 g", "5 mm", "5 oz", "5 stone"),
    *("", "~", "null", "true", "no", "''", "' '", "x", "R1", "P1", "P1+N1", "N1+P1", "+", "left", "W1", "i4", "ava"),
    *("2026-10-03", "2026-02-30", "0001-01-01T00:00+14:00", "9999-12-31T23:59-14:00", "2026-10-03T09:10Z"),
    *("[]", "{}", "[1, 2]", "[x]", "[[1]]", "{a: 1}", "{1: 1}", "{1: {rod: R1}}", "[{id: W1}]", "[null]", "{a: }"),
    *("&a 1", "*a", "!x 1", "<<", "- 1", "a: b", "#", "'", '"', "|", "> x", "@", "`", "%", "?", ",", ":", "---", "..."),
    *("ü" * 300, "🔧", "\u202eabc", "\ufeff", "\0", "\t", "\n", "\r", "a\nb: c"),
]  # fmt: skip


@cache
def original(file: Path) -> bytes:
    return (SAMPLES / file).read_bytes()


@cache
def scalars(file: Path) -> list[tuple[int, int]]:
    """Where each key and each value of a sample stands."""

    def inside(node: Node) -> Iterator[TextNode]:
        if isinstance(node, TextNode):
            yield node
        elif isinstance(node, ListNode):
            for item in node.items:
                yield from inside(item)
        else:
            for name, value in node.items():
                yield node.keys[name]
                yield from inside(value)

    root, _ = parse(original(file).decode(), str(file))
    assert root is not None
    return sorted((node.start, node.end) for node in inside(root))


@pytest.fixture
def survives(samples: Path) -> Callable[[Path, bytes], None]:
    """Puts changed content in a sample's place, reads and works out all that it concerns, and puts the sample back."""

    unchanged = Reader(samples)
    for name in BUILDS:
        unchanged.load(name)

    def is_survived(file: Path, content: bytes) -> None:
        (samples / file).write_bytes(content)
        concerned = [name for name in BUILDS if name.startswith("/".join(file.parts[1:-1]))]
        try:
            reader = Reader(samples)
            reader._files |= {path: read for path, read in unchanged._files.items() if path != samples / file}
            for name in concerned[:2]:
                read_and_work_out(reader, name)
        finally:
            (samples / file).write_bytes(original(file))

    return is_survived


def read_and_work_out(reader: Reader, name: str) -> None:
    loaded = reader.load(name)
    findings = list(loaded.findings)
    if loaded.build is not None:
        figures = work_out(loaded.build)
        findings += figures.findings
        for kind in figures.weighings.values():
            assert kind.count > 0
        if figures.has_layout:
            assert figures.pairing is None or figures.pairing.cylinders
            assert figures.bobweights.throws is not None
    else:
        assert any(finding.severity == "error" for finding in findings)
    for finding in findings:
        is_inside_its_file(finding)


def is_inside_its_file(finding: Finding) -> None:
    path = Path(finding.where.file)
    text = path.read_bytes().decode("utf-8", "replace").removeprefix("\ufeff") if path.is_file() else ""
    lines = [*re.split(r"\r\n|\r|\n", text), ""]
    assert 1 <= finding.where.line <= len(lines), finding
    assert 1 <= finding.where.column <= len(lines[finding.where.line - 1]) + 1, finding
    assert finding.what
    assert finding.why
    assert finding.remedy


@given(files, st.data())
@mutations
def test_lines_may_be_deleted_doubled_and_swapped(
    survives: Callable[[Path, bytes], None], file: Path, data: st.DataObject
) -> None:
    lines = original(file).splitlines(keepends=True)
    for _ in range(data.draw(st.integers(1, 4))):
        one, other = (data.draw(st.integers(0, len(lines) - 1)) for _ in range(2))
        match data.draw(st.sampled_from(["delete", "double", "swap", "indent", "move"])):
            case "delete" if len(lines) > 1:
                del lines[one]
            case "double":
                lines.insert(one, lines[one])
            case "indent":
                lines[one] = data.draw(st.sampled_from([b" ", b"  ", b"\t", b"- ", b"# "])) + lines[one]
            case "move":
                lines.insert(other, lines.pop(one))
            case _:
                lines[one], lines[other] = lines[other], lines[one]
    survives(file, b"".join(lines))


@given(files, st.data())
@mutations
def test_characters_may_be_changed(survives: Callable[[Path, bytes], None], file: Path, data: st.DataObject) -> None:
    text = original(file).decode()
    typed = st.sampled_from("0123456789.,:;-+_ \t\n\r#[]{}'\"&*!|>%@`?~aRPNWgmx") | st.characters(
        exclude_categories=["Cs"]
    )
    for _ in range(data.draw(st.integers(1, 4))):
        at, width = data.draw(st.integers(0, len(text))), data.draw(st.integers(0, 2))
        text = text[:at] + data.draw(st.text(typed, max_size=2)) + text[at + width :]
    survives(file, text.encode())


@given(files, st.data())
@mutations
def test_any_name_and_any_value_may_be_something_odd(
    survives: Callable[[Path, bytes], None], file: Path, data: st.DataObject
) -> None:
    text = original(file).decode()
    places = data.draw(st.lists(st.sampled_from(scalars(file)), min_size=1, max_size=3, unique=True))
    for start, end in sorted(places, reverse=True):
        text = text[:start] + data.draw(st.sampled_from(ODD)) + text[end:]
    survives(file, text.encode())


@given(files, st.data())
@mutations
def test_values_may_change_places(survives: Callable[[Path, bytes], None], file: Path, data: st.DataObject) -> None:
    text = original(file).decode()
    first, second = sorted(data.draw(st.lists(st.sampled_from(scalars(file)), min_size=2, max_size=2, unique=True)))
    one, other = text[first[0] : first[1]], text[second[0] : second[1]]
    survives(file, (text[: first[0]] + other + text[first[1] : second[0]] + one + text[second[1] :]).encode())


@given(files, st.data())
@mutations
def test_a_file_may_end_anywhere(survives: Callable[[Path, bytes], None], file: Path, data: st.DataObject) -> None:
    content = original(file)
    begin = data.draw(st.just(0) | st.integers(0, len(content)))
    survives(file, content[begin : begin + data.draw(st.integers(0, len(content)))])


@given(files, st.data())
@mutations
def test_any_bytes_may_stand_anywhere(survives: Callable[[Path, bytes], None], file: Path, data: st.DataObject) -> None:
    content = original(file)
    at, width = data.draw(st.integers(0, len(content))), data.draw(st.integers(0, 8))
    survives(file, content[:at] + data.draw(st.binary(min_size=1, max_size=12)) + content[at + width :])


@given(st.binary(max_size=200))
@mutations
def test_a_file_may_be_any_bytes_at_all(survives: Callable[[Path, bytes], None], content: bytes) -> None:
    survives(Path("engines/heron-07/2026-10-rebuild/weighings.yaml"), content)


@pytest.mark.parametrize("file", FILES, ids=str)
def test_any_file_may_be_missing(samples: Path, file: Path) -> None:
    (samples / file).unlink()
    reader = Reader(samples)
    for name in BUILDS:
        read_and_work_out(reader, name)
