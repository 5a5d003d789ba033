"""From a file's bytes to a tree that keeps every scalar's text, line and column; strict, and quick.

It reads the events of ruamel.yaml's C parser and builds its own nodes, because a loader that makes Python values
has already lost what was written: `633.0` and `633.00`, `1_000` and `010`. What another YAML program would read
differently, and what has no place in a ledger (anchors, aliases, merges, tags, complex keys, deep nesting), is a
finding at the spot, so that no alias can multiply and no nesting can exhaust anything.
"""

import re
from collections.abc import Iterator
from functools import lru_cache
from typing import Any, NoReturn

from buildbook.quantities import slip
from buildbook.records.finding import Finding, Severity, Where
from buildbook.records.tree import ListNode, MapNode, Node, TextNode

DEEPEST = 32
LARGEST = 4_000_000  # bytes: far above any build's file, far below what would make a command wait

_BYTE_ORDER_MARK = "\ufeff"
# YAML 1.2, production 1 (c-printable), less the rare line ends that programs disagree about, and the stand-in below.
# Compiled where it is needed: an ordinary text is told apart sooner.
_UNPRINTABLE = "[^\t\n\r\x20-\x7e\xa0-\u2027\u202a-\ud7ff\ue001-\ufefe\uff00-\ufffd\U00010000-\U0010ffff]"

# The C parser refuses a colon inside a plain text in braces, `{taken: 2026-10-03T09:10}`, which YAML 1.2 allows. A
# colon between two letters or digits is never punctuation: another character stands in for it on the way through.
_inner_colon = re.compile(r"(?<=\w):(?=\w)")
_COLON_STAND_IN = "\ue000"

_to_colon = re.compile(r"[ \t]*:").match

_NODES = {"ScalarEvent", "MappingStartEvent", "SequenceStartEvent", "AliasEvent"}
_AMBIGUOUS_WORDS = {"yes", "no", "on", "off", "y", "n"}

# The words of the C parser, or of the Python one, and what a builder can do about them.
_PARSER_WORDS = (
    ("found a tab", "a tab is used to indent", "use spaces: YAML does not allow tabs there"),
    ("cannot start any token", "a text begins with a mark that YAML keeps for itself", "put the text in quotes"),
    ("found unexpected ':'", "there is a colon where none belongs", "put text that holds a colon in quotes"),
    (
        "mapping values are not allowed",
        "there is a colon where none belongs",
        "indent the line like its neighbours; put text that holds ': ' in quotes",
    ),
    (
        "could not find expected ':'",
        "a field has no colon",
        "write 'name: value', with a space after the colon",
    ),
    (
        "did not find expected '-' indicator|block collection expected <block end>",
        "this line does not fit the list above it",
        "begin each record with '- ' in the same column",
    ),
    (
        "did not find expected key|expected <block end>",
        "this line does not fit the lines above it",
        "indent it like its neighbours, and close every quote and bracket above it",
    ),
    (
        "expected ',' or",
        "a bracket or brace is not closed, or a comma is missing",
        "separate with commas, and close with ] or }",
    ),
    ("expected (the )?node content", "a value is missing here", "write it, or take out the comma before it"),
    (
        "expected '?<document start>",
        "this stands outside of everything above it",
        "look for a bracket too many; put the line where it belongs",
    ),
    ("found unexpected end of stream", "a quote or bracket is never closed", "close it"),
    (
        "found unknown escape character",
        "there is a backslash YAML does not know",
        "use single quotes around the text",
    ),
)


