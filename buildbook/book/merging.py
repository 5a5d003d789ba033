"""Merges two benches' copies of one ledger file, record by record: a pure function on texts.

Records merge by their ids and parts by the ids of their pieces, not by line. Whatever either bench entered is in the
result: where both gave one thing two values, ours stays where it is, and theirs stands beside it on the record,
never as conflict markers. What is spliced in is theirs as written; every other byte stays as ours had it. The result
is read back and held against what it was to mean, so that a layout that cannot be spliced is found and never guessed.
"""

import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Literal, NamedTuple

from buildbook.book.loader import parse
from buildbook.book.schema import check_tree
from buildbook.book.writing import scalar
from buildbook.records.finding import Where
from buildbook.records.tree import ListNode, MapNode, Node, TextNode

# What a file says: groups, lists, and each scalar's text with whether it is a text (`"12"`) or not (`12`).
Meaning = dict[str, "Meaning"] | list["Meaning"] | tuple[str, bool] | None
Side = Literal["ours", "theirs"]
LineMerge = Callable[[str, str, str], str | None]

# The kinds of file whose records can be void, and the list of these.
_VOIDABLE = {"weighings": "sessions", "clearances": "sessions", "spins": "steps"}
# Where what was measured is written: nothing is taken out from there.
_MEASURED = ("readings", "lot", "set", "spin")
_DIFFER = "the two benches differ"
# What a copy of a record says of itself, whether or not that is in question.
_OF_THE_RECORD = ("taken", "by", "with", "what", "temperature")
# How a balancing machine counts where its file does not say.
_COUNTED = {"positive": "with_rotation", "reading": "heavy_side"}


class Question(NamedTuple):
    """What a person has to decide: where, what it is, and what each bench has."""

    file: str
    where: str
    what: str
    ours: str
    theirs: str


class Renumbered(NamedTuple):
    """A record whose id was taken: the side that it came from, its id there and the one it has now."""

    file: str
    side: Side
    old: str
    new: str


class Merged(NamedTuple):
    """The merged text. `whole` says that theirs could not be merged in, so that it must be kept beside the file."""

    text: str
    questions: tuple[Question, ...] = ()
    renumbered: tuple[Renumbered, ...] = ()
    whole: bool = False


def no_line_merge(base: str, ours: str, theirs: str) -> str | None:
    """Stands in for git's line merge where there is none."""
    return None


def merge_texts(
    kind: str,
    base: str | None,
    ours: str,
    theirs: str,
    *,
    line_merge: LineMerge = no_line_merge,
    followed: Mapping[Side, Mapping[str, str]] | None = None,
) -> Merged:
    """Merge two texts of one kind of file that both come from `base` (None where neither bench had the file).

    `line_merge` is git's own merge, None where it conflicts; it is taken where it means the same as the merge by
    records, because it keeps the comments of both. `followed` are ids that were renumbered in the other files of the
    build, for each side.
    """
    if ours == theirs or theirs == base:
        unchanged = Merged(ours)
    elif ours == base:
        unchanged = Merged(theirs)
    else:
        unchanged = None
    file = f"{kind}.yaml"
    if unchanged and not (followed and any(followed.values())):
        return unchanged
    before, mine, other = (_tree(text) for text in (base or "", ours, theirs))
    if base is None:
        before = _Text("", _nothing())
    if before is None or mine is None or other is None:
        return unchanged or _unreadable(file, kind, base or "", ours, theirs, line_merge)
    if difference := _other_frame(mine.root, other.root):
        return unchanged or _kept_apart(file, ours, f"the two benches' files differ in {difference}")
    try:
        renumbered, (before, mine, other) = _renumbered(kind, (before, mine, other), followed or {})
        work = _Merge(kind, before, mine, other)
        expected = _tidy(work.whole())
        text = line_merge(before.text, mine.text, other.text)
        if text is None or not _means(kind, text, expected):
            text = work.spliced()
        if not _means(kind, text, expected):
            raise _Awkward("the file is laid out in a way that cannot be merged by records")
    except _Awkward as awkward:
        return unchanged or _kept_apart(file, ours, str(awkward))
    return Merged(text, (*work.questions, *_signed_twice(kind, renumbered, mine, other)), tuple(renumbered))


def _signed_twice(kind: str, renumbered: Sequence[Renumbered], ours: "_Text", theirs: "_Text") -> list[Question]:
    """A sign-off that was renumbered: what was frozen and sealed under its id is another bench's now."""
    signed = {**_by_id(theirs.root.get("sign_offs")), **_by_id(ours.root.get("sign_offs"))}
    what = "both benches signed under one id, and neither knew of the other"
    return [
        Question(f"{kind}.yaml", each.new, f"{what}: the later sign-off is {each.new} now", *_ids_by_side(each))
        for each in renumbered
        if kind == "build" and each.new in signed
    ]


