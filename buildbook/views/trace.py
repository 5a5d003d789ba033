"""Where a figure came from: the figure itself, the tree of what it was worked out from, and the records behind it."""

import shlex
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from pathlib import PurePath
from typing import TYPE_CHECKING, NamedTuple

from rich.console import Console
from rich.text import Text

from buildbook.figures import Figures
from buildbook.figures.lengths import Ruler
from buildbook.figures.named import named_figures
from buildbook.figures.trace_steps import Earlier, Source, Step
from buildbook.quantities import Quantity, fixed, in_numbered_order, two_figures
from buildbook.records.finding import Where
from buildbook.records.model import Entry, Instrument
from buildbook.views.screen import BAD, BOLD, DIM, DOUBT, can_draw, heading, line, row, table, words

if TYPE_CHECKING:
    from buildbook.book.blame import Kept
    from buildbook.book.commits import Commit

# A mean of more than this is shown by its ends, and no more than this of what was read before.
_FEW = 3


class Papers(NamedTuple):
    """What shop.yaml says of an instrument that no figure needs: its serial number, and those of its certificates."""

    serial: str | None
    certificates: Sequence[str]


class Behind(NamedTuple):
    """What the book knows of the places that a trace ends at: (place, field below it) → where exactly it is, and what
    git has kept of it; `not_kept` says why git has nothing at all. `papers` are those of instruments."""

    at: Mapping[tuple[Where, tuple[str, ...]], Where]
    kept: Mapping[tuple[Where, tuple[str, ...]], "Kept"]
    not_kept: str | None
    papers: Mapping[str, Papers]


def draw_trace(to: Console, figures: Figures, step: Step, behind: Behind) -> None:
    _Drawing(to, figures, behind).draw(step)


def draw_names(to: Console, figures: Figures, part: str) -> None:
    """Every figure that can be traced, with its value; of those alone that have `part` in their name."""
    heading(to, "Figures that can be traced", figures.build.name)
    listing = table(("figure", "left"), ("value", "right"), ("", "left"), ("± u", "right"))
    for name, named in named_figures(figures).items():
        if part in name:
            uncertainty = "" if named.uncertainty is None else two_figures(named.uncertainty)
            row(listing, words(name, BOLD), fixed(named.value, named.decimals), named.unit, uncertainty)
    to.print(listing)
    to.print(words("buildbook trace FIGURE says where one came from; a name with a space goes in quotes", DIM))