# What has no place in a ledger and ends the reading of a file: what it is, why it is refused, remedy.
_REFUSALS = {
    "second-document": (
        "a second document begins here",
        "Only one document would be read.",
        "delete the '---' and what does not belong",
    ),
    "anchor": (
        "there is an anchor or an alias here",
        "A record says what was measured on the spot; one that refers to another place changes with it.",
        "write the value out",
    ),
    "merge": (
        "there is a merge key here (<<)",
        "A record that takes fields from another place changes with it.",
        "write the fields out",
    ),
    "tag": (
        "there is a tag here (a word that begins with !)",
        "A tag asks the reading program to make something else of the value.",
        "delete the tag; put a text that begins with ! in quotes",
    ),
    "complex-key": (
        "a list or a group of fields stands where a field's name belongs",
        "Only a name can be looked up.",
        "write 'name: value'",
    ),
    "deep-nesting": (
        f"values are nested more than {DEEPEST} deep here",
        "Nothing in a book is nested so deep.",
        "look for a bracket that was never closed",
    ),
}


class _Refused(Exception):
    def __init__(self, finding: Finding) -> None:
        self.finding = finding


def _finding(rule: str, where: Where, what: str, why: str, remedy: str, severity: Severity = "error") -> Finding:
    return Finding(severity, rule, where, what, why, remedy)


def decode(content: bytes, file: str) -> tuple[str | None, list[Finding]]:
    """The text of a file, without a byte-order mark, and what is wrong with its bytes."""
    top = Where(file, 1, 1)
    if len(content) > LARGEST:
        what = f"the file holds {len(content):,} bytes"
        why = "A build's file holds a few thousand; this is something else."
        return None, [_finding("not-ledger", top, what, why, "move it out of the book")]
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError as error:
        before = content[: error.start].decode("utf-8")
        what = f"this is not UTF-8 text (byte 0x{content[error.start]:02x})"
        why = "A file that is not text, or is in an older encoding, cannot be read for certain."
        return None, [_finding("not-text", place(before, len(before), file), what, why, "save the file as UTF-8 text")]
    findings: list[Finding] = []
    if text.startswith(_BYTE_ORDER_MARK):
        text = text.removeprefix(_BYTE_ORDER_MARK)
        what = "the file begins with a byte-order mark"
        why = "It is read here, but other programs take it for part of the first word."
        findings.append(
            _finding("byte-order-mark", top, what, why, "save as UTF-8 without a byte-order mark", "warning")
        )
    bad = None if text.replace("\n", "").isprintable() else re.search(_UNPRINTABLE, text)
    if bad:
        what = f"there is a character that cannot be printed (U+{ord(bad[0]):04X})"
        why = "A file with control characters in it is not text that a person can read."
        findings.append(
            _finding("not-text", place(text, bad.start(), file), what, why, "delete it and type the line again")
        )
        return None, findings
    if "\r" in text:
        lone = re.search(r"\r(?!\n)|(?<!\r)\n", text)
        what = "lines end in two ways, CRLF and LF" if lone else "lines end with CRLF"
        why = "Compared line by line, every line that changes its ending counts as changed."
        where = place(text, lone.start() if lone else text.index("\r"), file)
        remedy = "save with one kind of line end, LF by preference"
        findings.append(_finding("line-ends", where, what, why, remedy, "warning" if lone else "note"))
    return text, findings


def place(text: str, offset: int, file: str) -> Where:
    """The line and column of a character offset."""
    line_start = max(text.rfind("\n", 0, offset), text.rfind("\r", 0, offset)) + 1
    line = len(re.findall(r"\r\n|\r|\n", text[:line_start])) + 1
    return Where(file, line, offset - line_start + 1)


def parse(text: str, file: str) -> tuple[MapNode | None, list[Finding]]:
    """The tree of a file's text, and what is wrong with it. No tree where the file cannot be read for certain."""
    root, findings = _parsed(text, file)
    return root, list(findings)


@lru_cache(maxsize=16)  # whoever adds a record reads the same text for itself, for the judging and for the writing
def _parsed(text: str, file: str) -> tuple[MapNode | None, tuple[Finding, ...]]:
    root, findings = _parse(text, file)
    return root, tuple(findings)


