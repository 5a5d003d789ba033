"""Recording a pairing: the first into `decided` and `cylinders` of pairings.yaml, a later one as a revision."""

from collections.abc import Mapping, Sequence
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from buildbook.book.places import Misuse, shown
from buildbook.cli.common import add_record, keep, refusing, this_minute

if TYPE_CHECKING:
    from buildbook.book.writing import Value
    from buildbook.figures import Figures
    from buildbook.records.model import Decision
    from buildbook.records.tree import MapNode

Because = Annotated[
    str | None,
    typer.Option(
        "--because", metavar="WHY", help="With --write: why an earlier pairing is revised.", show_default=False
    ),
]

Sets = Mapping[str, Mapping[str, str]]  # cylinder → kind of part → id


def record_decision(
    book: Path, figures: "Figures", sets: Sets, sessions: Sequence[str], how: str, title: str, by: str,
    because: str | None,
) -> list[str]:  # fmt: skip
    """Write which set goes into which cylinder, unless it is what was decided last; what was done, in words.

    `sessions` are the weighings that it rests on, `title` the first line of the commit's message. Raises Misuse where
    the build has errors that a pairing would rest on: a lock broken so far is none, for the new pairing keeps it.
    """
    from buildbook.book.writing import lock, with_field, with_record
    from buildbook.records.tree import ListNode

    wrong = [each for each in figures.findings if each.severity == "error" and each.rule != "lock-broken"]
    if wrong:
        raise Misuse(f"{wrong[0].where}: {wrong[0].what}", "put the errors right first: a pairing would rest on them")
    build = figures.build
    cylinders: dict[str, Value] = {name: dict(pieces) for name, pieces in sets.items()}
    decision = build.pairings.decision
    if is_decided(decision, sets, sessions):
        return ["nothing: this pairing is the one in pairings.yaml"]
    taken = this_minute()
    decided: dict[str, Value] = {"taken": taken, "by": by, "how": how, "from": list(sessions)}
    id_ = "D1"

    def first(text: str, root: "MapNode") -> str:
        from buildbook.book.loader import parse

        with_decided = with_field(text, root, "decided", decided)
        between, _ = parse(with_decided, "pairings.yaml")
        assert between is not None
        return with_field(with_decided, between, "cylinders", cylinders)

    def revised(text: str, root: "MapNode") -> str:
        nonlocal id_
        now = root.get("revised")  # somebody else may have revised it since the search began
        earlier = now.value if isinstance(now, ListNode) else []
        used = {each.get("id") for each in earlier if isinstance(each, dict)}
        id_ = next(f"D{number}" for number in count(2) if f"D{number}" not in used)
        record: dict[str, Value] = {"id": id_, "decided": decided}
        record |= {"because": because} if because else {}
        return with_record(text, root, "revised", record | {"cylinders": cylinders})

    with lock(book):
        with refusing():
            path = add_record(book, figures, "pairings", revised if decision is not None else first)
        kept = keep(book, [path], f"{title}\n\nBuild: {build.name}\nRecord: {id_}", build.shop, by)
    return [f"the pairing, in {shown(path)}", *kept]


def is_decided(decision: "Decision | None", sets: Sets, sessions: Sequence[str]) -> bool:
    """Whether these sets, resting on these weighings, are what was decided last."""
    if decision is None or set(decision.from_) != set(sessions):
        return False
    return all(
        name in decision.cylinders
        and all(decision.cylinders[name].pieces.get(kind) == piece for kind, piece in pieces.items())
        for name, pieces in sets.items()
    )