class _Drawing:
    def __init__(self, to: Console, figures: Figures, behind: Behind) -> None:
        self.to = to
        self.figures = figures
        self.shop = figures.build.shop
        self.behind = behind
        self.named = named_figures(figures)
        self.drawn: set[str] = set()

    def draw(self, step: Step) -> None:
        self.head(step)
        self.to.print()
        self.formula(step, "")
        self.below(step, "")
        sources = [*step.all_sources()]
        self.records(sources)
        self.instruments(sources)
        self.commits(sources)
        if self.behind.not_kept:
            self.to.print()
            self.to.print(words(self.behind.not_kept, DOUBT))

    def head(self, step: Step) -> None:
        """The figure, large, with its limit."""
        heading(self.to, step.name, self.figures.build.name)
        value = fixed(step.value, step.decimals)
        for each in _large(value):
            self.to.print(words(each, BOLD))
        said = f"{value} {step.unit}".strip()
        ruler = Ruler(self.shop)
        if step.unit == "mm" and ruler.unit != "mm":
            said += f" ({ruler.text(step.value, step.decimals)} {ruler.unit})"
        if step.uncertainty is not None:
            said += f"  ± {two_figures(step.uncertainty)} {step.unit}".rstrip() + ", standard uncertainty"
        self.to.print(words(said, BOLD))
        if step.limit is not None:
            said = ", ".join(filter(None, (*step.limit.values, step.limit.said_by)))
            place = self.place(step.limit)
            self.to.print(line("limit: ", said, (f"  {place}" if place else "", DIM)))

    def formula(self, step: Step, lead: str) -> None:
        self.print(lead, line(f"{step.formula}"))
        if step.with_values not in {step.formula, step.text}:
            self.print(lead, line("= ", (step.with_values, BOLD)), hanging="  ")
        if step.note:
            self.print(lead, words(step.note, DIM))

    def below(self, step: Step, lead: str) -> None:
        """What a step was made of, one branch each."""
        inputs, folded = self.folded(step)
        branches = len(inputs) + len(step.sources) + bool(folded)
        for number, each in enumerate(inputs, start=1):
            first, rest = _branches(number == branches)
            self.step(each, lead + first, lead + rest)
        for number, source in enumerate(step.sources, start=len(inputs) + 1):
            first, rest = _branches(number == branches)
            self.print(lead + first, self.source(source), hanging="  ", rest=lead + rest)
            self.remarks(source, lead + rest)
        if folded:
            first, rest = _branches(True)
            said = f"and {len(folded)} between them: trace {_names(folded)}"
            self.print(lead + first, words(said, DIM), rest=lead + rest)

    def folded(self, step: Step) -> tuple[list[Step], list[str]]:
        """The inputs to show, and the names of those that lie between them."""
        if not step.alike or len(step.inputs) <= _FEW:
            return [*step.inputs], [*step.between]
        in_order = sorted(step.inputs, key=lambda each: each.value)
        return [in_order[-1], in_order[0]], sorted((each.name for each in in_order[1:-1]), key=in_numbered_order)

    def step(self, step: Step, first: str, rest: str) -> None:
        """A step with what it was made of; a figure that goes deeper than one step more is left to its own trace."""
        value = line((step.name, BOLD), f" = {step.text} {step.unit}".rstrip())
        if step.uncertainty is not None:
            value.append_text(line(f" ± {two_figures(step.uncertainty)}"))
        again = step.name in self.drawn
        self.drawn.add(step.name)
        if not step.inputs and len(step.sources) == 1 and not step.note:
            (source,) = step.sources
            if step.with_values != step.text:
                value.append_text(line("  = ", step.with_values))
            value.append_text(self.record(source))
            self.print(first, value, hanging="  ", rest=rest)
            if not again:
                self.remarks(source, rest)
            return
        if again:
            value.append_text(words("  as above", DIM))
        self.print(first, value, hanging="  ", rest=rest)
        if again:
            return
        self.formula(step, rest)
        if step.name in self.named and any(each.inputs for each in step.inputs):
            self.print(rest, words(f"the rest: buildbook trace {_typed(step.name)}", DIM))
        else:
            self.below(step, rest)

    def source(self, source: Source) -> Text:
        what = f"{source.what} {source.place}".strip()
        between = " @ " if source.what.startswith("spin") else ", "
        return line(f"{what}  ", (f"{between.join(source.values)} {source.unit}".strip(), BOLD)).append_text(
            self.record(source)
        )

    def record(self, source: Source) -> Text:
        """Which record a reading is in; or where it is written, and who says so, where it is in none."""
        if source.entry is not None:
            return words(f"  {source.entry.id}" if source.entry.id else "", DIM)
        return words("  " + ", ".join(filter(None, (self.place(source), source.said_by))), DIM)

    def remarks(self, source: Source, lead: str) -> None:
        """What else was read there and does not count, and what was changed by hand after it was kept."""
        kept = self.kept(source.where, source.field)
        if kept is not None and kept.changed is not None:
            was = f"was {kept.changed.was}" if kept.changed.was is not None else "added later"
            self.print(lead, words(f"changed in {_commit(kept.changed.commit)}; {was}", DOUBT), hanging="  ")
        if kept is not None and kept.brought is not None and kept.differs:
            what = f"changed on disk; git has {kept.in_git}" if kept.in_git is not None else "added on disk"
            self.print(lead, words(f"not kept in git yet: {what}", DOUBT), hanging="  ")
        for each in source.earlier[-_FEW:]:
            self.print(lead, self.earlier(each), hanging="  ")
        if len(source.earlier) > _FEW:
            self.print(lead, words(f"and {len(source.earlier) - _FEW} more before; --json lists them all", DIM))

    def earlier(self, each: Earlier) -> Text:
        said = f"{', '.join(each.values)} {each.unit}".strip() + f" in {each.entry.id or 'an earlier record'}"
        taken = each.entry.taken.text[:10] if each.entry.taken else None
        said = ", ".join(filter(None, (said, taken, self.person(each.entry))))
        if each.entry.void is None:
            return words(f"before: {said}", DIM)
        voided = self.kept(each.entry.where, ("void",))
        commit = voided.changed.commit if voided and voided.changed else None
        by = f", voided by {commit.author} {commit.when:%Y-%m-%d} in {commit.sha[:7]}" if commit else ""
        return line(f"not counted: {said}", (f"  VOID: {each.entry.void}", DOUBT), (by, DIM))

    # What is behind it all

    def records(self, sources: Iterable[Source]) -> None:
        """The sessions, steps and decisions behind it: who took them, when, with what, and where they are written."""
        records = {id(each.entry): (each.entry, each) for each in sources if each.entry is not None}
        if not records:
            return
        self.to.print()
        self.to.print(words("Taken", BOLD))
        for entry, source in sorted(records.values(), key=lambda each: _when(each[0])):
            taken = entry.taken.text.replace("T", " ")[:16] if entry.taken else "no date"
            by = self.person(entry) or "nobody named"
            with_ = f" with {entry.with_}" if entry.with_ else ""
            said = line((_label(source), BOLD), f"  {taken}  {by}{with_}", (f"  {_at(entry.where)}", DIM))
            self.print("  ", said, hanging="  ")
            if entry.note:
                self.print("    ", words(entry.note, DIM))

    def commits(self, sources: Iterable[Source]) -> None:
        """The commits that brought it all into the book, the oldest first, and what each brought."""
        brought: dict[str, tuple[Commit, list[str]]] = {}
        new: list[str] = []
        for source in sources:
            kept = self.kept(source.where, source.field)
            if kept is not None:
                named = brought.setdefault(kept.brought.sha, (kept.brought, []))[1] if kept.brought else new
                named += [] if (label := _label(source)) in named else [label]
        if not brought and not new:
            return
        self.to.print()
        self.to.print(words("Kept in git", BOLD))
        for commit, labels in sorted(brought.values(), key=lambda each: each[0].when):
            self.print("  ", words(_commit(commit)), hanging="  ")
            self.print("    ", words(", ".join(labels), DIM))
        if new:
            self.print("  ", words(f"not kept in git yet: {', '.join(new)}", DOUBT), hanging="  ")

    def instruments(self, sources: Iterable[Source]) -> None:
        """The instruments, and whether each was in calibration on every day that it was used."""
        days: dict[str, dict[str, date]] = {}
        for entry in (source.entry for source in sources):
            if entry is not None and entry.with_ is not None and entry.with_ in self.shop.instruments:
                used = days.setdefault(entry.with_, {})
                if entry.taken is not None:
                    used[entry.id or entry.taken.text] = entry.taken.day
        if not days:
            return
        self.to.print()
        self.to.print(words("With", BOLD))
        for name, used in days.items():
            instrument = self.shop.instruments[name]
            papers = self.behind.papers.get(name, Papers(None, ()))
            what = [instrument.description or instrument.kind.replace("_", " "), papers.serial]
            what += [f"certificate {each}" for each in papers.certificates]
            self.print("  ", line((name, BOLD), f"  {', '.join(filter(None, what))}"), hanging="  ")
            for said, style in _calibration(instrument, used):
                self.print("    ", words(said, style), hanging="  ")

    # Small things

    def person(self, entry: Entry) -> str | None:
        known = self.shop.people.get(entry.by or "")
        return (known.name if known else None) or entry.by

    def kept(self, where: Where | None, field: tuple[str, ...]) -> "Kept | None":
        return self.behind.kept.get((where, field)) if where is not None else None

    def place(self, source: Source) -> str:
        """`build.yaml:16`: files are those of the build, of its engine, or the shop's."""
        if source.where is None:
            return ""
        return _at(self.behind.at.get((source.where, source.field), source.where))

    def print(self, first: str, text: Text, *, hanging: str = "", rest: str | None = None) -> None:
        """Text after a lead, its further lines after the lead that goes on."""
        if not can_draw():
            text.plain = text.plain.translate(_SIGNS)
        lead = first
        for part in text.wrap(self.to, max(self.to.width - len(first) - len(hanging), 20)):
            part.rstrip()
            self.to.print(Text(lead, style=DIM).append_text(part), soft_wrap=True)
            lead = (first if rest is None else rest) + hanging