def _ids_by_side(each: Renumbered) -> tuple[str, str]:
    return (each.new, each.old) if each.side == "ours" else (each.old, each.new)


def _unreadable(file: str, kind: str, base: str, ours: str, theirs: str, line_merge: LineMerge) -> Merged:
    """Where one text is no ledger: as git merges, if the result is no worse than ours was."""
    text = line_merge(base, ours, theirs)
    if text is not None and (_tree(text) is not None or _tree(ours) is None):
        return Merged(text)
    return _kept_apart(file, ours, "one bench's file cannot be read")


def _kept_apart(file: str, ours: str, why: str) -> Merged:
    what = f"{why}, so the other bench's file was not merged in: it is kept whole beside ours"
    return Merged(ours, (Question(file, "the whole file", what, "this file", "the file beside it"),), (), whole=True)


class _Awkward(Exception):
    """A file that cannot be merged by records, and why."""


class _Text(NamedTuple):
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


def _nothing() -> MapNode:
    return MapNode({}, {}, False, Where("", 1, 1), 0, 0)


def _tree(text: str) -> _Text | None:
    root, _ = parse(text, "")
    return None if root is None else _Text(text, root)


def meaning(node: Node | None) -> Meaning:
    """What a node says, digits as written, whatever its quotes, its order of fields and its layout."""
    if isinstance(node, MapNode):
        return {name: meaning(inner) for name, inner in node.items()}
    if isinstance(node, ListNode):
        return [meaning(inner) for inner in node.items]
    return None if node is None or node.is_null else (node.text, isinstance(node.value, str))


def _tidy(said: Meaning) -> Meaning:
    """Without what says nothing: `steps: []` is as good as no steps."""
    if isinstance(said, dict):
        return {name: tidy for name, inner in said.items() if (tidy := _tidy(inner)) not in (None, [], {})}
    if isinstance(said, list):
        return [_tidy(inner) for inner in said]
    return said


def _means(kind: str, text: str, expected: Meaning) -> bool:
    tree = _tree(text)
    return tree is not None and _tidy(meaning(tree.root)) == expected and not check_tree(kind, tree.root)


def _other_frame(ours: MapNode, theirs: MapNode) -> str | None:
    """In what the two files read a bare number otherwise: then no record can go from one into the other."""
    mine, other = ours.get("units"), theirs.get("units")
    for dimension in mine.values if isinstance(mine, MapNode) and isinstance(other, MapNode) else ():
        assert isinstance(mine, MapNode)
        assert isinstance(other, MapNode)
        if dimension in other.values and meaning(mine.get(dimension)) != meaning(other.get(dimension)):
            return f"their unit of {dimension}"
    if _counting(ours) != _counting(theirs):
        return "how the machine counts angles"
    return None


def _counting(root: MapNode) -> dict[str, str]:
    angles = root.get("angles")
    fields = angles.items() if isinstance(angles, MapNode) else ()
    said = {name: node.text for name, node in fields if isinstance(node, TextNode) and name != "note"}
    return {**_COUNTED, **said}


# --- as text ---------------------------------------------------------------------------------------------------------


def _flow(text: str, node: Node | None) -> str:
    """A node on one line, every scalar as it was written wherever that reads the same there."""
    if isinstance(node, MapNode):
        fields = (f"{_name(key)}: {_flow(text, node.values[name])}" for name, key in node.keys.items())
        return "{" + ", ".join(fields) + "}"
    if isinstance(node, ListNode):
        return "[" + ", ".join(_flow(text, inner) for inner in node.items) + "]"
    if node is None or node.is_null:
        return "null"
    written = text[node.start : node.end]
    if node.plain and not isinstance(node.value, str):
        return written
    in_quotes = not node.plain and written[:1] in {"'", '"'} and not re.search(r"[\r\n]", written)
    return written if in_quotes else scalar(node.text)


def _name(key: TextNode) -> str:
    return key.text if key.is_number else scalar(key.text)


def _indented(lines: Sequence[str], was: int, now: int) -> list[str]:
    """Lines moved from one indent to another; those that stand further left than the first are moved to it."""
    return [
        " " * now + (line[was:] if not line[:was].strip() else line.lstrip()) if line.strip() else line
        for line in lines
    ]


