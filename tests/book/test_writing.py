"""A record is added, every byte that was there stays, and what was given is what is read back."""

import os
import re
import subprocess
import sys
from collections.abc import Callable, Mapping
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from conftest import SAMPLES, Book
from hypothesis import given, settings
from hypothesis import strategies as st

from buildbook.book.loader import decode, parse
from buildbook.book.places import Misuse
from buildbook.book.schema import check_tree
from buildbook.book.writing import Value, edit, flow, replace, scalar, with_field, with_record
from buildbook.quantities import Quantity
from buildbook.records.tree import ListNode, MapNode, Node, TextNode

# Halves of characters are no text; one private character is how the loader reads a colon.
texts = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\ue000"))


def given_as(value: Value) -> object:
    """What is to be read back: texts as texts, numbers with their digits."""
    if isinstance(value, Mapping):
        return {key: given_as(inner) for key, inner in value.items()}
    if isinstance(value, Quantity):
        return ("number", value.text) if re.fullmatch(r"[-0-9.]+", value.text) else ("text", value.text)
    if isinstance(value, int):
        return ("number", str(value))
    if isinstance(value, str):
        return ("text", value)
    return [given_as(inner) for inner in value]


def read_as(node: Node) -> object:
    if isinstance(node, MapNode):
        return {key: read_as(inner) for key, inner in node.items()}
    if isinstance(node, ListNode):
        return [read_as(inner) for inner in node.items]
    return ("text" if isinstance(node.value, str) else "number", node.text)


def tree(text: str) -> MapNode:
    root, findings = parse(text, "f.yaml")
    assert root is not None, (text, findings)
    return root


RECORD: dict[str, Value] = {"id": "W2", "what": "rod"}

# one scalar


@given(texts)
@settings(max_examples=300)
def test_any_text_reads_back_as_that_very_text(text: str) -> None:
    written = scalar(text)
    for around in ("a: {}\n", "a: {{b: {}, c: 1}}\n", "a: [{}, c]\n", "a:\n  - {}\n  - c: {}\n"):
        whole = around.format(*[written] * around.count("{}"))
        decoded, findings = decode(whole.encode(), "f.yaml")
        assert (decoded, findings) == (whole, [])
        root, found = parse(whole, "f.yaml")
        assert found == []
        assert root is not None
        scalars = [node for node in everything(root) if isinstance(node, TextNode)]
        assert [node for node in scalars if node.text == text and isinstance(node.value, str)], whole
        assert len(whole.splitlines()) == around.count("\n")


@given(texts.filter(lambda text: len(text) < 100))
@settings(max_examples=200)
def test_any_text_can_be_the_name_of_a_field(text: str) -> None:
    for whole in (f"{scalar(text)}: 1\nb {text!r:.0}: 2\n", f"a: {{{scalar(text)}: 1}}\n"):
        names = [name for node in everything(tree(whole)) if isinstance(node, MapNode) for name in node.keys]
        assert text in names


@pytest.mark.parametrize(
    "text",
    [
        *("1_000", "010", "12,5", "1:30", "1:5", ".nan", "-.inf", "1e5", "0x1F", "12.5", "-3", "5", "633."),
        *("yes", "No", "ON", "off", "y", "N", "true", "False", "null", "~", "", " ", " a", "a ", "-", "- a", "? a"),
        *(": a", "a: b", "a #b", "#a", "a,b", "[a", "a]", "{a", "}", "&a", "*a", "!a", "|", ">", "@a", "`a", "%a"),
        *("'a'", '"a"', "a\\b"),
        *("<<", "---", "...", "a\nb", "a\r\nb", "a\tb", "\x00", "\x1b[31m", "\x7f", "\x85", "\u2028", "\ufeff"),
        *("\ufffe", "\u202eabc\u202c", "שלום", "שלום: עולם", "مرحبا، 5", "größe", "🔧", "🔧\n", "𐍈\x00", "e\u0301"),
        *("a\u00a0b", "\U0010ffff"),
        *("2026-10-03", "2026-10-03T09:10+01:00", "P1+N1", "a:b", "http://a.example/b?c=d#e", "=", "5 g", "50%"),
    ],
)  # fmt: skip
def test_a_text_that_is_a_trap_is_written_so_that_it_is_none(text: str) -> None:
    root, findings = parse(f"a: {{b: {scalar(text)}}}\nc: {scalar(text)}\n{scalar(text)}: 1\n", "f.yaml")
    assert findings == []
    assert root is not None
    assert root.value["a"] == {"b": text}
    assert root.value["c"] == text
    assert text in root.keys


