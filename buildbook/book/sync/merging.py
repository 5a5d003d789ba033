"""Merges two benches' copies of one ledger file, record by record: a pure function on texts.

Records merge by their ids and parts by the ids of their pieces, not by line. Whatever either bench entered is in the
result: where both gave one thing two values, ours stays where it is, and theirs stands beside it on the record,
never as conflict markers. What is spliced in is theirs as written; every other byte stays as ours had it. The result
is read back and held against what it was to mean, so that a layout that cannot be spliced is found and never guessed.
"""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import NamedTuple

from buildbook.book.schema import check_tree
from buildbook.book.sync.renumbering import Renumbered, Side, by_id, free_id, renumber, taken, with_ids
from buildbook.book.sync.splicing import (
    Awkward,
    Meaning,
    Splices,
    Text,
    as_read,
    field_lines,
    field_name,
    in_braces,
    item_lines,
    items,
    meaning,
    nothing,
    tree_of,
)
from buildbook.book.sync.undecided import FIRST, NOTE, NOTHING, PAIRING, SIGN_OFFS, Mark, in_words, parted
from buildbook.book.writing import scalar
from buildbook.records.tree import ListNode, MapNode, Node, TextNode

LineMerge = Callable[[str, str, str], str | None]

# The kinds of file whose records can be void, and the list of these.
_VOIDABLE = {"weighings": "sessions", "clearances": "sessions", "spins": "steps"}
# Where what was measured is written: nothing is taken out from there.
_MEASURED = ("readings", "lot", "set", "spin")
# What a copy of a record says of itself, whether or not that is in question.
_OF_THE_RECORD = ("taken", "by", "with", "what", "temperature")
# How a balancing machine counts where its file does not say.
_COUNTED = {"positive": "with_rotation", "reading": "heavy_side"}


class Merged(NamedTuple):
    """The merged text, and the conflicts that it holds from this merge. `apart` says why theirs could not be merged
    in, so that it must be kept beside the file."""

    text: str
    marks: tuple[Mark, ...] = ()
    renumbered: tuple[Renumbered, ...] = ()
    apart: str = ""


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
    unsent: Side = "ours",
) -> Merged:
    """Merge two texts of one kind of file that both come from `base` (None where neither bench had the file).

    `line_merge` is git's own merge, None where it conflicts; it is taken where it means the same as the merge by
    records, because it keeps the comments of both. `followed` are ids that were renumbered in the other files of the
    build, for each side. `unsent` is the bench whose new records no other has seen: where two have one id, it is its
    record that is renumbered.
    """
    if ours == theirs or theirs == base:
        unchanged = Merged(ours)
    elif ours == base:
        unchanged = Merged(theirs)
    else:
        unchanged = None
    if unchanged and not (followed and any(followed.values())):
        return unchanged
    before, mine, other = (tree_of(text) for text in (base or "", ours, theirs))
    if base is None:
        before = Text("", nothing())
    if before is None or mine is None or other is None:
        return unchanged or _unreadable(base or "", ours, theirs, line_merge)
    if difference := _other_frame(mine.root, other.root):
        return unchanged or Merged(ours, apart=f"the two benches' files differ in {difference}")
    try:
        renumbered, (before, mine, other) = renumber(kind, (before, mine, other), followed or {}, unsent)
        work = _Merge(kind, before, mine, other, _signed_twice(kind, renumbered, mine, other))
        expected = _tidy(work.whole())
        text = line_merge(before.text, mine.text, other.text)
        if text is None or not _means(kind, text, expected):
            text = work.spliced()
        if not _means(kind, text, expected):
            raise Awkward("the file is laid out in a way that cannot be merged by records")
    except Awkward as awkward:
        return unchanged or Merged(ours, apart=str(awkward))
    return Merged(text, tuple(work.told), tuple(renumbered))


def _signed_twice(kind: str, renumbered: Sequence[Renumbered], ours: Text, theirs: Text) -> list[Mark]:
    """A sign-off that was renumbered: what was frozen and sealed under its id is another bench's now."""
    signed = {**by_id(theirs.root.get("sign_offs")), **by_id(ours.root.get("sign_offs"))}
    return [Mark(SIGN_OFFS, each.old, each.new) for each in renumbered if kind == "build" and each.new in signed]