@dataclass
class _Splices:
    """Changes to one text, all by its own offsets."""

    tree: _Text
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
                raise _Awkward("a field in braces has no value")
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
            raise _Awkward(f"'{name}' cannot be taken out of its line")
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
            raise _Awkward("a record does not begin in the line of its dash")
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
                raise _Awkward("two changes meet in one place")
            result.append(text[at:start])
            if new.endswith("\n"):
                so_far = "".join(result)[-1:] or text[:start][-1:]
                if so_far and so_far not in "\r\n":
                    result.append(line_end)
                new = new.replace("\n", line_end)
            result.append(new)
            at = end
        return "".join([*result, text[at:]])


def _field_lines(side: _Text, of: MapNode, name: str) -> list[str]:
    """A field as whole lines, not indented: as it stands where it stands in lines of its own."""
    key, value = of.keys[name], of.values[name]
    if of.flow:
        return [f"{_name(key)}: {_flow(side.text, value)}"]
    lines = side.text[key.start : side.line_end(value.end)].splitlines()
    return [lines[0], *_indented(lines[1:], key.where.column - 1, 0)]


def _item_lines(side: _Text, of: ListNode, index: int) -> list[str]:
    """An item as whole lines, not indented, with the comment right above it."""
    item = of.items[index]
    if of.flow:
        return [f"- {_flow(side.text, item)}"]
    column = of.where.column - 1
    start = side.line_start(item.start)
    if side.text[start : item.start].strip(" ") != "-":
        return [f"- {_flow(side.text, item)}"]
    after = side.after_line(of.items[index - 1].end) if index else side.line_start(of.start)
    above = side.text[after:start].splitlines()
    comment = [line for line in above if line.strip().startswith("#")] if above and above[-1].strip() else []
    lines = side.text[start : side.line_end(item.end)].splitlines()
    return _indented([*comment, *lines], column, 0)


# --- ids -------------------------------------------------------------------------------------------------------------


def _id(node: Node) -> str | None:
    id_ = node.get("id") if isinstance(node, MapNode) else None
    return id_.text if isinstance(id_, TextNode) and not id_.is_null else None


def _items(node: Node | None) -> tuple[Node, ...]:
    return node.items if isinstance(node, ListNode) else ()


def _with_ids(*lists: Node | None) -> bool:
    """Whether these are lists of records with ids."""
    items = [item for each in lists for item in _items(each)]
    return bool(items) and all(_id(item) is not None for item in items)


def _by_id(node: Node | None) -> dict[str, MapNode]:
    found: dict[str, MapNode] = {}
    for item in _items(node):
        id_ = _id(item)
        if id_ is None or not isinstance(item, MapNode):
            raise _Awkward("a record has no id")
        if id_ in found:
            raise _Awkward(f"{id_} is the id of two records")
        found[id_] = item
    return found


def taken(record: MapNode) -> datetime | None:
    """The instant of a record, or of the decision that it holds; a time without an offset is taken as UTC."""
    decided = record.get("decided")
    node = record.get("taken") or (decided.get("taken") if isinstance(decided, MapNode) else None)
    try:
        instant = datetime.fromisoformat(node.text) if isinstance(node, TextNode) else None
    except ValueError:
        return None
    return instant.replace(tzinfo=UTC) if instant and not instant.tzinfo else instant


def _later(record: MapNode) -> tuple[bool, datetime, str]:
    """What the later of two records is found by: the same at both benches, also where neither says when."""
    instant = taken(record)
    return instant is None, instant or datetime.min.replace(tzinfo=UTC), json.dumps(meaning(record), sort_keys=True)


def _free_id(id_: str, used: set[str]) -> str:
    """The next free id of this kind: W5 after W4, `trial-2` after `trial`. It is used from now on."""
    match = re.fullmatch(r"(.*?)(\d+)", id_)
    prefix = match[1] if match else f"{id_}-"
    numbers = [int(each[len(prefix) :]) for each in used if re.fullmatch(re.escape(prefix) + r"\d{1,9}", each)]
    new = f"{prefix}{max(numbers, default=1) + 1}"
    used.add(new)
    return new


def _was(id_: str) -> str:
    return f"was {id_} at the other bench"


def _renumbered(
    kind: str, texts: tuple[_Text, _Text, _Text], followed: Mapping[Side, Mapping[str, str]]
) -> tuple[list[Renumbered], tuple[_Text, _Text, _Text]]:
    """Base, ours and theirs with no id that two records have: the later-taken record has the next free one."""
    base, ours, theirs = texts
    ours = _with_ids_changed(ours, {}, followed.get("ours", {}))
    theirs = _with_ids_changed(theirs, {}, followed.get("theirs", {}))
    told: list[Renumbered] = []
    while True:
        known, new_ids = _new_ids(base.root, ours.root, theirs.root)
        if not any(new_ids.values()):
            return told, (base, ours, theirs)
        told += [
            Renumbered(f"{kind}.yaml", side, old, new) for side, ids in new_ids.items() for old, new in ids.items()
        ]
        # what refers to a record follows it, and may by that become another record than its namesake
        base = _with_ids_changed(base, known, {})
        ours = _with_ids_changed(ours, new_ids["ours"], {})
        theirs = _with_ids_changed(theirs, new_ids["theirs"], {})


