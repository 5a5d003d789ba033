"""What `spin` and `correct` share: adding one step to spins.yaml, and showing what it comes to."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from buildbook.book.places import Misuse, resolve, shown
from buildbook.cli.common import add_record, finish, in_units_of, keep, open_book, person, this_minute
from buildbook.cli.spins import cannot_tell
from buildbook.records.finding import did_you_mean

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.book.writing import Value
    from buildbook.figures import Figures
    from buildbook.records.model import Build
    from buildbook.records.tree import MapNode


def record_step(
    name: str | None,
    book: Path | None,
    by: str | None,
    step: Callable[["Build"], "dict[str, Value]"],
    as_json: bool,
    note: str | None,
) -> NoReturn:
    """Append a step to spins.yaml, keep it in git, and show where the crankshaft stands now.

    Nothing is written where the book would then say something that cannot be: those findings are shown instead.
    """
    from buildbook.book.reading import Reader
    from buildbook.book.writing import Refused, with_record
    from buildbook.figures import work_out

    root = open_book(book)
    full_name = resolve(root, name, Path.cwd())
    loaded = Reader(root).load(full_name)
    build = loaded.build
    if build is None:
        from buildbook.views.show import unreadable

        finish(full_name, dict, loaded.findings, lambda to: unreadable(to, full_name), as_json=as_json)
    untold = [finding for finding in cannot_tell(work_out(build)) if finding.rule == "no-balance"]
    if untold:
        finish(full_name, dict, untold, _nothing_written, as_json=as_json)
    who = person(build.shop, by)
    taken = this_minute()
    record: dict[str, Value] = {"id": _next_id(build), "taken": taken, "by": who}
    record |= step(build) | ({"note": note} if note else {})

    def append(text: str, tree: "MapNode") -> str:
        return with_record(text, tree, "steps", in_units_of(tree, record))

    try:
        path = add_record(root, build, "spins", append)
    except Refused as refused:
        finish(full_name, dict, refused.findings, _nothing_written, as_json=as_json)
    kept = keep(root, [path], f"{_message(record)}\n\nBuild: {build.name}", build.shop, who)
    after = Reader(root).load(full_name)
    assert after.build is not None, "what was written was read back"
    figures = work_out(after.build)
    findings = [*after.findings, *figures.findings, *cannot_tell(figures)]

    def draw(to: "Console") -> None:
        from buildbook.views.screen import BOLD, line, words

        to.print(line(("recorded  ", BOLD), f"{record['id']}, in {shown(path)}"), soft_wrap=True)
        for said in kept:
            to.print(words(said))
        _draw_where_it_stands(to, figures)

    def as_figures() -> dict[str, object]:
        from buildbook.views.balance_json import spins

        return {"recorded": record["id"], **spins(figures)}

    finish(full_name, as_figures, findings, draw, as_json=as_json)


def _next_id(build: "Build") -> str:
    numbers = [
        int(step.id[1:]) for step in build.spins.steps if step.id and step.id[0] == "S" and step.id[1:].isdecimal()
    ]
    return f"S{max(numbers, default=0) + 1}"


def _message(record: "dict[str, Value]") -> str:
    kind = next(name for name in record if name not in {"id", "taken", "by", "with", "note"})
    return f"Record {record['id']}: {kind}"


def _nothing_written(to: "Console") -> None:
    from buildbook.views.screen import BAD, words

    to.print(words("nothing was written: the record would not hold together", BAD))


def _draw_where_it_stands(to: "Console", figures: "Figures") -> None:
    from buildbook.views.screen import BOLD, line
    from buildbook.views.spins import both_planes, draw_verdict

    balance = figures.balance
    if balance.pending:
        expected = balance.after(balance.spins[-1].measured, balance.pending) if balance.spins else None
        unknown = [change.unknown for change in balance.pending if change.unknown]
        if expected is not None:
            to.print(line(("the next spin should read: ", BOLD), both_planes(balance, expected)))
        elif unknown:
            to.print(line(("what the next spin should read is not known: ", BOLD), "; ".join(unknown)))
        return
    spin = balance.spins[-1]
    if spin.predicted is not None and spin.missed_by is not None:
        missed = both_planes(balance, spin.missed_by)
        to.print(line(("was predicted: ", BOLD), both_planes(balance, spin.predicted), f"; missed by {missed}"))
    draw_verdict(to, figures)


def machine(build: "Build", given: str | None) -> str:
    """The id of the balancing machine: as given, or the only one the shop has. Raises Misuse."""
    known = build.shop.instruments
    machines = [name for name, instrument in known.items() if instrument.kind == "balancing_machine"]
    if given is None and len(machines) == 1:
        return machines[0]
    if given is None:
        raise Misuse(
            "which machine it was spun on is not said", f"add --with INSTRUMENT ({', '.join(machines or known)})"
        )
    if given not in known:
        raise Misuse(f"'{given[:40]}' is no instrument in shop.yaml", did_you_mean(given, known, "add it to shop.yaml"))
    return given