def _unreadable(base: str, ours: str, theirs: str, line_merge: LineMerge) -> Merged:
    """Where one text is no ledger: as git merges, if the result is no worse than ours was."""
    text = line_merge(base, ours, theirs)
    if text is not None and (tree_of(text) is not None or tree_of(ours) is None):
        return Merged(text)
    return Merged(ours, apart="one bench's file cannot be read")


def marked(text: str, mark: Mark) -> str:
    """The text with a conflict in its note; as it was where that cannot be written into it."""
    tree = tree_of(text)
    if tree is None:
        return text
    splices = Splices(tree)
    note = tree.root.get(NOTE)
    if isinstance(note, TextNode) and not note.is_null:
        splices.replace(note, scalar(f"{note.text}; {mark.words}"))
    elif note is None:
        splices.add_field(tree.root, NOTE, scalar(mark.words))
    return splices.applied()


def _tidy(said: Meaning) -> Meaning:
    """Without what says nothing: `steps: []` is as good as no steps."""
    if isinstance(said, dict):
        return {name: tidy for name, inner in said.items() if (tidy := _tidy(inner)) not in (None, [], {})}
    if isinstance(said, list):
        return [_tidy(inner) for inner in said]
    return said


def _means(kind: str, text: str, expected: Meaning) -> bool:
    tree = tree_of(text)
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

    def __init__(self, kind: str, base: Text, ours: Text, theirs: Text, marks: Sequence[Mark]) -> None:
        self.kind = kind
        self.base, self.ours, self.theirs = base, ours, theirs
        self.splices = Splices(ours)
        self.conflicts: list[_Conflict] = []
        self.marks = [*marks]  # for the file's note
        self.told: list[Mark] = []  # all that this merge leaves to decide

    def spliced(self) -> str:
        return self.splices.applied()

    def whole(self) -> Meaning:
        """What the merged file must mean."""
        base, ours, theirs = self.base.root, self.ours.root, self.theirs.root
        but = {NOTE}
        extra: list[_Addition] = []
        result: dict[str, Meaning] = {}
        last: dict[Side, str] = {"ours": _last_decision(ours), "theirs": _last_decision(theirs)}
        if self.kind == "pairings" and self.two_decisions():
            but |= {"decided", "cylinders", "revised"}
            result, second, side, new = self.both_decisions()
            extra = [second]
            last[side] = new if last[side] == FIRST else last[side]
        result |= self.mapping(base, ours, theirs, (), but)
        if extra:
            revised = self.field(base, ours, theirs, "revised", (), extra)
            result["revised"] = None if isinstance(revised, _Absent) else revised
        if self.kind == "pairings" and self.decided_otherwise():
            order = [FIRST, *_ids(result.get("revised"))]
            other, counts = sorted(last.values(), key=order.index)
            self.marks.append(Mark(PAIRING, counts, other))
        note = self.note()
        if not isinstance(note, _Absent):
            result[NOTE] = note
        return result

    def note(self) -> Meaning | _Absent:
        """The file's own note, with every conflict that no record can hold. Those that one bench decided are gone."""
        roots = (self.base.root, self.ours.root, self.theirs.root)
        said = [_note(root) for root in roots]
        (old, old_marks), (mine, my_marks), (other, other_marks) = map(parted, said)
        self.marks += [
            Mark(_listed(each.path), as_read(self.ours.text, each.ours), as_read(self.theirs.text, each.theirs))
            for each in self.conflicts
        ]
        if mine != other and old not in (mine, other):
            self.marks.append(Mark(NOTE, mine or NOTHING, other or NOTHING))
        self.told += self.marks
        if not (self.marks or old_marks or my_marks or other_marks):
            return self.field(*roots, NOTE, ())
        decided = [each for each in old_marks if each not in my_marks or each not in other_marks]
        open_ = [each for each in dict.fromkeys([*my_marks, *other_marks, *self.marks]) if each not in decided]
        text = "; ".join(filter(None, (other if mine == old else mine, in_words(open_))))
        node = self.ours.root.get(NOTE)
        if text == said[1]:
            return meaning(node) if node is not None else _ABSENT
        if node is None:
            self.splices.add_field(self.ours.root, NOTE, scalar(text))
        elif text:
            self.splices.replace(node, scalar(text))
        else:
            self.splices.remove_field(self.ours.root, NOTE)
            return _ABSENT
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
            if extra or with_ids(old, mine, other):
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
                self.taken_out(here, as_read(self.theirs.text, other))
            self.splices.add_field(
                ours, name, in_braces(self.theirs.text, other), field_lines(self.theirs, theirs, name)
            )
            return said_other
        if said_mine == said_old:
            if other is not None:
                self.splices.replace(mine, in_braces(self.theirs.text, other))
                return said_other
            if not _is_measured(here):
                self.splices.remove_field(ours, name)
                return _ABSENT
        if other is None:
            self.taken_out(here, as_read(self.ours.text, mine))
            return said_mine
        self.conflicts.append(_Conflict(here, mine, other))
        return said_mine

    @staticmethod
    def is_of_records(name: str, *lists: ListNode) -> bool:
        return name == "ids" or all(isinstance(item, MapNode) for each in lists for item in each.items)

    def taken_out(self, path: Sequence[str], kept: str) -> None:
        """Something that one bench took out, and that stays until somebody says why it should not."""
        self.marks.append(Mark(_listed(path), kept, NOTHING))

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
        before, here, there = by_id(old), by_id(mine), by_id(other)
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
                self.taken_out((*path, id_), "the record")
        additions = list(extra)
        for index, (id_, record) in enumerate(there.items()):
            if id_ in here:
                continue
            if id_ in before:
                self.taken_out((*path, id_), "the record")
            assert isinstance(other, ListNode)
            written = in_braces(self.theirs.text, record)
            lines = item_lines(self.theirs, other, index)
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
        new = free_id(id_, used)
        differing = [each.path[2:] for each in self.conflicts]
        marks = [
            Mark(_listed(each.path), as_read(self.ours.text, each.ours), as_read(text, each.theirs))
            for each in self.conflicts
        ]
        self.conflicts = []
        self.told += marks
        void = in_words(marks)
        fields: dict[str, tuple[Meaning, str]] = {"id": ((new, True), scalar(new))}
        for name, node in theirs.items():
            if name in {"id", "void"}:
                continue
            ways = [way for way in differing if way[0] == name]
            if name == "readings" and ways and all(len(way) > 1 for way in ways):
                fields[name] = self.only(node, [way[1:] for way in ways])
            elif ways or name in _OF_THE_RECORD:
                fields[name] = meaning(node), in_braces(text, node)
        fields["void"] = (void, True), scalar(void)
        said: Meaning = {name: each for name, (each, _) in fields.items()}
        written = [f"{name}: {value}" for name, (_, value) in fields.items()]
        flow = "{" + ", ".join(written) + "}"
        lines = [f"- {written[0]}", *(f"  {each}" for each in written[1:])] if in_lines else [f"- {flow}"]
        return _Addition(None, said, flow, lines)

    def only(self, node: Node, ways: Sequence[tuple[str, ...]]) -> tuple[Meaning, str]:
        """A mapping with nothing in it but what these ways lead to."""
        if not isinstance(node, MapNode) or not all(ways):
            return meaning(node), in_braces(self.theirs.text, node)
        parts = {
            name: self.only(inner, [way[1:] for way in ways if way[0] == name])
            for name, inner in node.items()
            if any(way[0] == name for way in ways)
        }
        written = ", ".join(f"{field_name(node.keys[name])}: {inner}" for name, (_, inner) in parts.items())
        return {name: said for name, (said, _) in parts.items()}, "{" + written + "}"

    def loose(self, old: Node | None, ours: MapNode, theirs: MapNode, name: str) -> Meaning:
        """A list whose items have no ids: each is what it says, added or taken out as a whole."""
        mine, other = ours.get(name), theirs.get(name)
        before, here, there = ([meaning(item) for item in items(node)] for node in (old, mine, other))
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
                lines = item_lines(self.theirs, other, index)
                additions.append((kept_at, in_braces(self.theirs.text, other.items[index]), lines))
                merged.append(said)
        self.splices.add_items(ours, name, mine, additions)
        return merged

    # parts: by the ids of their pieces

    def parts(self, old: Node | None, ours: MapNode, theirs: MapNode) -> Meaning:
        mine, other = ours.get("parts"), theirs.get("parts")
        before, here, there = (
            [item for item in items(node) if isinstance(item, MapNode)] for node in (old, mine, other)
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
            lines = item_lines(self.theirs, other, index)
            additions.append((kept_at, in_braces(self.theirs.text, part), lines))
            merged.append(meaning(part))
        self.splices.add_items(ours, "parts", mine, additions)
        return merged

    # pairings: a decision is one thing

    def two_decisions(self) -> bool:
        old, mine, other = (_decision(tree.root) for tree in (self.base, self.ours, self.theirs))
        return mine != other and old not in (mine, other) and any(mine.values()) and any(other.values())

    def both_decisions(self) -> tuple[dict[str, Meaning], _Addition, Side, str]:
        """Both benches decided who goes with whom: the later decision is kept as the later one. What stays as the
        first, the other with the side that it is of, and its new id."""
        ours, theirs = self.ours.root, self.theirs.root
        when, when_theirs = taken(ours), taken(theirs)
        side: Side = "theirs"
        first, later, text = ours, theirs, self.theirs.text
        names = ("decided", "cylinders")
        complete = all(name in root.values for root in (ours, theirs) for name in names)
        if not any(_decision(self.base.root).values()) and complete and when and when_theirs and when_theirs <= when:
            side, first, later, text = "ours", theirs, ours, self.ours.text
            for name in names:
                self.splices.replace(ours.values[name], in_braces(self.theirs.text, theirs.values[name]))
        if "cylinders" not in later.values:
            raise Awkward("one bench's decision names no cylinders")
        used = {id_ for tree in (self.base, self.ours, self.theirs) for id_ in by_id(tree.root.get("revised"))}
        new = free_id("D1", used)
        because = "both benches decided, and neither knew of the other"
        fields: dict[str, tuple[Meaning, str]] = {"id": ((new, True), scalar(new))}
        if decided := later.get("decided"):
            fields["decided"] = meaning(decided), in_braces(text, decided)
        fields["because"] = (because, True), scalar(because)
        fields["cylinders"] = meaning(later.get("cylinders")), in_braces(text, later.get("cylinders"))
        written = [f"{name}: {value}" for name, (_, value) in fields.items()]
        lines = [f"- {written[0]}", *(f"  {each}" for each in written[1:])]
        said: Meaning = {name: each for name, (each, _) in fields.items()}
        addition = _Addition(taken(later), said, "{" + ", ".join(written) + "}", lines)
        return {name: meaning(first.get(name)) for name in names if name in first.values}, addition, side, new

    def decided_otherwise(self) -> bool:
        """Whether the last decisions of the two benches, both new, put different pieces together."""
        old, mine, other = (meaning(_last_cylinders(tree.root)) for tree in (self.base, self.ours, self.theirs))
        return bool(mine and other) and mine != other and old not in (mine, other)


def _decision(root: MapNode) -> dict[str, Meaning]:
    return {name: meaning(root.get(name)) for name in ("decided", "cylinders")}


def _last_decision(root: MapNode) -> str:
    return next(reversed(by_id(root.get("revised"))), FIRST)


def _last_cylinders(root: MapNode) -> Node | None:
    return next(reversed(by_id(root.get("revised")).values()), root).get("cylinders")


def _ids(said: Meaning) -> list[str]:
    records = said if isinstance(said, list) else []
    ids = (each.get("id") for each in records if isinstance(each, dict))
    return [id_[0] for id_ in ids if isinstance(id_, tuple)]


def _note(root: MapNode) -> str:
    node = root.get(NOTE)
    return node.text if isinstance(node, TextNode) and not node.is_null else ""


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
    return {item.text for item in items(part.get("ids")) if isinstance(item, TextNode)}


def _part_name(part: MapNode) -> str:
    ids = items(part.get("ids"))
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