def _new_ids(base: MapNode, ours: MapNode, theirs: MapNode) -> tuple[dict[str, str], dict[Side, dict[str, str]]]:
    """Which ids change: in the base, by what one side renumbered before, and on each side."""
    known: dict[str, str] = {}
    new_ids: dict[Side, dict[str, str]] = {"ours": {}, "theirs": {}}
    for name in dict.fromkeys([*ours.values, *theirs.values]):
        lists = [root.get(name) for root in (base, ours, theirs)]
        if not _with_ids(*lists):
            continue
        old, mine, other = map(_by_id, lists)
        used = {*old, *mine, *other}
        sides: list[tuple[Side, dict[str, MapNode], dict[str, MapNode]]] = [
            ("ours", mine, other),
            ("theirs", other, mine),
        ]
        for side, here, there in sides:
            for id_, new in _heard(old, there).items():
                if id_ in here and new not in here and _same_record(here[id_], old[id_]):
                    new_ids[side][id_] = known[id_] = new
        both = [id_ for id_ in mine if id_ in other and id_ not in old and meaning(mine[id_]) != meaning(other[id_])]
        for id_ in sorted(both, key=lambda each: max(_later(mine[each]), _later(other[each]))):
            later: Side = "ours" if _later(mine[id_]) > _later(other[id_]) else "theirs"
            new_ids[later][id_] = _free_id(id_, used)
    return known, new_ids


def _heard(old: Mapping[str, MapNode], now: Mapping[str, MapNode]) -> dict[str, str]:
    """Ids of `old` whose records have another id in `now`, by what these say of themselves."""
    found = {}
    for new, record in now.items():
        note = record.get("note")
        said = re.search(r"was (\S+) at the other bench\)?$", note.text) if isinstance(note, TextNode) else None
        if new not in old and said and said[1] in old and _same_record(record, old[said[1]]):
            found[said[1]] = new
    return {id_: new for id_, new in found.items() if id_ not in now or not _same_record(now[id_], old[id_])}


def _same_record(one: MapNode, two: MapNode) -> bool:
    return all(meaning(one.get(name)) == meaning(two.get(name)) for name in ("taken", "by", "with", "what"))


def _with_ids_changed(tree: _Text, new_ids: Mapping[str, str], followed: Mapping[str, str]) -> _Text:
    """The text with these ids changed, each record saying what it was, and what refers to them following."""
    if not new_ids and not followed:
        return tree
    splices = _Splices(tree)
    referred = {"from": followed, "step": new_ids, "sign_off": new_ids}

    def change(node: Node, name: str, owner: MapNode | None) -> None:
        if isinstance(node, MapNode):
            for inner_name, inner in node.items():
                change(inner, inner_name, node)
        elif isinstance(node, ListNode):
            for item in node.items:
                change(item, name, owner)
                id_ = _id(item)
                if owner is tree.root and isinstance(item, MapNode) and id_ is not None and id_ in new_ids:
                    splices.replace(item.values["id"], scalar(new_ids[id_]))
                    note = item.get("note")
                    if isinstance(note, TextNode) and not note.is_null:
                        splices.replace(note, scalar(f"{note.text} ({_was(id_)})"))
                    elif note is None:
                        splices.add_field(item, "note", scalar(_was(id_)))
        elif name in referred and node.text in referred[name]:
            splices.replace(node, scalar(referred[name][node.text]))

    change(tree.root, "", None)
    text = splices.applied()
    changed = _tree(text)
    if changed is None:
        raise _Awkward("the file is laid out in a way that no id can be changed in")
    return changed


# --- the merge -------------------------------------------------------------------------------------------------------


class _Conflict(NamedTuple):
    """One thing with two values: the way to it, and both."""

    path: tuple[str, ...]
    ours: Node
    theirs: Node


class _Addition(NamedTuple):
    """An item that goes into a list of ours: when it was taken, what it means, in braces and as lines.

    `stands_before` is the record of both benches before which it stands at the other, if any.
    """

    instant: datetime | None
    meaning: Meaning
    written: str
    lines: Sequence[str]
    stands_before: str | None = None


class _Absent:
    """Stands for a field that is not there."""


_ABSENT = _Absent()


