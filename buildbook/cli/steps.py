"""What `spin` and `correct` share: adding one step to spins.yaml, and showing what it comes to."""

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from buildbook.book.places import Misuse
from buildbook.cli.common import finish, make_record, no_unit_is_guessed, nothing_written, open_book
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
    """Append a step to spins.yaml, keep it in git, and show where the crankshaft stands now."""

    def entry(before: "Figures", tree: "MapNode | None") -> "tuple[str, dict[str, Value]]":
        untold = [finding for finding in cannot_tell(before) if finding.rule == "no-balance"]
        if untold:
            finish(before.build.name, dict, untold, nothing_written, as_json=as_json)
        fields = step(before.build)
        no_unit_is_guessed(tree, fields)
        return next(field for field in fields if field != "with"), fields

    recorded = make_record(name, book, by, ("spins", "steps"), "S", entry, as_json, note)
    figures = recorded.figures
    findings = [*recorded.findings, *figures.findings, *cannot_tell(figures)]

    def draw(to: "Console") -> None:
        recorded.draw(to)
        _draw_where_it_stands(to, figures, open_book(book))

    def as_figures() -> dict[str, object]:
        from buildbook.views.balance_json import spins

        return {"recorded": recorded.id, **spins(figures)}

    finish(figures.build.name, as_figures, findings, draw, as_json=as_json)


def remember_cuts(book: Path, figures: "Figures") -> None:
    """Let a balance know of the holes and plugs that are in its crankshaft from the builds that this one follows."""
    from buildbook.book.reading import Reader
    from buildbook.figures import work_out
    from buildbook.figures.balance import NoBalance

    reader, build, found = Reader(book), figures.build, []
    seen = {build.name}
    while (earlier := reader.followed(build)) is not None and earlier.name not in seen:
        if _crankshafts(earlier) != _crankshafts(figures.build):
            break
        seen.add(earlier.name)
        with suppress(NoBalance):  # then nothing was cut that is on record
            found += [cut._replace(step=f"{cut.step} of {build.follows}") for cut in work_out(earlier).balance.cuts]
        build = earlier
    figures.balance.cut_before = tuple(found)


def _crankshafts(build: "Build") -> set[str]:
    return {piece for part in build.parts if part.kind == "crankshaft" and part.fitted for piece in part.pieces}


def _draw_where_it_stands(to: "Console", figures: "Figures", book: Path) -> None:
    from buildbook.views.screen import BOLD, DOUBT, line, words
    from buildbook.views.spins import CAUTION, both_planes, draw_verdict

    balance = figures.balance
    if balance.pending:
        expected = balance.after(balance.spins[-1].measured, balance.pending) if balance.spins else None
        unknown = [change.unknown for change in balance.pending if change.unknown]
        if expected is not None:
            to.print(line(("the next spin should read: ", BOLD), both_planes(balance, expected)))
        elif unknown:
            to.print(line(("what the next spin should read is not known: ", BOLD), "; ".join(unknown)))
        newest = balance.cuts[-1] if balance.cuts else None
        if newest and newest.step == balance.pending[-1].step.id:
            remember_cuts(book, figures)
            if (into := balance.runs_into(newest)) is not None:
                said = f"{newest.step} runs into what {into} took: metal that was gone already is counted twice here."
                more = "A hole made deeper is taken down by its chips: 'buildbook correct grind PLANE@DEG --amount G'."
                to.print(words(f"{said} {more}", DOUBT))
        change = balance.pending[-1].step.change
        if change is not None and change.kind == "plug":
            open_ = "This plug is open to the rim, and nothing but its fit holds it there. "
            to.print(words((open_ if change.words.get("along") == "radius" else "") + CAUTION, DOUBT))
        return
    spin = balance.spins[-1]
    if spin.predicted is not None and spin.missed_by is not None:
        missed = both_planes(balance, spin.missed_by)
        to.print(line(("was predicted: ", BOLD), both_planes(balance, spin.predicted), f"; missed by {missed}"))
    draw_verdict(to, figures)


def machine(build: "Build", given: str | None) -> str:
    """The id of the balancing machine: as given, or the only one the shop has. Raises Misuse."""
    known = build.shop.instruments
    machines = [name for name, instrument in known.items() if instrument.balances]
    if given is None and len(machines) == 1:
        return machines[0]
    if given is None:
        raise Misuse(
            "which machine it was spun on is not said", f"add --with INSTRUMENT ({', '.join(machines or known)})"
        )
    if given not in known:
        raise Misuse(f"'{given[:40]}' is no instrument in shop.yaml", did_you_mean(given, known, "add it to shop.yaml"))
    return given
