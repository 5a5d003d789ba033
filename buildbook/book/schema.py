"""Holds a file's tree against its JSON Schema, and says what is wrong in a builder's words at the exact spot.

jsonschema is imported only where something is wrong, or not certain: that content is sound is told sooner by
`conforming`. What passed is remembered by the digest of the schema and the content, so that a changed file, or a
changed schema, is always looked at again. Only a clean pass is remembered; a finding never is.
"""

import json
from collections.abc import Iterator, Mapping
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any

from buildbook.book.conforming import conforms, unit_error
from buildbook.book.places import cache_folder, data_folder
from buildbook.quantities import DIMENSIONS, QuantityError, read_number
from buildbook.records.finding import Finding, Where, did_you_mean
from buildbook.records.tree import ListNode, MapNode, Node, TextNode

_REMEMBERED_MOST = 4_000_000  # bytes of digests: some 60,000 files

_TYPE_WORDS = {
    "number": "a number",
    "integer": "a whole number",
    "string": "a text",
    "array": "a list",
    "object": "a group of fields",
    "boolean": "true or false",
    "null": "nothing",
}


def schema_text(kind: str) -> str:
    return (data_folder("schemas") / f"{kind}.schema.json").read_text(encoding="utf-8")


class Passed:
    """The digests of what passed its schema before: a cache that may be deleted at any time."""

    def __init__(self) -> None:
        self.path = cache_folder() / "passed"
        self.fresh: list[str] = []
        self.known: set[str] | None = None

    def key(self, kind: str, content: bytes) -> str:
        return sha256(_schema_digest(kind) + content).hexdigest()

    def __contains__(self, key: str) -> bool:
        if self.known is None:
            try:
                self.known = set(self.path.read_text(encoding="ascii").split())
            except (OSError, ValueError):
                self.known = set()
        return key in self.known

    def add(self, key: str) -> None:
        self.fresh.append(key)

    def save(self) -> None:
        """Append what is new; a cache that cannot be written is no reason to stop anybody."""
        if not self.fresh:
            return
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            if self.path.exists() and self.path.stat().st_size > _REMEMBERED_MOST:
                self.path.unlink()
            with self.path.open("a", encoding="ascii") as cache_file:
                cache_file.write("".join(f"{key}\n" for key in self.fresh))
        except OSError:
            pass
        self.fresh.clear()


@cache
def _schema_digest(kind: str) -> bytes:
    """Of the schema, and of the code that reads it: a stricter one looks at everything again."""
    return sha256(_reading_code() + schema_text(kind).encode()).digest()


def _reading_code() -> bytes:
    return b"".join(Path(__file__).with_name(name).read_bytes() for name in ("schema.py", "conforming.py"))


@cache
def schema_of(kind: str) -> dict[str, Any]:
    schema: dict[str, Any] = json.loads(schema_text(kind))
    return schema


@cache
def _validator(kind: str) -> Any:
    from jsonschema import Draft202012Validator, ValidationError, validators

    def unit(_: Any, dimension: str, instance: object, __: object) -> Iterator[ValidationError]:
        """A number may carry its own unit ("24.6 kg"): one of the right dimension."""
        if (error := unit_error(dimension, instance)) is not None:
            yield ValidationError(error.what, validator_value=error.remedy)

    def pattern(_: Any, expression: str, instance: object, __: object) -> Iterator[ValidationError]:
        # Python's `$` also matches before a line end at the end of a text, JSON Schema's does not.
        if isinstance(instance, str) and ("\n" in instance or not _search(expression, instance)):
            yield ValidationError("pattern")

    extend: Any = validators.extend
    own = extend(Draft202012Validator, {"unit": unit, "pattern": pattern})
    return own(schema_of(kind))


def _search(expression: str, text: str) -> bool:
    import re

    return re.search(expression, text) is not None


def check_tree(kind: str, root: MapNode) -> list[Finding]:
    """Every way in which the tree departs from the schema of its kind of file, in the order of the file."""
    value = root.value
    if conforms(schema_of(kind), value, schema_of(kind)):
        return []
    findings = [
        finding
        for error in _validator(kind).iter_errors(value)
        for finding in _in_our_words(error, _node_at(root, error.absolute_path), root)
    ]
    return sorted(dict.fromkeys(findings), key=lambda finding: finding.where)


def _node_at(root: Node, path: Any) -> Node:
    node = root
    for step in path:
        if isinstance(node, MapNode):
            node = node.values[str(step)]
        elif isinstance(node, ListNode):
            node = node.items[step]
    return node