class _Merge:
    """One merge of three trees: what it must mean is worked out, and the splices that make it of ours."""

    def __init__(self, kind: str, base: _Text, ours: _Text, theirs: _Text) -> None:
        self.kind = kind
        self.base, self.ours, self.theirs = base, ours, theirs
        self.splices = _Splices(ours)
        self.questions: list[Question] = []
        self.conflicts: list[_Conflict] = []

    def spliced(self) -> str:
        return self.splices.applied()

    def whole(self) -> Meaning:
        """What the merged file must mean."""
        base, ours, theirs = self.base.root, self.ours.root, self.theirs.root
        later = {"note"}
        extra: list[_Addition] = []
        result: dict[str, Meaning] = {}
        if self.kind == "pairings" and self.two_decisions():
            later |= {"decided", "cylinders"}
            result, extra = self.both_decisions()
        result |= self.mapping(base, ours, theirs, (), later | ({"revised"} if extra else set()))
        if extra:
            revised = self.field(base, ours, theirs, "revised", (), extra)
            result["revised"] = None if isinstance(revised, _Absent) else revised
        note = self.note()
        if not isinstance(note, _Absent):
            result["note"] = note
        return result

    def note(self) -> Meaning | _Absent:
        """The file's own note, with every conflict that no record can hold."""
        base, ours, theirs = self.base.root, self.ours.root, self.theirs.root
        said = [meaning(root.get("note")) for root in (base, ours, theirs)]
        if said[1] is not None and said[2] is not None and said[1] != said[2] and said[0] not in said[1:]:
            self.conflict(("note",), ours.values["note"], theirs.values["note"])
        if not self.conflicts:
            return self.field(base, ours, theirs, "note", ())
        kept = theirs.get("note") if said[1] is None or said[1] == said[0] else ours.get("note")
        words = [kept.text] if isinstance(kept, TextNode) and not kept.is_null else []
        for each in self.conflicts:
            value = _shown(self.theirs.text, each.theirs)
            words.append(f"conflict in {_listed(each.path)}: the other bench has {value}: decide")
        self.kept_in("in the file's note")
        text = "; ".join(words)
        mine = ours.get("note")
        if mine is not None:
            self.splices.replace(mine, scalar(text))
        else:
            self.splices.add_field(ours, "note", scalar(text))
        return text, True

    def mapping(
        self,
        base: MapNode | None,
        ours: MapNode,
        theirs: MapNode,
        path: tuple[str, ...],
        but: set[str] | frozenset[str] = frozenset(),
    ) -> dict[str, Meaning]:
        result = {}
        for name in dict.fromkeys([*ours.values, *theirs.values]):
            if name not in but:
                said = self.field(base, ours, theirs, name, path)
                if not isinstance(said, _Absent):
                    result[name] = said
        return result

    def field(
        self,
        base: MapNode | None,
        ours: MapNode,
        theirs: MapNode,
        name: str,
        path: tuple[str, ...],
        extra: Sequence[_Addition] = (),
    ) -> Meaning | _Absent:
        """One field of both, merged."""
        old, mine, other = (base.get(name) if base else None), ours.get(name), theirs.get(name)
        here = (*path, name)
        said_old, said_mine, said_other = meaning(old), meaning(mine), meaning(other)
        if isinstance(mine, MapNode) and isinstance(other, MapNode):
            return self.mapping(old if isinstance(old, MapNode) else None, mine, other, here)
        lists = [each for each in (mine, other) if isinstance(each, ListNode) and each.items]
        no_other = all(isinstance(each, ListNode) or meaning(each) is None for each in (mine, other))
        if no_other and (extra or (lists and self.is_of_records(name, *lists))):
            if extra or _with_ids(old, mine, other):
                return self.records(old, ours, theirs, name, here, extra)
            if here == ("parts",):
                return self.parts(old, ours, theirs)
            return self.loose(old, ours, theirs, name)
        if said_mine == said_other:
            return said_mine if name in ours.values or name not in theirs.values else _ABSENT
        if said_other == said_old and not (mine is None and _is_measured(here)):
            return said_mine if name in ours.values else _ABSENT  # only ours changed, if anybody did
        if mine is None:  # new at the other bench, or taken out at ours and not lost
            assert other is not None
            if name in (base.values if base else ()):
                self.ask(here, "was taken out at this bench, and is kept: void its record instead", "", said_other)
            self.splices.add_field(ours, name, _flow(self.theirs.text, other), _field_lines(self.theirs, theirs, name))
            return said_other
        if said_mine == said_old:
            if other is not None:
                self.splices.replace(mine, _flow(self.theirs.text, other))
                return said_other
            if not _is_measured(here):
                self.splices.remove_field(ours, name)
                return _ABSENT
        if other is None:
            self.ask(here, "was taken out at the other bench, and is kept: void its record instead", said_mine, "")
            return said_mine
        self.conflict(here, mine, other)
        return said_mine

    @staticmethod
    def is_of_records(name: str, *lists: ListNode) -> bool:
        return name == "ids" or all(isinstance(item, MapNode) for each in lists for item in each.items)

    def ask(self, path: Sequence[str], what: str, ours: Meaning | str, theirs: Meaning | str) -> None:
        where = _listed(path)
        self.questions.append(Question(f"{self.kind}.yaml", where, what, _spoken(ours), _spoken(theirs)))

    def conflict(self, path: tuple[str, ...], ours: Node, theirs: Node) -> None:
        self.conflicts.append(_Conflict(path, ours, theirs))
        values = _shown(self.ours.text, ours), _shown(self.theirs.text, theirs)
        self.questions.append(Question(f"{self.kind}.yaml", _listed(path), _DIFFER, *values))

    def kept_in(self, where: str) -> None:
        """Let the questions about the conflicts so far say where the other bench's values are."""
        of_these = {_listed(each.path) for each in self.conflicts}
        self.questions = [
            each._replace(what=f"{_DIFFER}; the other's value is kept {where}")
            if each.what == _DIFFER and each.where in of_these
            else each
            for each in self.questions
        ]
        self.conflicts = []

    # lists of records

    def records(
        self,
        old: Node | None,
        ours: MapNode,
        theirs: MapNode,
        name: str,
        path: tuple[str, ...],
        extra: Sequence[_Addition] = (),
    ) -> Meaning:
        """A list of records with ids: none is lost, and new ones go in by when they were taken."""
        mine, other = ours.get(name), theirs.get(name)
        before, here, there = _by_id(old), _by_id(mine), _by_id(other)
        used = {*before, *here, *there}
        merged: list[Meaning] = []
        voided: list[_Addition] = []
        for id_, record in here.items():
            if id_ in there:
                outer, self.conflicts = self.conflicts, []
                merged.append(dict(self.mapping(before.get(id_), record, there[id_], (*path, id_))))
                if self.conflicts and _VOIDABLE.get(self.kind) == name:
                    voided.append(self.void_copy(id_, there[id_], used, in_lines=not record.flow))
                self.conflicts = [*outer, *self.conflicts]
                continue
            merged.append(meaning(record))
            if id_ in before:
                self.ask((*path, id_), "was taken out at the other bench, and is kept: void it instead", "kept", "")
        additions = list(extra)
        for index, (id_, record) in enumerate(there.items()):
            if id_ in here:
                continue
            if id_ in before:
                self.ask((*path, id_), "was taken out at this bench, and is kept: void it instead", "", "kept")
            assert isinstance(other, ListNode)
            written = _flow(self.theirs.text, record)
            lines = _item_lines(self.theirs, other, index)
            after_it = list(there)[index + 1 :]
            stands_before = next((each for each in after_it if each in here and each in before), None)
            additions.append(_Addition(taken(record), meaning(record), written, lines, stands_before))
        places = self.places(before, list(here.items()), additions)
        places += [(len(here) - 1, each) for each in voided]
        self.splices.add_items(ours, name, mine, [(after, each.written, each.lines) for after, each in places])
        return _woven(merged, places)

    @staticmethod
    def places(
        before: Mapping[str, MapNode], here: Sequence[tuple[str, MapNode]], additions: Sequence[_Addition]
    ) -> list[tuple[int, _Addition]]:
        """After which of our records each addition goes: where it stands among what both benches had, and after that
        before the first of ours that is new and taken later."""
        at = max((index for index, (id_, _) in enumerate(here) if id_ in before), default=-1) + 1
        ids = [id_ for id_, _ in here]
        result = []
        for addition in additions:
            if addition.stands_before is not None:
                result.append((ids.index(addition.stands_before) - 1, addition))
                continue
            while at < len(here):
                ours = taken(here[at][1])
                if addition.instant is not None and ours is not None and addition.instant < ours:
                    break
                at += 1
            result.append((at - 1, addition))
        return result

    def void_copy(self, id_: str, theirs: MapNode, used: set[str], *, in_lines: bool) -> _Addition:
        """What the other bench has otherwise in a record, as a record of its own that does not count."""
        text = self.theirs.text
        new = _free_id(id_, used)
        differing = [each.path[2:] for each in self.conflicts]
        values = ", ".join(
            f"{_listed(way[1:] if way[0] == 'readings' else way)} {_shown(text, each.theirs)}"
            for way, each in zip(differing, self.conflicts, strict=True)
        )
        when, who = theirs.get("taken"), theirs.get("by")
        made = f", taken {when.text}" if isinstance(when, TextNode) else ""
        made += f" by {who.text}" if isinstance(who, TextNode) else ""
        void = f"conflict: the other bench has {values} in {id_}{made}: decide"
        self.kept_in(f"in {new}, which is void")
        fields: dict[str, tuple[Meaning, str]] = {"id": ((new, True), scalar(new))}
        for name, node in theirs.items():
            if name in {"id", "void"}:
                continue
            ways = [way for way in differing if way[0] == name]
            if name == "readings" and ways and all(len(way) > 1 for way in ways):
                fields[name] = self.only(node, [way[1:] for way in ways])
            elif ways or name in _OF_THE_RECORD:
                fields[name] = meaning(node), _flow(text, node)
        fields["void"] = (void, True), scalar(void)
        said: Meaning = {name: each for name, (each, _) in fields.items()}
        written = [f"{name}: {value}" for name, (_, value) in fields.items()]
        flow = "{" + ", ".join(written) + "}"
        lines = [f"- {written[0]}", *(f"  {each}" for each in written[1:])] if in_lines else [f"- {flow}"]
        return _Addition(None, said, flow, lines)

    def only(self, node: Node, ways: Sequence[tuple[str, ...]]) -> tuple[Meaning, str]:
        """A mapping with nothing in it but what these ways lead to."""
        if not isinstance(node, MapNode) or not all(ways):
            return meaning(node), _flow(self.theirs.text, node)
        parts = {
            name: self.only(inner, [way[1:] for way in ways if way[0] == name])
            for name, inner in node.items()
            if any(way[0] == name for way in ways)
        }
        written = ", ".join(f"{_name(node.keys[name])}: {inner}" for name, (_, inner) in parts.items())
        return {name: said for name, (said, _) in parts.items()}, "{" + written + "}"

    def loose(self, old: Node | None, ours: MapNode, theirs: MapNode, name: str) -> Meaning:
        """A list whose items have no ids: each is what it says, added or taken out as a whole."""
        mine, other = ours.get(name), theirs.get(name)
        before, here, there = ([meaning(item) for item in _items(node)] for node in (old, mine, other))
        merged: list[Meaning] = []
        kept_at = -1
        for index, said in enumerate(here):
            if said in before and said not in there:
                assert isinstance(mine, ListNode)
                self.splices.remove_item(mine, index)
            else:
                merged.append(said)
                kept_at = index
        additions = []
        for index, said in enumerate(there):
            if said not in before and said not in here:
                assert isinstance(other, ListNode)
                lines = _item_lines(self.theirs, other, index)
                additions.append((kept_at, _flow(self.theirs.text, other.items[index]), lines))
                merged.append(said)
        self.splices.add_items(ours, name, mine, additions)
        return merged

    # parts: by the ids of their pieces

    def parts(self, old: Node | None, ours: MapNode, theirs: MapNode) -> Meaning:
        mine, other = ours.get("parts"), theirs.get("parts")
        before, here, there = (
            [item for item in _items(node) if isinstance(item, MapNode)] for node in (old, mine, other)
        )
        old_of_mine, old_of_other = _matched(before, here), _matched(before, there)
        taken_by: dict[int, int] = {}  # theirs → ours, by way of what both come from
        mine_of_old = {came_from: at for at, came_from in old_of_mine.items()}
        for index, came_from in old_of_other.items():
            if came_from in mine_of_old:
                taken_by[index] = mine_of_old[came_from]
        new_mine = [index for index in range(len(here)) if index not in old_of_mine]
        new_other = [index for index in range(len(there)) if index not in old_of_other]
        for at, met in _matched([here[each] for each in new_mine], [there[each] for each in new_other]).items():
            taken_by[new_other[at]] = new_mine[met]
        partner = {at: index for index, at in taken_by.items()}
        merged: list[Meaning] = []
        kept_at = -1
        for index, part in enumerate(here):
            if index in partner:
                base = before[old_of_mine[index]] if index in old_of_mine else None
                where = ("parts", _part_name(part))
                merged.append(dict(self.mapping(base, part, there[partner[index]], where)))
            elif index in old_of_mine and meaning(part) == meaning(before[old_of_mine[index]]):
                assert isinstance(mine, ListNode)
                self.splices.remove_item(mine, index)  # taken out at the other bench
                continue
            else:
                merged.append(meaning(part))
            kept_at = index
        additions = []
        for index, part in enumerate(there):
            if index in taken_by:
                continue
            if index in old_of_other and meaning(part) == meaning(before[old_of_other[index]]):
                continue  # taken out at this bench
            assert isinstance(other, ListNode)
            lines = _item_lines(self.theirs, other, index)
            additions.append((kept_at, _flow(self.theirs.text, part), lines))
            merged.append(meaning(part))
        self.splices.add_items(ours, "parts", mine, additions)
        return merged

    # pairings: a decision is one thing

    def two_decisions(self) -> bool:
        old, mine, other = (_decision(tree.root) for tree in (self.base, self.ours, self.theirs))
        return mine != other and old not in (mine, other) and any(mine.values()) and any(other.values())

    def both_decisions(self) -> tuple[dict[str, Meaning], list[_Addition]]:
        """Both benches decided who goes with whom: the later decision is kept as the later one."""
        ours, theirs = self.ours.root, self.theirs.root
        when, when_theirs = taken(ours), taken(theirs)
        first, later, text = ours, theirs, self.theirs.text
        names = ("decided", "cylinders")
        complete = all(name in root.values for root in (ours, theirs) for name in names)
        if not any(_decision(self.base.root).values()) and complete and when and when_theirs and when_theirs < when:
            first, later, text = theirs, ours, self.ours.text
            for name in names:
                self.splices.replace(ours.values[name], _flow(self.theirs.text, theirs.values[name]))
        if "cylinders" not in later.values:
            raise _Awkward("one bench's decision names no cylinders")
        used = {id_ for tree in (self.base, self.ours, self.theirs) for id_ in _by_id(tree.root.get("revised"))}
        new = _free_id("D1", used)
        because = "conflict: both benches decided, and neither knew of the other: decide"
        fields: dict[str, tuple[Meaning, str]] = {"id": ((new, True), scalar(new))}
        if decided := later.get("decided"):
            fields["decided"] = meaning(decided), _flow(text, decided)
        fields["because"] = (because, True), scalar(because)
        fields["cylinders"] = meaning(later.get("cylinders")), _flow(text, later.get("cylinders"))
        written = [f"{name}: {value}" for name, (_, value) in fields.items()]
        lines = [f"- {written[0]}", *(f"  {each}" for each in written[1:])]
        shown = (_shown(side.text, side.root.get("decided")) for side in (self.ours, self.theirs))
        self.questions.append(
            Question("pairings.yaml", f"decided, {new}", "both benches decided; the later one counts", *shown)
        )
        said: Meaning = {name: each for name, (each, _) in fields.items()}
        addition = _Addition(taken(later), said, "{" + ", ".join(written) + "}", lines)
        return {name: meaning(first.get(name)) for name in names if name in first.values}, [addition]