@pytest.mark.parametrize(
    "text", ["piston", "rod_big_end", "R1", "P1+N1", "2026-10-03T09:10+01:00", "honed to this piston"]
)
def test_a_plain_text_needs_no_quotes(text: str) -> None:
    assert scalar(text) == text


@pytest.mark.parametrize("text", ["\ud800", "a\udcffb", "\ue000"])
def test_what_no_file_can_keep_is_refused(text: str) -> None:
    with pytest.raises(Misuse, match=r"a character that no file can keep \(U\+"):
        scalar(text)


@given(
    st.decimals(-(10**6), 10**6, places=3).map(str) | st.integers(0, 10**6).map(str), st.sampled_from(["", " g", " oz"])
)
def test_a_quantity_is_written_with_the_digits_and_the_unit_it_was_read_with(number: str, unit: str) -> None:
    quantity = Quantity(Decimal(number), unit.strip() or "g", f"{number}{unit}")
    node = tree(f"a: {scalar(quantity)}\n").values["a"]
    assert isinstance(node, TextNode)
    assert node.text == quantity.text
    assert node.is_number == (not unit)


def everything(node: Node) -> list[Node]:
    if isinstance(node, TextNode):
        return [node]
    inner = node.items if isinstance(node, ListNode) else [*node.keys.values(), *node.values.values()]
    return [node, *(each for child in inner for each in everything(child))]


# files as people write them, and records as commands add them

comments = st.sampled_from(["", "", "  # why", " # größe: [x", "   #"])
between = st.sampled_from(["", "", "\n", "# a comment: {\n", "\n\n# later\n\n", "  # indented\n", "   \n"])
READINGS = [
    "{R1: 611.40, R2: [611.9, 612.0]}",
    "{R1:   611.4,  # first\n{0}   R2:   '21.5 oz'}",
    "\n{0}  R1: 611.4\n{0}  # between\n{0}  R2:\n{0}    - 611.9\n{0}    - 612.0",
    "\n{0}  \"R1\"  :   633.\n{0}  P1+N1: +5",
]  # fmt: skip
NOTES = [
    "plain and short",
    "'it''s: [quoted'",
    '"two\\nlines # no comment"',
    "|\n{0}  literal: text\n{0}  # not a comment",
    ">-\n{0}  folded\n{0}  up\n",
    "|+\n{0}  kept\n\n",
    "a plain text\n{0}  that goes on",
]


@st.composite
def sessions(draw: st.DrawFn, number: int, indent: str) -> str:
    inner = f"{indent}  "
    if draw(st.booleans()):
        gap = draw(st.sampled_from([" ", "   "]))
        tail = draw(st.sampled_from(["}", " }", ",\n" + inner + "}"]))
        return f"{indent}- {{id: W{number},{gap}what:{gap}rod, note: 'x, #1'{tail}{draw(comments)}\n"
    lines = [f"{indent}- id: W{number}{draw(comments)}\n", f"{inner}what:   rod{draw(comments)}\n"]
    if draw(st.booleans()):
        lines.append(f"{inner}readings: {draw(st.sampled_from(READINGS)).replace('{0}', inner)}\n")
    if draw(st.booleans()):
        lines.append(f"{inner}note: {draw(st.sampled_from(NOTES)).replace('{0}', inner)}\n")
    return "".join(line + draw(between) if line.endswith("\n") and "|" not in line else line for line in lines)


PLACEHOLDERS = ["[]", "", "null", "~", " []", "\n  []", "[ ]", "[  # nothing yet\n]"]