def _in_our_words(error: Any, node: Node, root: MapNode) -> Iterator[Finding]:
    schema: Mapping[str, Any] = error.schema
    title = str(schema.get("title", "this"))
    why = str(schema.get("description", "The ledger's files keep to their schema."))
    example = f"; for example {_written(schema['examples'][0])}" if schema.get("examples") else ""
    match error.validator:
        case "additionalProperties" if isinstance(node, MapNode):
            yield from _unknown_fields(node, schema)
        case "required" if isinstance(node, MapNode):
            for name in error.validator_value:
                if name not in node.values:
                    field = schema.get("properties", {}).get(name, {})
                    yield _finding(
                        "missing-field",
                        node.where,
                        f"'{name}' is missing here",
                        str(field.get("description", why)),
                        f"add {name}: {_written(field.get('examples', ['…'])[0])}",
                    )
        case "unit":
            # a text with a decimal comma or a wrong unit; a pattern error for the same text says less
            yield _finding("quantity", node.where, error.message, why, error.validator_value)
        case "pattern" if schema.get("unit") in DIMENSIONS:
            return
        case "pattern":
            yield _finding("shape", node.where, f"{_found(node)} will not do for {title}", why, f"correct it{example}")
        case "type":
            yield _wrong_type(node, schema, title, why, example)
        case "enum":
            yield _not_in_list(node, [str(choice) for choice in error.validator_value], title, why)
        case "const":
            yield _finding(
                "format", node.where, f"{title} is {_found(node)}", why, f"write {_written(error.validator_value)}"
            )
        case "minimum" | "exclusiveMinimum" | "maximum" | "exclusiveMaximum":
            words = {
                "minimum": "at least",
                "exclusiveMinimum": "more than",
                "maximum": "at most",
                "exclusiveMaximum": "less than",
            }[error.validator]
            what = f"{title} is {_found(node)}; it is {words} {error.validator_value}"
            yield _finding("out-of-range", node.where, what, why, f"correct it{example}")
        case "minItems" | "minProperties":
            yield _finding("empty", node.where, f"{title} is empty", why, f"fill it in, or delete it{example}")
        case "uniqueItems":
            yield _finding("twice", node.where, f"{title} holds the same thing twice", why, "delete one")
        case _:
            yield _finding("shape", node.where, f"{_found(node)} will not do for {title}", why, f"correct it{example}")


def _finding(rule: str, where: Where, what: str, why: str, remedy: str) -> Finding:
    return Finding("error", rule, where, what, why, remedy)


def _unknown_fields(node: MapNode, schema: Mapping[str, Any]) -> Iterator[Finding]:
    fields = list(schema.get("properties", {}))
    patterns = list(schema.get("patternProperties", {}))
    title = str(schema.get("title", "this"))
    for name, key in node.keys.items():
        if name in fields or any(_search(pattern, name) for pattern in patterns):
            continue
        why = "A field under another name is left out of every sum, without a word."
        if fields:
            remarks = "; remarks go into 'note'" if "note" in fields else ""
            remedy = did_you_mean(name, fields, f"use one of: {', '.join(fields)}{remarks}")
        else:
            examples = [example for example in schema.get("examples", ()) if isinstance(example, dict)]
            names = [name for example in examples for name in example]
            remedy = f"name it like {' or '.join(names[:2])}" if names else "give it a plain name"
        yield _finding("unknown-field", key.where, f"'{name}' is not a field of {title.lower()}", why, remedy)


def _wrong_type(node: Node, schema: Mapping[str, Any], title: str, why: str, example: str) -> Finding:
    wanted = schema["type"] if isinstance(schema["type"], list) else [schema["type"]]
    words = " or ".join(_TYPE_WORDS[name] for name in wanted if not (name == "string" and "number" in wanted))
    if isinstance(node, TextNode) and "number" in wanted and not node.is_null:
        try:
            read_number(node.text)
        except QuantityError as error:
            return _finding("quantity", node.where, error.what, why, error.remedy)
    if isinstance(node, TextNode) and wanted == ["string"] and node.plain and not node.is_null:
        remedy = f'put it in quotes if it is a name: "{node.text[:40]}"{example}'
        return _finding("wrong-type", node.where, f"{title} is {_found(node)}, not {words}", why, remedy)
    return _finding("wrong-type", node.where, f"{title} is {_found(node)}, not {words}", why, f"correct it{example}")


def _not_in_list(node: Node, choices: list[str], title: str, why: str) -> Finding:
    text = node.text if isinstance(node, TextNode) else ""
    for dimension, units in DIMENSIONS.items():
        if text in units and text not in choices:
            what = f"{text} is a unit of {dimension}, not of {title.lower()}"
            return _finding("unit", node.where, what, why, f"use one of: {', '.join(choices)}")
    what = f"{_found(node)} is not a known {title.lower()}"
    remedy = did_you_mean(text, choices, f"use one of: {', '.join(choices)}")
    return _finding("unknown-word", node.where, what, why, remedy)


def _found(node: Node) -> str:
    if isinstance(node, MapNode):
        return "a group of fields"
    if isinstance(node, ListNode):
        return "a list"
    if node.is_null:
        return "empty"
    return f"'{node.text[:40]}'"


def _written(value: object) -> str:
    """An example as it would stand in the file."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key}: {_written(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_written, value)) + "]"
    return str(value)