def _decision(root: MapNode) -> dict[str, Meaning]:
    return {name: meaning(root.get(name)) for name in ("decided", "cylinders")}


def _matched(before: Sequence[MapNode], now: Sequence[MapNode]) -> dict[int, int]:
    """Which line of a parts list was which before: the one that shares most ids, or without ids the kind's next."""
    found: dict[int, int] = {}
    pairs = [
        (len(_piece_ids(part) & _piece_ids(old)), index, at)
        for index, part in enumerate(now)
        for at, old in enumerate(before)
        if meaning(part.get("kind")) == meaning(old.get("kind"))
    ]
    for shared, index, at in sorted(pairs, key=lambda pair: (-pair[0], pair[1], pair[2])):
        without_ids = not _piece_ids(now[index]) and not _piece_ids(before[at])
        if (shared or without_ids) and index not in found and at not in found.values():
            found[index] = at
    return found


def _piece_ids(part: MapNode) -> set[str]:
    return {item.text for item in _items(part.get("ids")) if isinstance(item, TextNode)}


def _part_name(part: MapNode) -> str:
    ids = _items(part.get("ids"))
    first = ids[0] if ids else part.get("kind")
    return first.text if isinstance(first, TextNode) else "a part"


def _woven(merged: Sequence[Meaning], places: Sequence[tuple[int, _Addition]]) -> list[Meaning]:
    """Our records with each addition after the one that it follows."""
    result = [each.meaning for after, each in places if after < 0]
    for index, said in enumerate(merged):
        result += [said, *(each.meaning for after, each in places if after == index)]
    return result


def _is_measured(path: Sequence[str]) -> bool:
    return any(name in _MEASURED for name in path)


def _listed(path: Sequence[str]) -> str:
    """The way to a value in words: `W1 readings R2`, `limits main_clearance max`."""
    shown = path[1:] if path and path[0] in {"sessions", "steps", "parts", "sign_offs", "reopened", "revised"} else path
    return " ".join(shown)


def _shown(text: str, node: Node | None) -> str:
    """A value as a person reads it."""
    if isinstance(node, TextNode):
        return node.text if not node.is_null else "nothing"
    return _flow(text, node)


def _spoken(said: Meaning | str) -> str:
    if isinstance(said, str):
        return said or "nothing"
    if isinstance(said, dict):
        return ", ".join(f"{name} {_spoken(inner)}" for name, inner in said.items())
    if isinstance(said, list):
        return ", ".join(map(_spoken, said))
    return said[0] if said else "nothing"