@st.composite
def files(draw: st.DrawFn) -> bytes:
    """A weighings.yaml as some person or editor would leave it."""
    head = draw(st.sampled_from(["", "# $schema\n", "---\n", "# one\n\n# two\n---\n"]))
    body = [draw(between), f"format:  1{draw(comments)}\n", draw(between), "units: {mass: g}\n", draw(between)]
    style = draw(st.sampled_from(["none", "placeholder", "flow", "block", "block", "block"]))
    listed: list[str] = []
    if style == "placeholder":
        placeholder = draw(st.sampled_from(PLACEHOLDERS))
        listed = [f"sessions: {placeholder}{'' if '#' in placeholder else draw(comments)}\n"]
    elif style == "flow":
        joint, end = draw(
            st.sampled_from([(", ", ""), (",\n   ", "\n"), (" ,  # c\n   ", ",\n"), (",\n   ", "  # c\n  ")])
        )
        inner = joint.join(f"{{id: W{number}, what: rod}}" for number in range(1, draw(st.integers(2, 4))))
        listed = [f"sessions: [{inner}{end}]{draw(comments)}\n"]
    elif style == "block":
        indent = draw(st.sampled_from(["", "  ", "    "]))
        listed = [f"sessions:{draw(comments)}\n", draw(between)]
        for number in range(1, draw(st.integers(2, 4))):
            listed += [draw(sessions(number, indent)), draw(between)]
    note = [f"note: {draw(st.sampled_from(NOTES[:3]))}\n"] if draw(st.booleans()) else []
    parts = [*listed, *note] if draw(st.booleans()) else [*note, *listed]
    text = head + "".join(body) + "".join(parts) + draw(between)
    if draw(st.booleans()) and not re.search(r"[|>][+-]?\n", text):
        text = text.rstrip("\n")
    if draw(st.booleans()):
        text = text.replace("\n", "\r\n")
    return (draw(st.sampled_from(["", "", "\ufeff"])) + text).encode()


quantities = st.builds(
    lambda number, unit: Quantity(Decimal(number), unit or "g", f"{number} {unit}".strip()),
    st.decimals(min_value="0.1", max_value=900, places=1).map(str),
    st.sampled_from(["", "", "g", "oz"]),
)
pieces = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,3}(\+[A-Za-z0-9]{1,3})?", fullmatch=True)
records = st.fixed_dictionaries(
    {"id": st.just("W9"), "what": st.sampled_from(["rod", "piston", "piston_with_pin"])},
    optional={
        "taken": st.sampled_from(["2026-10-03", "2026-10-03T09:10+01:00"]),
        "readings": st.dictionaries(
            pieces, quantities | st.lists(quantities, min_size=1, max_size=3), min_size=1, max_size=9
        ),
        "lot": st.builds(lambda total, n: {"total": total, "pieces": n}, quantities, st.integers(1, 16)),
        "note": texts.filter(bool),
    },
)


def told(content: bytes) -> list[tuple[str, str]]:
    text, findings = decode(content, "f.yaml")
    assert text is not None, findings
    root, more = parse(text, "f.yaml")
    assert root is not None, more
    return [(finding.severity, finding.rule) for finding in [*findings, *more]]


def is_kept(old: str, new: str) -> bool:
    """Whether `new` is `old` with something put in at one spot."""
    before = alike(old, new)
    return new.endswith(old[before:]) and len(new) >= len(old)


def alike(one: str, other: str) -> int:
    """How many characters two texts begin with alike."""
    return next((n for n, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))


def without_placeholder(text: str, root: MapNode) -> str:
    """The text without the `[]` or `null` that makes way for the first record, and without the blanks before it."""
    node = root.get("sessions")
    if node is None or "#" in text[node.start : node.end] or (isinstance(node, ListNode) and node.items):
        return text
    return text[: node.start].rstrip(" ") + text[node.end :]