def _parse(text: str, file: str) -> tuple[MapNode | None, list[Finding]]:
    from ruamel.yaml import YAML
    from ruamel.yaml.error import MarkedYAMLError

    reading = _Reading(text, file)
    try:
        root = reading.document(YAML(typ="safe").parse(_inner_colon.sub(_COLON_STAND_IN, text)))
    except _Refused as refused:
        return None, [*reading.findings, refused.finding]
    except MarkedYAMLError as error:
        return None, [*reading.findings, _from_parser(error, text, file)]
    if root is None or (isinstance(root, TextNode) and root.is_null):
        what, why = "the file is empty", "Each file of a build says at least which format it has."
        return None, [_finding("empty-file", Where(file, 1, 1), what, why, "write 'format: 1', or delete the file")]
    if not isinstance(root, MapNode):
        what = "the file does not begin with a field"
        why = "Every file of a book is made of fields such as 'format: 1'."
        return None, [_finding("no-fields", root.where, what, why, "begin with 'format: 1'")]
    if any(finding.severity == "error" for finding in reading.findings):
        return None, reading.findings
    return root, reading.findings


def has_c_parser() -> bool:
    """Whether ruamel.yaml's C part is there; without it all works the same, some ten times slower."""
    try:
        import _ruamel_yaml  # type: ignore[import-not-found]  # noqa: F401
    except ImportError:
        return False
    return True


def _from_parser(error: Any, text: str, file: str) -> Finding:
    mark = error.problem_mark or error.context_mark
    where = Where(file, mark.line + 1, mark.column + 1)
    if conflict := re.search(r"^<{7} ", text, re.MULTILINE):
        where = Where(file, text.count("\n", 0, conflict.start()) + 1, 1)
        why = "The file cannot be read: from here on, git has put two versions one below the other."
        remedy = "'git merge --abort', then 'buildbook sync', which merges by records; or leave one version alone"
        return _finding("yaml", where, "these are git's marks of a merge that it could not make", why, remedy)
    for words, rule in (("tag", "tag"), ("anchor|alias", "anchor")):  # one that is misspelt as well
        if re.search(rf"\b({words})$", error.context or "") and error.context_mark:
            mark = error.context_mark
            return _finding(rule, Where(file, mark.line + 1, mark.column + 1), *_REFUSALS[rule])
    said = f"{error.context or ''} {error.problem}".strip()
    above = text[: mark.index].rstrip(" \t-").rstrip().rpartition("\n")[2]
    if above.endswith((": []", ": {}")):
        what = f"a record stands under '{above.strip()}', which says that there is none"
        return _finding("yaml", where, what, "The file cannot be read past this place.", f"delete the {above[-2:]}")
    problem = "found a tab" if text[mark.index : mark.index + 1] == "\t" else said
    why = f"The file cannot be read past this place (the parser says: {said})."
    for words, what, remedy in _PARSER_WORDS:
        if re.search(words, problem):
            return _finding("yaml", where, what, why, remedy)
    return _finding("yaml", where, "this is not YAML", why, "look at the quotes, brackets and indents here and above")


