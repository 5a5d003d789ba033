"""Ids that two benches gave to two records: the record that is on the remote already keeps its id."""

import json
import re
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Literal, NamedTuple

from buildbook.book.sync.splicing import Awkward, Splices, Text, items, meaning, tree_of
from buildbook.book.writing import scalar
from buildbook.records.tree import ListNode, MapNode, Node, TextNode

Side = Literal["ours", "theirs"]


class Renumbered(NamedTuple):
    """A record whose id was taken: the side that it came from, its id there and the one it has now."""

    file: str
    side: Side
    old: str
    new: str


def id_of(node: Node) -> str | None:
    id_ = node.get("id") if isinstance(node, MapNode) else None
    return id_.text if isinstance(id_, TextNode) and not id_.is_null else None


def with_ids(*lists: Node | None) -> bool:
    """Whether these are lists of records with ids."""
    records = [item for each in lists for item in items(each)]
    return bool(records) and all(id_of(record) is not None for record in records)


def by_id(node: Node | None) -> dict[str, MapNode]:
    found: dict[str, MapNode] = {}
    for item in items(node):
        id_ = id_of(item)
        if id_ is None or not isinstance(item, MapNode):
            raise Awkward("a record has no id")
        if id_ in found:
            raise Awkward(f"{id_} is the id of two records")
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


def free_id(id_: str, used: set[str]) -> str:
    """The next free id of this kind: W5 after W4, `trial-2` after `trial`. It is used from now on."""
    match = re.fullmatch(r"(.*?)(\d+)", id_)
    prefix = match[1] if match else f"{id_}-"
    numbers = [int(each[len(prefix) :]) for each in used if re.fullmatch(re.escape(prefix) + r"\d{1,9}", each)]
    new = f"{prefix}{max(numbers, default=1) + 1}"
    used.add(new)
    return new


def _was(id_: str) -> str:
    return f"entered as {id_}"


def renumber(
    kind: str, texts: tuple[Text, Text, Text], followed: Mapping[Side, Mapping[str, str]], unsent: Side
) -> tuple[list[Renumbered], tuple[Text, Text, Text]]:
    """Base, ours and theirs with no id that two records have: the one that was not sent yet has the next free one."""
    base, ours, theirs = texts
    ours = _with_ids_changed(ours, {}, followed.get("ours", {}))
    theirs = _with_ids_changed(theirs, {}, followed.get("theirs", {}))
    told: list[Renumbered] = []
    while True:
        known, new_ids = _new_ids(base.root, ours.root, theirs.root, unsent)
        if not any(new_ids.values()):
            return told, (base, ours, theirs)
        told += [
            Renumbered(f"{kind}.yaml", side, old, new) for side, ids in new_ids.items() for old, new in ids.items()
        ]
        # what refers to a record follows it, and may by that become another record than its namesake
        base = _with_ids_changed(base, known, {})
        ours = _with_ids_changed(ours, new_ids["ours"], {})
        theirs = _with_ids_changed(theirs, new_ids["theirs"], {})


def _new_ids(
    base: MapNode, ours: MapNode, theirs: MapNode, unsent: Side
) -> tuple[dict[str, str], dict[Side, dict[str, str]]]:
    """Which ids change: in the base, by what one side renumbered before, and on each side."""
    known: dict[str, str] = {}
    new_ids: dict[Side, dict[str, str]] = {"ours": {}, "theirs": {}}
    for name in dict.fromkeys([*ours.values, *theirs.values]):
        lists = [root.get(name) for root in (base, ours, theirs)]
        if not with_ids(*lists):
            continue
        old, mine, other = map(by_id, lists)
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
            new_ids[unsent][id_] = free_id(id_, used)
    return known, new_ids


def _heard(old: Mapping[str, MapNode], now: Mapping[str, MapNode]) -> dict[str, str]:
    """Ids of `old` whose records have another id in `now`, by what these say of themselves."""
    found = {}
    for new, record in now.items():
        note = record.get("note")
        said = re.search(r"entered as (\S+?)\)?$", note.text) if isinstance(note, TextNode) else None
        if new not in old and said and said[1] in old and _same_record(record, old[said[1]]):
            found[said[1]] = new
    return {id_: new for id_, new in found.items() if id_ not in now or not _same_record(now[id_], old[id_])}


def _same_record(one: MapNode, two: MapNode) -> bool:
    return all(meaning(one.get(name)) == meaning(two.get(name)) for name in ("taken", "by", "with", "what"))


def _with_ids_changed(tree: Text, new_ids: Mapping[str, str], followed: Mapping[str, str]) -> Text:
    """The text with these ids changed, each record saying what it was, and what refers to them following."""
    if not new_ids and not followed:
        return tree
    splices = Splices(tree)
    referred = {"from": followed, "step": new_ids, "sign_off": new_ids}

    def change(node: Node, name: str, owner: MapNode | None) -> None:
        if isinstance(node, MapNode):
            for inner_name, inner in node.items():
                change(inner, inner_name, node)
        elif isinstance(node, ListNode):
            for item in node.items:
                change(item, name, owner)
                id_ = id_of(item)
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
    changed = tree_of(text)
    if changed is None:
        raise Awkward("the file is laid out in a way that no id can be changed in")
    return changed
