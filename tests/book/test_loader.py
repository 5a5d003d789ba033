"""YAML's own traps are findings at the exact spot: not crashes, not silent, and not slow."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from buildbook.book.loader import LARGEST, decode, parse
from buildbook.quantities import MOST_DIGITS
from buildbook.records.finding import Finding
from buildbook.records.tree import ListNode, MapNode, Node, TextNode

SAMPLES = sorted((Path(__file__).parents[2] / "sample_builds").rglob("*.yaml"))


def read(content: str | bytes) -> tuple[MapNode | None, list[Finding]]:
    """What a file with this content says, and all that is wrong with it."""
    text, findings = decode(content if isinstance(content, bytes) else content.encode(), "f.yaml")
    if text is None:
        return None, findings
    root, more = parse(text, "f.yaml")
    return root, [*findings, *more]


def found(content: str | bytes) -> list[tuple[str, str, int, int]]:
    return [(each.severity, each.rule, each.where.line, each.where.column) for each in read(content)[1]]


def value(content: str | bytes) -> object:
    root, findings = read(content)
    assert root is not None, findings
    return root.value


BOMB = "a: &a [lol, lol]\n" + "".join(
    f"{name}: &{name} [{', '.join([f'*{before}'] * 9)}]\n" for before, name in zip("abcdefgh", "bcdefghi", strict=True)
)

# content, rule, line, column: none of these is read
REFUSED: list[tuple[str | bytes, str, int, int]] = [
    ("format: 1\nreadings: {R1: 1}\nformat: 1\n", "duplicate-key", 3, 1),
    ("a: {R1: 611.4, R2: 611.9, R1: 612.0}\n", "duplicate-key", 1, 27),
    ("a: 1\n'a': 2\n", "duplicate-key", 2, 1),
    ("R1: 1_000\n", "ambiguous", 1, 5),
    ("R1: 12.500_0\n", "ambiguous", 1, 5),
    ("a: {R1: 010}\n", "ambiguous", 1, 9),
    ("a:\n  - 007\n", "ambiguous", 2, 5),
    ("010: 5\n", "ambiguous", 1, 1),
    ("a: {R1: 12,5}\n", "no-value", 1, 12),
    ("a: {R1: 611,4, R2: 611.9}\n", "no-value", 1, 13),
    ("a: {R1:12.5}\n", "no-value", 1, 5),
    ("a: {rod}\n", "no-value", 1, 5),
    ("a: 1:30\n", "ambiguous", 1, 4),
    ("a: [190:20:30]\n", "ambiguous", 1, 5),
    ("a: .nan\n", "ambiguous", 1, 4),
    ("a: -.inf\n", "ambiguous", 1, 4),
    ("a: 1e5\n", "ambiguous", 1, 4),
    ("a: 0x1F\n", "ambiguous", 1, 4),
    ("a: 0o17\n", "ambiguous", 1, 4),
    ("a: 0b11\n", "ambiguous", 1, 4),
    ("a:\n\tb: 1\n", "yaml", 2, 1),
    ("a:\n  - b: 1\n\t- c: 1\n", "yaml", 3, 1),
    ("a: &here 1\n", "anchor", 1, 4),
    ("a: *there\n", "anchor", 1, 4),
    (BOMB, "anchor", 1, 4),
    ("a: &a {b: 1}\nc: {<<: *a}\n", "anchor", 1, 4),
    ("a:\n  <<: {b: 1}\n", "merge", 2, 3),
    ("<<: {b: 1}\n", "merge", 1, 1),
    ("a: !mine 1\n", "tag", 1, 4),
    ("a: !!python/object:os.system {}\n", "tag", 1, 4),
    ("a: !!float 1\n", "tag", 1, 4),
    ("a: [b, !<tag]\n", "tag", 1, 8),
    ("a: &no:name 1\n", "anchor", 1, 4),
    ("a: &\n", "anchor", 1, 4),
    ("? [a, b]\n: 1\n", "complex-key", 1, 3),
    ("a: {{b: 1}: 2}\n", "complex-key", 1, 5),
    ("a: " + "[" * 100_000, "deep-nesting", 1, 35),
    ("a: " + "[" * 100_000 + "]" * 100_000 + "\n", "deep-nesting", 1, 35),
    ("{a: " * 50_000, "deep-nesting", 1, 129),
    ("".join("  " * depth + "a:\n" for depth in range(40)), "deep-nesting", 33, 65),
    ("", "empty-file", 1, 1),
    ("# nothing yet\n\n# at all\n", "empty-file", 1, 1),
    ("---\n", "empty-file", 1, 1),
    ("~\n", "empty-file", 1, 1),
    ("- a: 1\n- b: 2\n", "no-fields", 1, 1),
    ("\n  just words\n", "no-fields", 2, 3),
    ("a: 1\n---\nb: 2\n", "second-document", 3, 1),
    ("a: 1\n...\n---\n- b\n", "second-document", 4, 1),
    ("a: 'never closed\nb: 2\n", "yaml", 3, 1),
    ('a: "never closed\nb: 2\n', "yaml", 3, 1),
    ("a: [1, 2\nb: 3\n", "yaml", 2, 2),
    ("a: {b: 1\n", "yaml", 2, 1),
    ("a: [1, , 2]\n", "yaml", 1, 8),
    ("{a: 1}}\n", "yaml", 1, 7),
    ("a: 'b' c\n", "yaml", 1, 8),
    ("a: 1\nb:2\nc: 3\n", "yaml", 3, 1),
    ("note: bore 5: honed\n", "yaml", 1, 13),
    ("a: 1\n  b: 2\n", "yaml", 2, 4),
    ("a:\n  - 1\n - 2\n", "yaml", 3, 2),
    ("a:\n  - b: 1\n   c: 2\n", "yaml", 3, 4),
    ("a: @x\n", "yaml", 1, 4),
    ("a: %x\n", "yaml", 1, 4),
    ("café: 1\n".encode("latin-1"), "not-text", 1, 4),
    ("a: 1\nb: café\n".encode("latin-1"), "not-text", 2, 7),
    ("a: 1\n".encode("utf-16"), "not-text", 1, 1),
    ("a: 1\n".encode("utf-16-le"), "not-text", 1, 2),
    (b"a: 1\nb: \0\n", "not-text", 2, 4),
    (b"\x89PNG\r\n\x1a\n", "not-text", 1, 1),
    ("a: 1\nb: x\x07\n", "not-text", 2, 5),
    ("a: b\x1b[31m\n", "not-text", 1, 5),
    ("a: b\u0085c: d\n", "not-text", 1, 5),
    ("a: b\u2028c\n", "not-text", 1, 5),
    ("a: \ufeffb\n", "not-text", 1, 4),
]


@pytest.mark.parametrize(("content", "rule", "line", "column"), REFUSED)
def test_a_trap_is_an_error_at_the_exact_spot(content: str | bytes, rule: str, line: int, column: int) -> None:
    root, findings = read(content)
    assert root is None
    assert [(each.rule, *each.where[1:]) for each in findings if each.severity == "error"][-1] == (rule, line, column)
    assert all(each.what and each.why and each.remedy for each in findings)


# content, value, and the findings that do not keep it from being read
READ = [
    ("\ufeffa: 1\n", {"a": 1}, ("warning", "byte-order-mark", 1, 1)),
    ("a: 1\r\nb: 2\r\n", {"a": 1, "b": 2}, ("note", "line-ends", 1, 5)),
    ("a: 1\r\nb: 2\n", {"a": 1, "b": 2}, ("warning", "line-ends", 2, 5)),
    ("a: 1\nb: 2\r\n", {"a": 1, "b": 2}, ("warning", "line-ends", 1, 5)),
    ("a: 1\rb: 2\r\n", {"a": 1, "b": 2}, ("warning", "line-ends", 1, 5)),
    ("a: yes\n", {"a": "yes"}, ("warning", "ambiguous", 1, 4)),
    ("a: [Off]\n", {"a": ["Off"]}, ("warning", "ambiguous", 1, 5)),
    ("on: 1\n", {"on": 1}, ("warning", "ambiguous", 1, 1)),
    ("a: {N: 1}\n", {"a": {"N": 1}}, ("warning", "ambiguous", 1, 5)),
]


@pytest.mark.parametrize(("content", "expected", "finding"), READ)
def test_what_is_only_doubtful_is_read_and_said(
    content: str, expected: object, finding: tuple[str, str, int, int]
) -> None:
    assert value(content) == expected
    assert found(content) == [finding]


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        ("{taken: 2026-10-03T09:10+01:00}\n", {"taken": "2026-10-03T09:10+01:00"}),
        ("a: [{t: T09:10:00.5, b: x:y}]\n", {"a": [{"t": "T09:10:00.5", "b": "x:y"}]}),
        ("taken: 2026-10-03T09:10+01:00\n", {"taken": "2026-10-03T09:10+01:00"}),
        ("note: 'one: two'\n", {"note": "one: two"}),
        ("a: '12,5'\n", {"a": "12,5"}),
        ("a: 12,5\n", {"a": "12,5"}),
        ("a: ['1_000', \"010\", '1:30', '.nan', 'yes']\n", {"a": ["1_000", "010", "1:30", ".nan", "yes"]}),
        ("a: 633.0\nb: 1\nc: -0.5\nd: .25\n", {"a": 633.0, "b": 1, "c": -0.5, "d": 0.25}),
        ("a: true\nb: null\nc:\nd: ~\n", {"a": True, "b": None, "c": None, "d": None}),
        ("P1+N1: 655.3\n1: {2: left}\n", {"P1+N1": 655.3, "1": {"2": "left"}}),
        ("--- # a start\na: 1\n... # an end\n", {"a": 1}),
        ("a: |\n  one: two\n  three\nb: >-\n  folded\n  up\n", {"a": "one: two\nthree\n", "b": "folded up"}),
        ("a: inf\nb: nan\n", {"a": "inf", "b": "nan"}),
        ("a: größer als 5 µm\n", {"a": "größer als 5 µm"}),
    ],
)
def test_what_is_plain_is_read_without_a_word(content: str, expected: object) -> None:
    assert value(content) == expected
    assert found(content) == []


def test_a_decimal_comma_is_told_with_the_number_that_was_meant() -> None:
    (finding,) = read("a: {R1: 611,4}\n")[1]
    assert finding.what == "'611,4' reads as 611 and then a field named 4"
    assert finding.remedy == "for a decimal, write 611.4"


def test_a_missing_space_after_the_colon_is_named() -> None:
    (finding,) = read("a: {R1:12.5}\n")[1]
    assert finding.what == "'R1:12.5' has no value"
    assert finding.remedy == "put a space after the colon: 'R1: 12.5'"


def test_a_file_too_large_for_a_ledger_is_not_even_parsed() -> None:
    assert found(b"a" * (LARGEST + 1)) == [("error", "not-ledger", 1, 1)]


def test_the_longest_number_is_only_a_number_that_is_too_long() -> None:
    digits = "9" * 5_000
    root, findings = read(f"a: {digits}\nb: {digits}.5\n")
    assert findings == []
    assert root is not None
    assert isinstance(root.value["a"], float)
    assert value(f"a: {'9' * MOST_DIGITS}\n") == {"a": 10**MOST_DIGITS - 1}


def test_every_trap_of_a_file_is_found_in_one_reading() -> None:
    content = "a: 1_000\nb: {R1: 12,5}\nb: 2\nc: 010\n"
    assert [(rule, line) for _, rule, line, _ in found(content)] == [
        ("ambiguous", 1),
        ("no-value", 2),
        ("duplicate-key", 3),
        ("ambiguous", 4),
    ]


@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_places_are_counted_in_characters_whatever_stands_before_them(line_end: str) -> None:
    lines = ["größe: {Ärger: µ, maß: 🔧}", "# ½ ✓", "ключ: 🔧🔧 # 🔧", "a: {é: 1, 🔧: 2}", ""]
    text = line_end.join(lines)
    root, _ = read(text)
    assert root is not None
    for key, line, column in [("größe", 1, 1), ("ключ", 3, 1), ("a", 4, 1)]:
        assert root.keys[key].where[1:] == (line, column)
    inner = root.values["a"]
    assert isinstance(inner, MapNode)
    assert inner.keys["🔧"].where[1:] == (4, 11)
    for node in nodes(root):
        if isinstance(node, TextNode):
            assert text[node.start : node.end] == node.text
            line_start = sum(len(each) + len(line_end) for each in lines[: node.where.line - 1])
            assert line_start + node.where.column - 1 == node.start


def nodes(node: Node) -> list[Node]:
    if isinstance(node, TextNode):
        return [node]
    inner = node.items if isinstance(node, ListNode) else [*node.keys.values(), *node.values.values()]
    return [node, *(each for child in inner for each in nodes(child))]


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: "-".join(path.parts[-3:]))
def test_every_value_of_a_sample_is_where_the_tree_says(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    root, findings = parse(text, "f.yaml")
    assert findings == []
    assert root is not None
    lines = text.splitlines(keepends=True)
    for node in nodes(root):
        before = "".join(lines[: node.where.line - 1])
        assert len(before) + node.where.column - 1 == node.start
        written = text[node.start : node.end]
        if isinstance(node, TextNode):
            assert written == node.text or written[0] in "'\""
        elif node.flow:
            assert (written[0], written[-1]) in {("{", "}"), ("[", "]")}
        assert not written.endswith((" ", "\n"))


def dump(node: Node | None) -> object:
    """A tree with every text and place, as JSON has it."""
    if node is None:
        return None
    place = [*node.where, node.start, node.end]
    if isinstance(node, TextNode):
        return [node.text, node.plain, *place]
    if isinstance(node, ListNode):
        return [[dump(item) for item in node.items], node.flow, *place]
    return [[[dump(node.keys[key]), dump(inner)] for key, inner in node.values.items()], node.flow, *place]


def all_that_is_read(content: bytes) -> object:
    """The tree and the findings; not the parser's own words, which no two parsers share."""
    root, findings = read(content)
    told = [[each.severity, each.rule, *each.where, each.what, each.remedy] for each in findings]
    return json.loads(json.dumps([dump(root), told]))


