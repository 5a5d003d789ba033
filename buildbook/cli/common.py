"""What every command shares: its options, opening a build, and the one way to finish."""

from collections.abc import Callable, Container, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from importlib import import_module
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING, Annotated, NamedTuple, NoReturn

import typer

from buildbook.book.places import Misuse, builds, engines, find_book, resolve, shown
from buildbook.records.finding import Finding, Where, did_you_mean

if TYPE_CHECKING:
    from rich.console import Console

    from buildbook.book.reading import Loaded, Reader
    from buildbook.book.writing import Value
    from buildbook.figures import Figures
    from buildbook.quantities import Quantity
    from buildbook.records.model import Build, Entry, Instrument, Shop
    from buildbook.records.tree import MapNode


def complete_builds(incomplete: str) -> list[str]:
    """Engines and builds of the book here, for the Tab key."""
    try:
        book = find_book(Path.cwd())
    except Misuse:
        return []
    engine, slash, _ = incomplete.partition("/")
    names = [f"{engine}/{build}" for build in builds(book, engine)] if slash else engines(book)
    return [name for name in names if name.startswith(incomplete) and name.isprintable()]  # shells show it as it is


def complete_people(incomplete: str) -> list[str]:
    """The ids of the people in the book here, for the Tab key."""
    shop = _shop_here()
    return [name for name in (shop.people if shop else ()) if name.startswith(incomplete)]


def complete_instruments(incomplete: str) -> list[str]:
    """The ids of the instruments in the book here, for the Tab key."""
    return _instruments(incomplete, lambda each: True)


def complete_scales(incomplete: str) -> list[str]:
    """The ids of what a piece can be weighed on, for the Tab key."""
    return _instruments(incomplete, lambda each: each.weighs)


def complete_machines(incomplete: str) -> list[str]:
    """The ids of the balancing machines, for the Tab key."""
    return _instruments(incomplete, lambda each: each.balances)


def _instruments(incomplete: str, wanted: Callable[["Instrument"], bool]) -> list[str]:
    shop = _shop_here()
    known = shop.instruments if shop else {}
    return [name for name, each in known.items() if name.startswith(incomplete) and wanted(each)]


def _shop_here() -> "Shop | None":
    from buildbook.book.reading import Reader

    try:
        return Reader(find_book(Path.cwd())).shop()[0]
    except Misuse:
        return None


BuildName = Annotated[
    str | None,
    typer.Argument(
        metavar="[BUILD]",
        help="The build, as in heron-07/2026-10-rebuild; an engine alone means its newest build. "
        "Inside a build's folder no name is needed.",
        autocompletion=complete_builds,
        show_default=False,
    ),
]
BookPath = Annotated[
    Path | None,
    typer.Option(
        "--book", metavar="PATH", help="The book's folder; else the one you are in.", envvar="BUILDBOOK_BOOK",
        show_default=False, show_envvar=False,
    ),
]  # fmt: skip
By = Annotated[
    str | None,
    typer.Option(
        "--by", metavar="PERSON", help="Who does it: an id from shop.yaml. Only one person there needs no naming.",
        envvar="BUILDBOOK_BY", autocompletion=complete_people, show_default=False, show_envvar=False,
    ),
]  # fmt: skip
BuildOption = Annotated[
    str | None,
    typer.Option(
        "--build", metavar="BUILD", help="The build; inside its folder no name is needed.",
        autocompletion=complete_builds, show_default=False,
    ),
]  # fmt: skip
Note = Annotated[str | None, typer.Option("--note", metavar="TEXT", help="A remark.", show_default=False)]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object instead.", show_default=False)]