def _calibration(instrument: Instrument, used: Mapping[str, date]) -> list[tuple[str, str]]:
    """Whether an instrument was in calibration whenever it was used, in words, with a style for each line."""
    said = [f"reads {_with_unit(instrument.resolution)}"] if instrument.resolution else []
    said += [f"repeats {_with_unit(instrument.repeatability)}"] if instrument.repeatability else []
    said += [f"± {_with_unit(instrument.uncertainty)} by its certificate"] if instrument.uncertainty else []
    known = [(each.text[:10] if each else "…") for period in instrument.calibrations for each in period]
    periods = ", ".join(f"{done} to {due}" for done, due in zip(known[::2], known[1::2], strict=True))
    out = [f"{name} ({day})" for name, day in used.items() if not instrument.in_calibration(day)]
    dated = any(due for _, due in instrument.calibrations)
    calibrated = f"{'in calibration' if dated and not out else 'calibrated'} {periods}"
    lines = [", ".join(said), calibrated if periods else "no calibration on record"]
    return [
        ("; ".join(filter(None, lines)), DIM),
        *([(f"OUT OF CALIBRATION for {', '.join(out)}", BAD)] if out else []),
    ]


def _with_unit(quantity: Quantity) -> str:
    return quantity.text if quantity.text.endswith(quantity.unit) else f"{quantity.text} {quantity.unit}"