@given(files(), records)
@settings(max_examples=300)
def test_a_record_is_added_and_every_byte_that_was_there_stays(
    book: Book, content: bytes, record: dict[str, Any]
) -> None:
    path = book.write("weighings.yaml", content)
    before = told(content)
    old = tree(content.decode("utf-8-sig"))
    edit(book.root, "weighings", path, lambda text, root: with_record(text, root, "sessions", record))
    new_content = path.read_bytes()
    assert new_content.startswith(b"\xef\xbb\xbf") == content.startswith(b"\xef\xbb\xbf")
    assert is_kept(without_placeholder(content.decode("utf-8-sig"), old), new_content.decode("utf-8-sig"))
    assert told(new_content) == before
    new = tree(new_content.decode("utf-8-sig"))
    earlier, listed = old.get("sessions"), new.values["sessions"]
    assert isinstance(listed, ListNode)
    assert read_as(listed.items[-1]) == given_as(record)
    kept = [read_as(item) for item in earlier.items] if isinstance(earlier, ListNode) else []
    assert [read_as(item) for item in listed.items[:-1]] == kept
    others = {name: read_as(node) for name, node in old.items() if name != "sessions"}
    assert {name: read_as(node) for name, node in new.items() if name != "sessions"} == others


@given(files(), texts.filter(bool))
@settings(max_examples=200)
def test_a_field_is_added_and_every_byte_that_was_there_stays(book: Book, content: bytes, note: str) -> None:
    path = book.write("weighings.yaml", content)
    text = content.decode("utf-8-sig")
    old = tree(text)
    if "note" in old.values:
        with pytest.raises(Misuse, match="'note' stands in the file already"):
            with_field(text, old, "note", note)
        return
    before = told(content)
    try:
        edit(book.root, "weighings", path, lambda text, root: with_field(text, root, "note", note))
    except Misuse:
        assert path.read_bytes() == content
        # what was there must pass by itself before anything is added to it
        assert check_tree("weighings", old)
        return
    new_content = path.read_bytes()
    assert new_content.startswith(content)
    assert told(new_content) == before
    new = tree(new_content.decode("utf-8-sig"))
    assert read_as(new.values["note"]) == ("text", note)
    assert {name: read_as(node) for name, node in new.items() if name != "note"} == read_as(old)


SAMPLE_WEIGHINGS = sorted(SAMPLES.rglob("weighings.yaml"))


@pytest.mark.parametrize("path", SAMPLE_WEIGHINGS, ids=lambda path: path.parent.parent.name)
@pytest.mark.parametrize("line_end", [b"\n", b"\r\n"])
def test_many_records_one_after_the_other_only_add_lines(book: Book, path: Path, line_end: bytes) -> None:
    content = path.read_bytes().replace(b"\n", line_end)
    file = book.write("weighings.yaml", content)
    readings: dict[str, Value] = {"R1": Quantity(Decimal("9.50"), "g", "9.50")}
    for number in range(50, 60):

        def add(text: str, root: MapNode, name: str = f"W{number}") -> str:
            return with_record(text, root, "sessions", {"id": name, "what": "rod", "readings": readings})

        edit(book.root, "weighings", file, add)
    added = file.read_bytes().removeprefix(content)
    assert len(added) < len(file.read_bytes())
    assert added.count(line_end) == added.count(b"\n") == 30
    assert added.startswith(b"  - id: W50" + line_end + b"    what: rod" + line_end + b"    readings: {R1: 9.50}")


def test_a_record_is_written_as_a_person_would_write_it(book: Book) -> None:
    path = book.write("weighings.yaml", "format: 1\nunits: {mass: g}\n\nsessions: []   # none yet\n\n# the end\n")
    readings: dict[str, Value] = {f"R{number}": Quantity(Decimal("611.40"), "g", "611.40") for number in range(1, 3)}
    record: dict[str, Value] = {"id": "W1", "taken": "2026-10-03T09:10+01:00", "what": "rod", "readings": readings}
    edit(book.root, "weighings", path, lambda text, root: with_record(text, root, "sessions", record))
    assert path.read_text() == (
        "format: 1\nunits: {mass: g}\n\nsessions:   # none yet\n"
        "  - id: W1\n    taken: 2026-10-03T09:10+01:00\n    what: rod\n    readings: {R1: 611.40, R2: 611.40}\n"
        "\n# the end\n"
    )


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        ("{format: 1}\n", "{format: 1, sessions: [{id: W2, what: rod}]}\n"),
        ("{format: 1, sessions: []}  # all\n", "{format: 1, sessions: [{id: W2, what: rod}]}  # all\n"),
        ("{\n  format: 1,  # one\n}\n", "{\n  format: 1, sessions: [{id: W2, what: rod}],  # one\n}\n"),
        (
            "{format: 1, sessions: [{id: W1, what: rod}], note: x}",
            "{format: 1, sessions: [{id: W1, what: rod}, {id: W2, what: rod}], note: x}",
        ),
    ],
)
def test_a_file_that_is_all_in_braces_is_added_to_within_them(book: Book, content: str, expected: str) -> None:
    path = book.write("weighings.yaml", content)
    edit(book.root, "weighings", path, lambda text, root: with_record(text, root, "sessions", RECORD))
    assert path.read_text() == expected
    if "note" not in content:
        edit(book.root, "weighings", path, lambda text, root: with_field(text, root, "note", "x, y"))
        assert tree(path.read_text()).value["note"] == "x, y"