WITHOUT_C = """
import sys

class NoCPart:
    def find_spec(self, name, path=None, target=None):
        if name in {"_ruamel_yaml", "ruamel.yaml.clib"}:
            raise ImportError(name)

sys.meta_path.insert(0, NoCPart())
sys.path.insert(0, sys.argv[1])
import json
from test_loader import all_that_is_read
from buildbook.book.loader import has_c_parser

assert not has_c_parser()
assert "_ruamel_yaml" not in sys.modules
print(json.dumps([all_that_is_read(bytes.fromhex(each)) for each in json.load(sys.stdin)]))
"""


def test_without_the_c_part_every_file_and_every_trap_reads_the_same(tmp_path: Path) -> None:
    pytest.importorskip("_ruamel_yaml", reason="the C part is not installed, so there is nothing to compare with")
    traps: list[str | bytes] = [*(row[0] for row in REFUSED), *(row[0] for row in READ)]
    odd = ["a:   # nothing\n\nb:\n  - c:\n\n  - d: 1\n", "sessions:\n# later\n", "a: {b: , c: 1}\n", "a: [1, 2,]\n"]
    contents = [each if isinstance(each, bytes) else each.encode() for each in [*traps, *odd]]
    contents += [path.read_bytes() for path in SAMPLES]
    process = subprocess.run(
        [sys.executable, "-W", "error", "-c", WITHOUT_C, str(Path(__file__).parent)],
        input=json.dumps([content.hex() for content in contents]),
        env=os.environ | {"PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert process.returncode == 0, process.stderr
    for content, pure in zip(contents, json.loads(process.stdout), strict=True):
        assert pure == all_that_is_read(content), content[:200]
