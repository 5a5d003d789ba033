"""Changes one text of the ledger piece by piece, so that every other byte stays as it was.

For what two benches wrote, brought together; a record of one bench is added by `writing`.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from buildbook.book.loader import parse
from buildbook.book.writing import scalar
from buildbook.records.finding import Where
from buildbook.records.tree import ListNode, MapNode, Node, TextNode

# What a file says: groups, lists, and each scalar's text with whether it is a text (`"12"`) or not (`12`).
Meaning = dict[str, "Meaning"] | list["Meaning"] | tuple[str, bool] | None


class Awkward(Exception):
    """A file that cannot be merged by records, and why."""


class Text(NamedTuple):
    """A text with its tree."""

    text: str
    root: MapNode

    def line_start(self, offset: int) -> int:
        return max(self.text.rfind("\n", 0, offset), self.text.rfind("\r", 0, offset)) + 1

    def line_end(self, offset: int) -> int:
        """The end of the line in which what ends at `offset` ends, without its line break."""
        if offset > 0 and self.text[offset - 1] in "\r\n":  # a block text ends at the next line
            return len(self.text[:offset].rstrip("\r\n"))
        following = re.compile(r"\r\n|\n|\r").search(self.text, offset)
        return following.start() if following else len(self.text)

    def after_line(self, offset: int) -> int:
        """Where the next line begins, after the one in which what ends at `offset` ends."""
        if offset > 0 and self.text[offset - 1] in "\r\n":
            return offset
        following = re.compile(r"\r\n|\n|\r").search(self.text, offset)
        return following.end() if following else len(self.text)


def nothing() -> MapNode:
    return MapNode({}, {}, False, Where("", 1, 1), 0, 0)


def tree_of(text: str) -> Text | None:
    root, _ = parse(text, "")
    return None if root is None else Text(text, root)


def meaning(node: Node | None) -> Meaning:
    """What a node says, digits as written, whatever its quotes, its order of fields and its layout."""
    if isinstance(node, MapNode):
        return {name: meaning(inner) for name, inner in node.items()}
    if isinstance(node, ListNode):
        return [meaning(inner) for inner in node.items]
    return None if node is None or node.is_null else (node.text, isinstance(node.value, str))


def items(node: Node | None) -> tuple[Node, ...]:
    return node.items if isinstance(node, ListNode) else ()


def as_read(text: str, node: Node | None) -> str:
    """A value as a person reads it."""
    if isinstance(node, TextNode):
        return node.text if not node.is_null else "nothing"
    return in_braces(text, node)


def in_braces(text: str, node: Node | None) -> str:
    """A node on one line, every scalar as it was written wherever that reads the same there."""
    if isinstance(node, MapNode):
        fields = (f"{field_name(key)}: {in_braces(text, node.values[name])}" for name, key in node.keys.items())
        return "{" + ", ".join(fields) + "}"
    if isinstance(node, ListNode):
        return "[" + ", ".join(in_braces(text, inner) for inner in node.items) + "]"
    if node is None or node.is_null:
        return "null"
    written = text[node.start : node.end]
    if node.plain and not isinstance(node.value, str):
        return written
    in_quotes = not node.plain and written[:1] in {"'", '"'} and not re.search(r"[\r\n]", written)
    return written if in_quotes else scalar(node.text)


def field_name(key: TextNode) -> str:
    return key.text if key.is_number else scalar(key.text)


def _indented(lines: Sequence[str], was: int, now: int) -> list[str]:
    """Lines moved from one indent to another; those that stand further left than the first are moved to it."""
    return [
        " " * now + (line[was:] if not line[:was].strip() else line.lstrip()) if line.strip() else line
        for line in lines
    ]


@dataclass
class Splices:
    """Changes to one text, all by its own offsets."""

    tree: Text
    changes: list[tuple[int, int, str]] = field(default_factory=list)

    def replace(self, node: Node, written: str) -> None:
        before = self.tree.text[: node.start]
        space = " " if node.start == node.end and before.endswith(":") else ""
        self.changes.append((node.start, node.end, space + written))

    def lines(self, offset: int, lines: Sequence[str]) -> None:
        """Whole lines at the beginning of a line."""
        self.changes.append((offset, offset, "".join(f"{line}\n" for line in lines)))

    def add_field(self, into: MapNode, name: str, written: str, lines: Sequence[str] | None = None) -> None:
        """A new last field of a mapping: in braces, or as whole lines, not yet indented."""
        last = next(reversed(into.values.values()), None)
        name = name if name.isdecimal() else scalar(name)
        if into.flow:
            after, comma = (last.end, ", ") if last else (into.start + 1, "")
            if last is not None and last.start == last.end:
                raise Awkward("a field in braces has no value")
            self.changes.append((after, after, f"{comma}{name}: {written}"))
            return
        at_root = into is self.tree.root
        offset = len(self.tree.text) if at_root else self.tree.after_line(into.end)
        column = 0 if at_root and not into.values else into.where.column - 1
        self.lines(offset, [" " * column + line for line in lines or [f"{name}: {written}"]])

    def remove_field(self, out_of: MapNode, name: str) -> None:
        names = list(out_of.keys)
        if out_of.flow:
            ends = [(out_of.keys[each].start, out_of.values[each].end) for each in names]
            self._remove_in_flow(ends, names.index(name))
            return
        key, value = out_of.keys[name], out_of.values[name]
        start = self.tree.line_start(key.start)
        if self.tree.text[start : key.start].strip(" ") or len(names) == 1:
            raise Awkward(f"'{name}' cannot be taken out of its line")
        self.changes.append((start, self.tree.after_line(value.end), ""))

    def remove_item(self, out_of: ListNode, index: int) -> None:
        item = out_of.items[index]
        if out_of.flow:
            self._remove_in_flow([(each.start, each.end) for each in out_of.items], index)
            return
        self.changes.append((self.dash_line(item), self.tree.after_line(item.end), ""))

    def _remove_in_flow(self, places: Sequence[tuple[int, int]], index: int) -> None:
        if index > 0:
            self.changes.append((places[index - 1][1], places[index][1], ""))
        elif len(places) > 1:
            self.changes.append((places[0][0], places[1][0], ""))
        else:
            self.changes.append((*places[0], ""))

    def dash_line(self, item: Node) -> int:
        """Where the line begins that holds an item's dash."""
        start = self.tree.line_start(item.start)
        if self.tree.text[start : item.start].strip(" ") != "-":
            raise Awkward("a record does not begin in the line of its dash")
        return start

    def add_items(
        self, owner: MapNode, name: str, node: Node | None, additions: Sequence[tuple[int, str, Sequence[str]]]
    ) -> None:
        """New items of a list, each after the item of that index (-1: before all), as text in braces and as lines."""
        if not additions:
            return
        text = self.tree.text
        if isinstance(node, ListNode) and node.items:
            for after, written, lines in additions:
                if node.flow and after < 0:
                    self.changes.append((node.items[0].start, node.items[0].start, f"{written}, "))
                elif node.flow:
                    self.changes.append((node.items[after].end, node.items[after].end, f", {written}"))
                else:
                    first = after < 0
                    offset = self.dash_line(node.items[0]) if first else self.tree.after_line(node.items[after].end)
                    self.lines(offset, [" " * (node.where.column - 1) + line if line else "" for line in lines])
            return
        all_lines = [f"  {line}" if line else "" for _, _, lines in additions for line in lines]
        all_written = ", ".join(written for _, written, _ in additions)
        if node is None:
            key = name if name.isdecimal() else scalar(name)
            self.add_field(owner, name, f"[{all_written}]", [f"{key}:", *all_lines])
            return
        if isinstance(node, ListNode) and (owner.flow or "#" in text[node.start : node.end]):
            self.changes.append((node.start + 1, node.start + 1, all_written))
            return
        if owner.flow:
            self.replace(node, f"[{all_written}]")
            return
        # nothing after the colon, or an empty list: the placeholder makes way
        start = len(text[: node.start].rstrip(" "))
        self.changes.append((start, node.end, ""))
        indent = " " * (owner.where.column - 1)
        self.lines(self.tree.after_line(node.end), [indent + line if line else "" for line in all_lines])

    def applied(self) -> str:
        text = self.tree.text
        line_end = "\r\n" if "\r\n" in text else "\n"
        result: list[str] = []
        at = 0
        for start, end, new in sorted(self.changes, key=lambda change: change[:2]):
            if start < at:
                raise Awkward("two changes meet in one place")
            result.append(text[at:start])
            if new.endswith("\n"):
                so_far = "".join(result)[-1:] or text[:start][-1:]
                if so_far and so_far not in "\r\n":
                    result.append(line_end)
                new = new.replace("\n", line_end)
            result.append(new)
            at = end
        return "".join([*result, text[at:]])


def field_lines(side: Text, of: MapNode, name: str) -> list[str]:
    """A field as whole lines, not indented: as it stands where it stands in lines of its own."""
    key, value = of.keys[name], of.values[name]
    if of.flow:
        return [f"{field_name(key)}: {in_braces(side.text, value)}"]
    lines = side.text[key.start : side.line_end(value.end)].splitlines()
    return [lines[0], *_indented(lines[1:], key.where.column - 1, 0)]


def item_lines(side: Text, of: ListNode, index: int) -> list[str]:
    """An item as whole lines, not indented, with the comment right above it."""
    item = of.items[index]
    if of.flow:
        return [f"- {in_braces(side.text, item)}"]
    column = of.where.column - 1
    start = side.line_start(item.start)
    if side.text[start : item.start].strip(" ") != "-":
        return [f"- {in_braces(side.text, item)}"]
    after = side.after_line(of.items[index - 1].end) if index else side.line_start(of.start)
    above = side.text[after:start].splitlines()
    comment = [line for line in above if line.strip().startswith("#")] if above and above[-1].strip() else []
    lines = side.text[start : side.line_end(item.end)].splitlines()
    return _indented([*comment, *lines], column, 0)