def test_a_record_too_wide_for_a_line_goes_line_by_line(book: Book) -> None:
    path = book.write("weighings.yaml", "format: 1\nunits: {mass: g}\n")
    readings: dict[str, Value] = {f"R{number}": Quantity(Decimal("611.4"), "g", "611.4") for number in range(1, 17)}
    record: dict[str, Value] = {"id": "W1", "what": "rod", "readings": readings}
    edit(book.root, "weighings", path, lambda text, root: with_record(text, root, "sessions", record))
    lines = path.read_text().splitlines()
    assert lines[2:7] == ["sessions:", "  - id: W1", "    what: rod", "    readings:", "      R1: 611.4"]
    assert max(map(len, lines)) < 100


# what is refused, and what is interrupted

START = "format: 1\nunits: {mass: g}\nsessions:\n  - {id: W1, what: rod}   # first\n"


@pytest.mark.parametrize(
    ("content", "change"),
    [
        (START, lambda text, root: text.replace("W1", "W2")),
        (START, lambda text, root: text.replace("  - {id: W1, what: rod}   # first\n", "  []\n")),
        (START, lambda text, root: text.replace("units: {mass: g}\n", "")),
        (START, lambda text, root: text.replace("id: W1", "id: 'W1'").replace("rod", "'rod'")),
        (START, lambda text, root: text.replace("format: 1\nunits: {mass: g}\n", "units: {mass: g}\nformat: 1\n")),
        (START, lambda text, root: text.replace("sessions:\n", "sessions:\n  - {id: W0, what: rod}\n")),
        (START, lambda text, root: text + "# - {id: W2, what: rod}\n"),
        (START, lambda text, root: text),
        (START, lambda text, root: text + "broken: [\n"),
        (START, lambda text, root: text + "format: 1\n"),
        (START, lambda text, root: with_record(text, root, "sessions", {"id": "W2", "what": "bolt"})),
        (START, lambda text, root: with_record(text, root, "sessions", {"id": "W2"})),
        (START, lambda text, root: with_record(text, root, "units", {"mass": "g"})),
        (START, lambda text, root: with_field(text, root, "mood", "good")),
        (START, lambda text, root: with_field(text, root, "units", {"mass": "g"})),
        ("format: 1\nnote: |+\n  open", lambda text, root: with_field(text, root, "sessions", [])),
        (START + "broken: [\n", lambda text, root: text + "note: x\n"),
        ("\ufeff" + START + "a: 010\n", lambda text, root: text + "note: x\n"),
        (b"\xff\xfe", lambda text, root: text + "note: x\n"),
        ("", lambda text, root: "format: 1\n"),
    ],
)  # fmt: skip
def test_a_refusal_leaves_the_file_byte_for_byte(
    book: Book, content: str | bytes, change: Callable[[str, MapNode], str]
) -> None:
    path = book.write("weighings.yaml", content.encode() if isinstance(content, str) else content)
    before, state = path.read_bytes(), path.stat()
    with pytest.raises(Misuse) as caught:
        edit(book.root, "weighings", path, change)
    assert caught.value.what
    assert caught.value.remedy
    assert path.read_bytes() == before
    assert (path.stat().st_ino, path.stat().st_mtime_ns) == (state.st_ino, state.st_mtime_ns)
    assert names(book.folder) == ["build.yaml", "weighings.yaml"]