def _when(entry: Entry) -> tuple[bool, float]:
    """A key to put records in the order in which they were taken, those without a date first."""
    return (True, entry.taken.instant.timestamp()) if entry.taken else (False, 0.0)


def _label(source: Source) -> str:
    """What a record is called in few words: by its id, or by what it is."""
    return (source.entry.id if source.entry else None) or source.what


def _commit(commit: "Commit") -> str:
    return f"{commit.sha[:7]}, {commit.when:%Y-%m-%d}, {commit.author}: {commit.subject}"


def _at(where: Where) -> str:
    return f"{PurePath(where.file).name}:{where.line}"


def _typed(name: str) -> str:
    """A name as it is typed after a command."""
    return shlex.quote(name)


def _names(names: Iterable[str]) -> str:
    """Figures of one kind in few words: `reciprocating.1, .2, .4`."""
    kinds: dict[str, list[str]] = {}
    for name in names:
        kind, _, place = name.partition(".")
        kinds.setdefault(kind, []).append(place)
    listed = (", ".join([f"{kind}.{first}", *(f".{each}" for each in rest)]) for kind, (first, *rest) in kinds.items())
    return "; ".join(listed)


def _branches(last: bool) -> tuple[str, str]:
    """The branch before a step, and what stands before its further lines."""
    if can_draw():
        return ("└─ ", "   ") if last else ("├─ ", "│  ")
    return ("`- ", "   ") if last else ("|- ", "|  ")


# Signs of a formula, for a terminal that takes nothing beyond ASCII; the screen knows the usual ones.
_SIGNS = str.maketrans({"π": "pi", "²": "^2", "Δ": "d", "α": "a"})


# Rows of a figure three lines high.
_DIGITS = {
    "0": (" _ ", "| |", "|_|"), "1": ("   ", "  |", "  |"), "2": (" _ ", " _|", "|_ "), "3": (" _ ", " _|", " _|"),
    "4": ("   ", "|_|", "  |"), "5": (" _ ", "|_ ", " _|"), "6": (" _ ", "|_ ", "|_|"), "7": (" _ ", "  |", "  |"),
    "8": (" _ ", "|_|", "|_|"), "9": (" _ ", "|_|", " _|"), ".": ("  ", "  ", ". "), "-": ("   ", " _ ", "   "),
}  # fmt: skip


def _large(text: str) -> list[str]:
    return [" ".join(_DIGITS[mark][number] for mark in text).rstrip() or " " for number in range(3)]
