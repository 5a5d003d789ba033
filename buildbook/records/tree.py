"""A YAML file as a tree that keeps what was written: every scalar's text and place."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from buildbook.quantities import MOST_DIGITS, is_plain_number
from buildbook.records.finding import Where


class TextNode(NamedTuple):
    """One scalar. `start` and `end` are character offsets into the file's text."""

    text: str
    plain: bool
    where: Where
    start: int
    end: int

    @property
    def is_null(self) -> bool:
        return self.plain and self.text in {"", "~", "null", "Null", "NULL"}

    @property
    def is_number(self) -> bool:
        return self.plain and is_plain_number(self.text)

    @property
    def value(self) -> str | int | float | bool | None:
        """The value by YAML 1.2's core schema, as JSON has it. For checks of shape only: figures use the text."""
        if not self.plain:
            return self.text
        if self.is_null:
            return None
        if self.text in {"true", "True", "TRUE", "false", "False", "FALSE"}:
            return self.text.lower() == "true"
        if is_plain_number(self.text):
            # a longer number is found to be a slip when it is read; int() refuses the longest
            whole = "." not in self.text and len(self.text) <= MOST_DIGITS
            return int(self.text) if whole else float(self.text)
        return self.text


@dataclass(frozen=True, slots=True)
class ListNode:
    items: tuple["Node", ...]
    flow: bool
    where: Where
    start: int
    end: int

    @property
    def value(self) -> list[object]:
        return [item.value for item in self.items]


@dataclass(frozen=True, slots=True)
class MapNode:
    """A mapping, in the order written. `end` is where its last value ends, before any comment after it."""

    keys: dict[str, TextNode]
    values: dict[str, "Node"]
    flow: bool
    where: Where
    start: int
    end: int

    @property
    def value(self) -> dict[str, object]:
        return {key: node.value for key, node in self.values.items()}

    def get(self, key: str) -> "Node | None":
        return self.values.get(key)

    def items(self) -> Iterator[tuple[str, "Node"]]:
        return iter(self.values.items())

    def where_of(self, key: str) -> Where:
        """The place of a field's name, or of the mapping where it has no such field."""
        return self.keys[key].where if key in self.keys else self.where


Node = TextNode | ListNode | MapNode