def test_a_refusal_names_what_is_wrong_and_not_what_is_only_doubtful(book: Book) -> None:
    path = book.write("weighings.yaml", ("\ufeff" + START + "a: 010\n").replace("\n", "\r\n").encode())
    with pytest.raises(Misuse, match=r"weighings.yaml:5:4: '010' begins with a zero.*nothing was written"):
        edit(book.root, "weighings", path, lambda text, root: text + "note: x\n")


def names(folder: Path) -> list[str]:
    return sorted(entry.name for entry in folder.iterdir())


@pytest.mark.parametrize("failing", ["replace", "fsync", "chmod"])
def test_an_interrupted_write_leaves_the_old_file_and_nothing_else(
    book: Book, monkeypatch: pytest.MonkeyPatch, failing: str
) -> None:
    path = book.write("weighings.yaml", START)

    def interrupted(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, failing, interrupted)
        with pytest.raises(OSError, match="No space left"):
            edit(book.root, "weighings", path, lambda text, root: with_field(text, root, "note", "x"))
    assert path.read_text() == START
    assert names(book.folder) == ["build.yaml", "weighings.yaml"]
    edit(book.root, "weighings", path, lambda text, root: with_field(text, root, "note", "x"))
    assert path.read_text() == START + "note: x\n"


def test_a_file_keeps_its_permissions_and_a_link_stays_a_link(book: Book) -> None:
    real = book.write("shared.yaml", START)
    real.chmod(0o640)
    link = book.folder / "weighings.yaml"
    link.symlink_to("shared.yaml")
    edit(book.root, "weighings", link, lambda text, root: with_field(text, root, "note", "x"))
    assert link.is_symlink()
    assert real.read_text() == START + "note: x\n"
    assert real.stat().st_mode & 0o777 == 0o640


def test_a_new_file_can_be_read_by_others(tmp_path: Path) -> None:
    replace(tmp_path / "new.yaml", b"format: 1\n")
    assert (tmp_path / "new.yaml").read_bytes() == b"format: 1\n"
    assert (tmp_path / "new.yaml").stat().st_mode & 0o777 == 0o644


WRITES = """
import sys
from pathlib import Path
from buildbook.book.writing import edit, with_record

book, mark = Path(sys.argv[1]), sys.argv[2]
path = book / "engines/twin/first/weighings.yaml"
sys.stdin.readline()
for number in range(15):
    record = {"id": f"{mark}{number}", "what": "rod", "note": "x" * 200}
    edit(book, "weighings", path, lambda text, root: with_record(text, root, "sessions", record))
"""


def test_two_who_write_at_once_both_land(book: Book) -> None:
    path = book.write("weighings.yaml", START)
    writers = [
        subprocess.Popen([sys.executable, "-c", WRITES, str(book.root), mark], stdin=subprocess.PIPE, env=os.environ)
        for mark in "XY"
    ]
    for writer in writers:  # both are ready before either begins
        assert writer.stdin is not None
        writer.stdin.write(b"go\n")
        writer.stdin.flush()
    for writer in writers:
        writer.communicate()
    assert [writer.returncode for writer in writers] == [0, 0]
    listed = tree(path.read_text()).values["sessions"]
    assert isinstance(listed, ListNode)
    ids = [item.values["id"] for item in listed.items if isinstance(item, MapNode)]
    written = [node.text for node in ids if isinstance(node, TextNode)]
    assert written[0] == "W1"
    assert sorted(written[1:]) == sorted(f"{mark}{number}" for mark in "XY" for number in range(15))
    assert [name for name in written if name[0] == "X"] == [f"X{number}" for number in range(15)]
    assert names(book.folder) == ["build.yaml", "weighings.yaml"]
    assert path.read_text().startswith(START)


def test_a_value_in_a_line_is_what_it_was(book: Book) -> None:
    value: dict[str, Value] = {"a": ["x", 1, {"b, c": "d: e"}], "1": Quantity(Decimal("1.50"), "g", "1.50"), "e": []}
    assert read_as(tree(f"v: {flow(value)}\n").values["v"]) == given_as(value)