class _Reading:
    def __init__(self, text: str, file: str) -> None:
        self.text = text
        self.file = file
        self.findings: list[Finding] = []

    def where(self, event: Any) -> Where:
        return Where(self.file, event.start_mark.line + 1, event.start_mark.column + 1)

    def refuse(self, rule: str, event: Any) -> NoReturn:
        raise _Refused(_finding(rule, self.where(event), *_REFUSALS[rule]))

    def document(self, events: Iterator[Any]) -> Node | None:
        root: Node | None = None
        for event in events:
            if type(event).__name__ in _NODES:
                if root is not None:
                    self.refuse("second-document", event)
                root = self.node(event, events, depth=1)
        return root

    def node(self, event: Any, events: Iterator[Any], depth: int) -> Node:
        if event.anchor is not None:  # an alias has one too
            self.refuse("anchor", event)
        if event.tag is not None:
            self.refuse("tag", event)
        if depth > DEEPEST:
            self.refuse("deep-nesting", event)
        kind = type(event).__name__
        if kind == "ScalarEvent":
            return self.scalar(event)
        if kind == "SequenceStartEvent":
            return self.sequence(event, events, depth)
        return self.mapping(event, events, depth)

    def scalar(self, event: Any) -> TextNode:
        plain = not event.style
        start = event.start_mark
        where = Where(self.file, start.line + 1, start.column + 1)
        text: str = event.value
        if _COLON_STAND_IN in text:
            text = text.replace(_COLON_STAND_IN, ":")
        if plain:
            wrong = slip(text)
            if wrong is not None and "," not in text:
                why = "Programs disagree about what this text is, so nobody could say later what was read."
                self.findings.append(_finding("ambiguous", where, wrong.what, why, wrong.remedy))
            elif text.lower() in _AMBIGUOUS_WORDS:
                what = f"'{text}' is read as true or false by some programs"
                why = "A record must read the same in every program."
                self.findings.append(_finding("ambiguous", where, what, why, "put it in quotes", "warning"))
        return TextNode(text, plain, where, start.index, event.end_mark.index)

    def sequence(self, event: Any, events: Iterator[Any], depth: int) -> ListNode:
        items: list[Node] = []
        for inner in events:
            if type(inner).__name__ == "SequenceEndEvent":
                flow = bool(event.flow_style)
                end = inner.end_mark.index if flow or not items else items[-1].end
                return ListNode(tuple(items), flow, self.where(event), event.start_mark.index, end)
            items.append(self.node(inner, events, depth + 1))
        raise AssertionError("the parser ends every list that it begins")

    def mapping(self, event: Any, events: Iterator[Any], depth: int) -> MapNode:
        keys: dict[str, TextNode] = {}
        values: dict[str, Node] = {}
        flow = bool(event.flow_style)
        for key_event in events:
            if type(key_event).__name__ == "MappingEndEvent":
                last = next(reversed(values.values())) if values else None
                end = key_event.end_mark.index if flow or last is None else last.end
                return MapNode(keys, values, flow, self.where(event), event.start_mark.index, end)
            if type(key_event).__name__ not in {"ScalarEvent", "AliasEvent"}:
                self.refuse("complex-key", key_event)
            key = self.node(key_event, events, depth)
            assert isinstance(key, TextNode)
            if key.plain and key.text == "<<":
                self.refuse("merge", key_event)
            value = self.node(next(events), events, depth + 1)
            if isinstance(value, TextNode) and value.plain and value.start == value.end:
                value = self.after_colon(key, value)
            if key.text in keys:
                what = f"'{key.text}' stands here a second time (first in line {keys[key.text].where.line})"
                why = "Only one of the two would count, and nobody could say which."
                remedy = "delete one, or give it its right name"
                self.findings.append(_finding("duplicate-key", key.where, what, why, remedy))
                continue
            if flow and isinstance(value, TextNode) and value.start == value.end and value.is_null:
                self.findings.append(self.no_value(key, next(reversed(values.values()), None)))
            keys[key.text], values[key.text] = key, value
        raise AssertionError("the parser ends every mapping that it begins")

    def after_colon(self, key: TextNode, empty: TextNode) -> TextNode:
        """A value that was left out belongs right after its colon; the Python parser sees it at the next word."""
        colon = _to_colon(self.text, key.end)
        if colon is None:
            return empty
        where = Where(self.file, key.where.line, key.where.column + colon.end() - key.start)
        return TextNode("", True, where, colon.end(), colon.end())

    @staticmethod
    def no_value(key: TextNode, before: Node | None) -> Finding:
        """`{R1: 12,5}` is read as R1: 12 and a field named 5; `{R1:12.5}` as one field named R1:12.5."""
        what = f"'{key.text}' has no value"
        why = "In braces, a comma separates fields and a colon needs a space after it."
        remedy = "write 'name: value'"
        if isinstance(before, TextNode) and before.is_number and key.is_number:
            what = f"'{before.text},{key.text}' reads as {before.text} and then a field named {key.text}"
            remedy = f"for a decimal, write {before.text}.{key.text}"
        elif ":" in key.text:
            remedy = f"put a space after the colon: '{key.text.replace(':', ': ', 1)}'"
        return _finding("no-value", key.where, what, why, remedy)