def command(app: typer.Typer, example: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Register a function as the one command of its file, with an example under its help."""
    return app.command(epilog=f"Example: {example}", context_settings={"help_option_names": ["--help", "-h"]})


def new_app() -> typer.Typer:
    """A Typer that leaves square brackets in help text alone."""
    return typer.Typer(rich_markup_mode=None, add_completion=False)


def read_option(text: str, dimension: str, unit: str, option: str) -> "Quantity":
    """A number as typed after an option. Raises Misuse."""
    from buildbook.quantities import QuantityError, read_quantity

    try:
        return read_quantity(text, dimension, unit)
    except QuantityError as error:
        raise Misuse(f"{option}: {error.what}", error.remedy) from None


def read_angle(text: str, option: str) -> "Quantity":
    """An angle as typed, from 0 to below 360. Raises Misuse."""
    angle = read_option(text.removesuffix("°"), "angle", "deg", option)
    degrees = angle.worth("deg")
    if not 0 <= degrees < 360:
        remedy = f"write {float(degrees % 360):g}: angles go from 0 to below 360"
        raise Misuse(f"{option}: an angle of {text} is not on the machine's scale", remedy)
    return angle


def open_book(book: Path | None) -> Path:
    return find_book(book or Path.cwd())


def finish(
    build: str | None,
    figures: Callable[[], Mapping[str, object]],
    findings: Sequence[Finding],
    draw: Callable[["Console"], None],
    *,
    as_json: bool,
    with_reasons: bool = False,
    drawn: Container[str] = (),
) -> NoReturn:
    """Print the figures and the findings, as JSON or for a person, and exit: 0 fine, 1 for findings.

    Findings of the rules in `drawn` are on the screen already, in the figures.
    """
    if as_json:
        from buildbook.views.as_json import dump

        typer.echo(dump(build, figures(), findings))
    else:
        from buildbook.views.findings import count_of, draw_findings
        from buildbook.views.screen import console, words

        to = console()
        draw(to)
        shown = [each for each in findings if (with_reasons or each.severity != "note") and each.rule not in drawn]
        if shown:
            to.print()
            draw_findings(to, shown, with_reasons=with_reasons)
            to.print(words(count_of(shown), "bold"))
    raise typer.Exit(1 if any(finding.severity != "note" for finding in findings) else 0)


def the_shop(book: Path) -> "Shop":
    from buildbook.book.reading import Reader

    shop, findings = Reader(book).shop()
    if shop is None:
        raise Misuse(f"{findings[0].where}: {findings[0].what}", findings[0].remedy)
    return shop


def person(shop: "Shop", by: str | None) -> str:
    """The id of whoever makes a record. Raises Misuse where that is not certain."""
    if by is None and len(shop.people) == 1:
        return next(iter(shop.people))
    known = ", ".join(shop.people) or "nobody yet"
    if by is None:
        raise Misuse("who makes this record is not said", f"add --by PERSON ({known}), or set BUILDBOOK_BY")
    if by not in shop.people:
        remedy = did_you_mean(by, shop.people, f"add {by[:40]} to its people; it has {known}")
        raise Misuse(f"there is nobody named '{by[:40]}' in shop.yaml", remedy)
    return by


def this_minute() -> str:
    """The time of a record that is made now, as its `taken` is written."""
    return datetime.now().astimezone().isoformat(timespec="minutes")


def keep(book: Path, paths: Sequence[Path], message: str, shop: "Shop", by: str | None) -> list[str]:
    """Commit what a command wrote. What is written stays written where git cannot: then it says why."""
    from buildbook.book import git
    from buildbook.book.writing import lock

    try:
        with lock(book):  # two commits at once would be in each other's way
            remarks = git.keep(book, paths, message, author(shop, by))
    except git.NotKept as reason:
        return [f"not kept in git's history: {reason}"]
    return ["kept in git", *remarks]


def author(shop: "Shop", by: str | None) -> str | None:
    """Somebody of the shop as git names who wrote something."""
    who = shop.people.get(by or "")
    return f"{who.name or by} <{who.email or f'{by}@localhost'}>" if who else None


def tidy_up(book: Path, *folders: Path) -> None:
    """Remove what a killed command left in these folders, and say so."""
    if not folders:
        return
    from buildbook.book.writing import tidy

    for path in tidy(book, folders):
        typer.echo(f"removed {shown(path)}: left behind by a command that was killed before it was done", err=True)


def keep_by_hand(book: Path, path: Path) -> None:
    """Before a record goes into a file: what was edited in it by hand is kept by itself, for it is not of that record.

    So is a record that a killed command wrote and did not live to commit. Raises Misuse where what was on the record is
    gone: that is for a person to say, with `keep`.
    """
    from buildbook.book import git

    try:
        if changes := git.changed(book, path):
            from buildbook.book import kept

            edits = kept.edits(book, changes)
            if lost := kept.lost(edits):
                insist = "if it is to go, 'buildbook keep --even-so' says so; nothing was written"
                raise Misuse(lost[0].what, f"{lost[0].remedy}; {insist}")
            message = kept.message(edits)
            git.keep(book, [path], message)
            subject = message.partition("\n")[0]
            typer.echo(f"{shown(path)} was edited by hand: kept in git by itself, as '{subject}'", err=True)
    except git.NotKept:
        pass  # the commit of the record itself will say why


def stated_in(root: "MapNode | None", dimension: str) -> str | None:
    """The unit that a file states for its numbers of a dimension."""
    units = root.value.get("units") if root is not None else None
    stated = units.get(dimension) if isinstance(units, dict) else None
    return str(stated) if stated else None


def in_units_of(root: "MapNode", record: "Mapping[str, Value]") -> "dict[str, Value]":
    """A record as it must be written into a file: a number carries its unit where the file states another, or none."""
    from buildbook.quantities import Quantity

    def written(value: "Value") -> "Value":
        if isinstance(value, Mapping):
            return in_units_of(root, value)
        if isinstance(value, list):
            return [written(each) for each in value]
        if not isinstance(value, Quantity) or value.text.endswith(value.unit):
            return value
        return value if stated_in(root, value.dimension) == value.unit else replace(value, text=value.written)

    return {name: written(value) for name, value in record.items()}


def no_unit_is_guessed(root: "MapNode | None", typed: "Value") -> None:
    """A number typed without a unit is in the command's; raises Misuse where the file's numbers are in another."""
    from buildbook.quantities import Quantity

    if isinstance(typed, Mapping):
        for each in typed.values():
            no_unit_is_guessed(root, each)
    elif isinstance(typed, Quantity) and not typed.text.endswith(typed.unit):
        stated = stated_in(root, typed.dimension) or typed.unit
        if stated != typed.unit:
            what = f"{typed.text} says no unit, and the numbers in the file are in {stated}"
            raise Misuse(what, f"write {typed.text}{stated}, or {typed.text}{typed.unit}")


class Judged(NamedTuple):
    """A build as a record would make it: the reader that sees it so, what that read, and the figures that follow."""

    reader: "Reader"
    loaded: "Loaded"
    figures: "Figures"


def add_record(book: Path, before: "Figures", kind: str, change: Callable[[str, "MapNode"], str]) -> Path:
    """Add a record to a file of the build, unless the book would then say something that it must not. Raises Refused
    with what that is; what was wrong before is no objection."""
    from buildbook.book.reading import Reader

    return _add(Reader(book), before, kind, change)[0]


def _as_written(build: "Build", where: Where) -> Where:
    return where


def _add(
    reader: "Reader",
    before: "Figures",
    kind: str,
    change: Callable[[str, "MapNode"], str],
    came_from: "Callable[[Build, Where], Where]" = _as_written,
) -> tuple[Path, Judged | None]:
    """Add a record, as `add_record`; and the build with it, as it was judged. `came_from` says where what stands at a
    place of the new file came from, for a record that is refused: nobody could look it up there."""
    from buildbook.book import git
    from buildbook.book.places import folder_of
    from buildbook.book.writing import Refused, edit
    from buildbook.figures import work_out
    from buildbook.figures.audit_rules import sealed_objection

    book, build = reader.book, before.build
    path = folder_of(book, build.name) / f"{kind}.yaml"
    if not path.exists():
        raise Misuse(
            f"{path.name} of {build.name} is not there", "bring it back from git, or copy one from another build"
        )
    judged: Judged | None = None

    def objections(content: bytes) -> list[Finding]:
        nonlocal judged
        changed = reader.with_change(path, content)
        loaded = changed.load(build.name)
        found = [*loaded.findings]
        if loaded.build is not None:
            judged = Judged(changed, loaded, work_out(loaded.build))
            found += judged.figures.thorough_findings
        errors = _not_before(before, [each for each in found if each.severity == "error"])
        build_with = loaded.build
        return [replace(each, where=came_from(build_with, each.where)) for each in errors] if build_with else errors

    if (passing := git.passing_state(book)) is not None:
        raise Misuse(passing.what, f"{passing.remedy}; nothing was written")
    if kind != "build" and (sealed := sealed_objection(build)) is not None:
        raise Refused([sealed])
    tidy_up(book, path.parent)
    edit(book, kind, path, change, objections, lambda: keep_by_hand(book, path))
    return path, judged


def _not_before(before: "Figures", found: Sequence[Finding]) -> list[Finding]:
    """What is found now and was not found before: that is looked for only where there is anything now."""
    known = {(finding.rule, finding.what) for finding in before.thorough_findings} if found else set()
    return [each for each in found if (each.rule, each.what) not in known]


@contextmanager
def refusing() -> Iterator[None]:
    """For a command that has no figures of its own to show beside them: the first objection to a record as a Misuse."""
    from buildbook.book.writing import Refused

    try:
        yield
    except Refused as refused:
        first = refused.findings[0]
        raise Misuse(first.what, f"{first.remedy}; nothing was written") from None


class Recorded(NamedTuple):
    """A record that was made: its id, the file it is in, what became of it in git, and the build with it."""

    id: str
    path: Path
    kept: Sequence[str]
    before: "Figures"
    figures: "Figures"
    findings: Sequence[Finding]  # of the files; the figures have their own

    @property
    def brought(self) -> list[Finding]:
        """What is found now and was not found before."""
        return _not_before(self.before, self.figures.thorough_findings)

    def draw(self, to: "Console") -> None:
        from buildbook.views.screen import BOLD, line, words

        to.print(line(("recorded  ", BOLD), f"{self.id}, in {shown(self.path)}"), soft_wrap=True)
        for said in self.kept:
            to.print(words(said))


def nothing_written(to: "Console") -> None:
    from buildbook.views.screen import BAD, words

    to.print(words("nothing was written: the record would not hold together", BAD))


def make_record(
    name: str | None,
    book: Path | None,
    by: str | None,
    where: tuple[str, str],
    prefix: str,
    entry: "Callable[[Figures, MapNode | None], tuple[str, dict[str, Value]]]",
    as_json: bool,
    note: str | None,
    came_from: "Callable[[Build, Where], Where]" = _as_written,
) -> Recorded:
    """Append a record to a list of one of the build's files (`where`: the file and its list) and keep it in git.

    `entry` gives its title and its fields, from the figures and from the file's tree as they are before. Nothing is
    written where the book would then say something that cannot be: those findings are shown instead, and that is all
    (`came_from`: where it was that a part of the record was read from).
    """
    from buildbook.book.places import folder_of
    from buildbook.book.reading import Reader
    from buildbook.book.writing import Refused, lock, with_record
    from buildbook.figures import work_out

    root = open_book(book)
    full_name = resolve(root, name, Path.cwd())
    with lock(root):  # from reading through to the commit: no other command comes in between
        reader = Reader(root)
        loaded = reader.load(full_name)
        build = loaded.build
        if build is None:
            from buildbook.views.show import unreadable

            finish(full_name, dict, loaded.findings, lambda to: unreadable(to, full_name), as_json=as_json)
        file, field = where
        tree, _ = reader.file(file, folder_of(root, full_name) / f"{file}.yaml", needed=False)
        who = person(build.shop, by)
        taken = this_minute()
        before = work_out(build)
        title, fields = entry(before, tree)
        entries: Sequence[Entry] = {
            ("weighings", "sessions"): build.weighings,
            ("clearances", "sessions"): build.clearances,
            ("spins", "steps"): build.spins.steps,
            ("build", "sign_offs"): build.sign_offs,
            ("build", "reopened"): build.reopened,
        }[where]
        record: dict[str, Value] = {"id": _next_id(entries, prefix), "taken": taken, "by": who}
        record |= fields | ({"note": note} if note else {})

        def append(text: str, now: "MapNode") -> str:
            return with_record(text, now, field, in_units_of(now, record))

        try:
            path, judged = _add(reader, before, file, append, came_from)
        except Refused as refused:
            finish(full_name, dict, refused.findings, nothing_written, as_json=as_json)
        message = f"Record {record['id']}: {title}\n\nBuild: {build.name}\nRecord: {record['id']}"
        if not as_json:  # while git works, get ready to draw
            Thread(target=import_module, args=("buildbook.views.findings",)).start()
        kept = keep(root, [path], message, build.shop, who)
        if judged is not None and judged.reader.still_holds():  # read back as it was judged: the figures are the same
            return Recorded(str(record["id"]), path, kept, before, judged.figures, judged.loaded.findings)
        after = Reader(root).load(full_name)
        if after.build is None:  # it was read back as it was written, so the disk or another program has a part in it
            what = (
                f"{record['id']} was recorded ({kept[0]}), and now the build cannot be read: {after.findings[0].what}"
            )
            raise Misuse(what, f"see 'buildbook check {full_name}'; do not enter it again")
        return Recorded(str(record["id"]), path, kept, before, work_out(after.build), after.findings)


def _next_id(entries: "Sequence[Entry]", prefix: str) -> str:
    used = [entry.id.removeprefix(prefix) for entry in entries if entry.id and entry.id.startswith(prefix)]
    return f"{prefix}{max((int(number) for number in used if number.isdecimal()), default=0) + 1}"


def show_build(
    name: str | None,
    book: Path | None,
    as_json: bool,
    figures_json: Callable[["Figures"], Mapping[str, object]],
    draw: Callable[["Console", "Figures"], None],
    more_findings: Callable[["Figures"], Sequence[Finding]] = lambda figures: (),
    *,
    wrote: Callable[[], bool] = lambda: False,
    match_seconds: float = 10.0,
    needs_layout: bool = False,
    drawn: Container[str] = (),
) -> NoReturn:
    """Open a build, show what one command has to show of it, and finish with the build's findings.

    Where a file cannot be read for certain, or `more_findings` holds an error, there are no figures to show. Where
    finding out `more_findings` wrote something, the build is read again, so that no finding is of what was before.
    """
    from buildbook.book.reading import Reader
    from buildbook.figures import work_out

    root = open_book(book)
    full_name = resolve(root, name, Path.cwd())
    loaded = Reader(root).load(full_name)
    findings = [*loaded.findings]
    if loaded.build is not None:
        figures = work_out(loaded.build, match_seconds=match_seconds)
        ready = figures.has_layout or not needs_layout
        more = more_findings(figures) if ready else ()
        now = figures
        if wrote():
            loaded = Reader(root).load(full_name)
            assert loaded.build is not None, "what was written was read back"
            now = work_out(loaded.build)
        findings = [*loaded.findings, *now.findings, *more]
        if ready and not any(finding.severity == "error" for finding in more):
            finish(
                full_name,
                lambda: figures_json(figures),
                findings,
                lambda to: draw(to, figures),
                as_json=as_json,
                drawn=drawn,
            )

    def without_figures(to: "Console") -> None:
        from buildbook.views.show import unreadable

        unreadable(to, full_name)

    finish(full_name, dict, findings, without_figures, as_json=as_json)
