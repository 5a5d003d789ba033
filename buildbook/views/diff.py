"""What differs between two builds: a few lines for each group, the biggest first."""

import re
from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from buildbook.balance.unbalance import Reading
from buildbook.figures.balance import PLANES
from buildbook.figures.compare import Change, Comparison, OldBalance, Verdict, plural
from buildbook.figures.cylinders import kind_words
from buildbook.figures.fits import FIT_KINDS
from buildbook.figures.lengths import Ruler
from buildbook.fits.decision import COVERAGE
from buildbook.quantities import fixed
from buildbook.records.model import MEASUREMENT_KINDS, WEIGHING_KINDS, Shop
from buildbook.views.screen import BAD, BOLD, DIM, DOUBT, GOOD, heading, line, row, table, words

SHOWN = 2  # of a kind of figure, before the rest is only counted
_FINDINGS = 5
_KINDS = 6  # of figures that one side lacks, before the rest is only counted

_OUTCOMES = {
    "replaced": "another piece",
    "differs": "another make or count",
    "new": "not there before",
    "gone": "no longer listed",
    "came back": "the same piece",
}
_STYLES: dict[Verdict, str] = {"holds": GOOD, "does not hold": BAD, "cannot be said": DOUBT}


def draw_diff(to: Console, comparison: Comparison, shop: Shop) -> None:
    """Pieces, figures, the old balance, choices, pairing and findings, as far as they differ."""
    ruler = Ruler(shop)
    heading(to, "Diff", f"{comparison.before} → {comparison.after}")
    for name, errors in comparison.errors.items():
        said = f"{name} holds {errors} error{'s' if errors != 1 else ''}, so that its figures may be wrong"
        to.print(words(f"{said}: see 'buildbook check'", DOUBT))
    if not comparison.changes:
        to.print(words("nothing differs", GOOD))
        return
    _draw_pieces(to, comparison.of("pieces"))
    _draw_figures(to, ruler, comparison.of("figures"), comparison)
    _draw_balance(to, ruler, comparison)
    _draw_choices(to, ruler, [*comparison.of("choices"), *comparison.of("pairing")])
    _draw_findings(to, comparison.of("findings"))


def _title(to: Console, title: str, rest: str = "") -> None:
    to.print()
    to.print(line((title, BOLD), ("  " + rest if rest else "", DIM)))


def _indented(to: Console, text: Text) -> None:
    to.print(Padding(text, (0, 0, 0, 2)))


# ---- pieces


def _draw_pieces(to: Console, changes: Sequence[Change]) -> None:
    if not changes:
        return
    _title(to, "Pieces")
    listing = table(("", "left"), ("", "left"))
    listing.show_header = False
    for outcome in _OUTCOMES:
        kinds: dict[str, list[Change]] = {}
        for each in changes:
            if each.change == outcome:
                kinds.setdefault(each.kind, []).append(each)
        if kinds:
            said = "; ".join(_of_kind(kind, found) for kind, found in kinds.items())
            row(listing, words(outcome, BOLD if outcome != "came back" else DIM), said)
    to.print(listing)


def _of_kind(kind: str, changes: Sequence[Change]) -> str:
    """`piston P3, P6`, `16 rod bearings`, or `rod 8 × Northlight → 8 × Southlight` where it is another make."""
    if changes[0].change == "differs":
        return f"{kind_words(kind)} {changes[0].before} → {changes[0].after}"
    ids = [each.place for each in changes if each.place]
    counts = [str(each.after or each.before).partition(" × ")[0] for each in changes if not each.place]
    counted = [f"{count} {plural(kind)}" if count.isdecimal() else kind_words(kind) for count in counts]
    spare = " (kept as a spare)" if any(each.why == "kept as a spare" for each in changes) else ""
    return ", ".join([*([f"{kind_words(kind)} {runs(ids)}"] if ids else []), *counted]) + spare


def runs(ids: Iterable[str]) -> str:
    """`G1 to G8, H2`: three ids or more that follow each other by number are named by their ends."""
    found: list[list[str]] = []
    for id_ in ids:
        if found and _next(found[-1][-1]) == id_:
            found[-1].append(id_)
        else:
            found.append([id_])
    return ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(run) for run in found)


def _next(id_: str) -> str | None:
    match = re.fullmatch(r"(.*?)(0|[1-9][0-9]{0,8})", id_)
    return f"{match[1]}{int(match[2]) + 1}" if match else None


# ---- figures


def _draw_figures(to: Console, ruler: Ruler, changes: Sequence[Change], comparison: Comparison) -> None:
    compared = [each for each in changes if each.change is not None]
    if compared:
        _title(to, "Figures", f"g; {ruler.unit} at 20 °C; ± U is twice the change's uncertainty; alike: within it")
        kinds: dict[str, list[Change]] = {}
        for each in compared:
            kinds.setdefault(each.kind, []).append(each)
        telling = [kind for kind in kinds if any(each.significant is not False for each in kinds[kind])]
        # what the spread of a kind has to say, its pieces say as well
        telling = [kind for kind in telling if kind.removesuffix("_spread") == kind or kind[:-7] not in telling]
        listing = _figures_table()
        for kind in telling:
            _add_kind(listing, ruler, kind, kinds[kind], comparison.unchanged.get(kind, 0))
        if telling:
            to.print(listing)
        quiet = {
            kind: len(found) + comparison.unchanged.get(kind, 0)
            for kind, found in kinds.items()
            if all(each.significant is False for each in found)
        }
        if quiet:
            _indented(to, line(("no more than the gauges can tell: ", GOOD), ", ".join(_counted(quiet))))
    elif changes:
        _title(to, "Figures")
    for lacking, name in (("after", comparison.after), ("before", comparison.before)):
        unknown: dict[str, int] = {}
        for each in changes:
            if each.change is None and getattr(each, lacking) is None:
                unknown[each.kind] = unknown.get(each.kind, 0) + 1
        if unknown:
            said = _counted(unknown)
            rest = f" and {len(said) - _KINDS} more kinds" if len(said) > _KINDS else ""
            _indented(to, line((f"not known in {name}: ", DOUBT), ", ".join(said[:_KINDS]) + rest))


def _add_kind(listing: Table, ruler: Ruler, kind: str, changes: Sequence[Change], unchanged: int) -> None:
    """The biggest changes of one kind that are real, or of which that cannot be said; the rest of it is counted."""
    telling = [each for each in changes if each.significant is not False]
    rest = len(changes) - len(telling) + unchanged
    shown = telling[:SHOWN]
    if all(not each.one_piece for each in shown):  # wear of the pieces that came back is not hidden behind new ones
        shown += [each for each in telling[SHOWN:] if each.one_piece][:1]
    for number, each in enumerate(shown):
        why = each.why
        if number == len(shown) - 1:
            counted = [f"{len(telling) - len(shown)} more"] if len(telling) > len(shown) else []
            counted += [f"{rest} alike"] if rest else []
            why += f"; {', '.join(counted)}" if counted else ""
        _add_row(listing, ruler, each, title(kind) if number == 0 else "", why)


def _figures_table() -> Table:
    listing = table(("", "left"), ("", "left"), ("from", "right"), ("to", "right"), ("change", "right"))
    listing.add_column(words("± U"), justify="right", no_wrap=True)
    listing.add_column("", overflow="fold")
    return listing


def _add_row(listing: Table, ruler: Ruler, change: Change, called: str, why: str) -> None:
    row(
        listing,
        words(called, BOLD),
        words(change.place, BOLD),
        _number(ruler, change, change.before),
        _number(ruler, change, change.after),
        _number(ruler, change, change.change, sign=True),
        _doubt(ruler, change),
        why,
    )


_TITLES = {
    "pin_diameter": "pin diameter",  # a weighing is called a pin, too
    "reciprocating": "reciprocating weight",
    "bobweight_set": "bobweight as set",
    "residual": "residual of the last spin",
}


def _counted(kinds: Mapping[str, int]) -> list[str]:
    return [f"{title(kind)} ({count})" if count > 1 else title(kind) for kind, count in kinds.items()]


def title(kind: str) -> str:
    """A kind of figure as a person calls it."""
    if kind in _TITLES:
        return _TITLES[kind]
    for kinds in (WEIGHING_KINDS, FIT_KINDS, MEASUREMENT_KINDS):
        if kind in kinds:
            return kinds[kind].title
    of = kind.removesuffix("_spread")
    return f"{WEIGHING_KINDS[of].title} spread" if of in WEIGHING_KINDS else kind_words(kind)


def _number(ruler: Ruler, change: Change, value: Fraction | str | None, *, sign: bool = False) -> str:
    """A value as the shop reads it, with its unit where that is neither g nor a length."""
    if not isinstance(value, Fraction):
        return value or "none"
    if change.unit == "mm":
        return ruler.text(value, change.decimals, sign=sign)
    unit = f" {change.unit}" if change.unit not in {"g", "", None} else ""
    return fixed(value, change.decimals, sign=sign) + unit


def _doubt(ruler: Ruler, change: Change) -> str:
    if change.uncertainty is None:
        return "?"
    expanded = COVERAGE * change.uncertainty
    return ruler.text(expanded, change.decimals) if change.unit == "mm" else fixed(expanded, change.decimals)


# ---- the old balance


def _draw_balance(to: Console, ruler: Ruler, comparison: Comparison) -> None:
    old, changes = comparison.old_balance, comparison.of("balance")
    compared = [each for each in changes if each.change is not None]
    if old is None and not compared:
        return
    _title(to, "Balance", "g at the planes' radii; ± U as above")
    kinds: dict[str, list[Change]] = {}
    for each in sorted(compared, key=lambda each: each.kind != "bobweight_target"):
        kinds.setdefault(each.kind, []).append(each)
    for kind, found in kinds.items():
        rest = len(found) - SHOWN
        for number, each in enumerate(found[:SHOWN]):
            more = f"; {rest} more" if rest > 0 and number == SHOWN - 1 else ""
            _indented(to, _in_a_line(ruler, each, title(kind)) + words(more))
    if old is not None:
        _draw_old_balance(to, old)


def _in_a_line(ruler: Ruler, change: Change, called: str) -> Text:
    """`bobweight 3  2180.07 → 2180.40, +0.33 ± 0.31 g: other pieces`."""
    before, after = (_number(ruler, change, value) for value in (change.before, change.after))
    change_said = f"{_number(ruler, change, change.change, sign=True)} ± {_doubt(ruler, change)} g"
    name = f"{called} {change.place}".strip()
    return line((name, BOLD), f"  {before} → {after}, {change_said}: {change.why}")


def _draw_old_balance(to: Console, old: OldBalance) -> None:
    verdicts = {"holds": "the old balance holds", "does not hold": "THE OLD BALANCE DOES NOT HOLD for the new parts"}
    verdict = verdicts.get(old.verdict, "whether the old balance holds cannot be said")
    _indented(to, line((verdict, _STYLES[old.verdict]), f": {old.why}"))
    if old.of_means and old.change:
        _indented(to, words("nothing is matched yet: the mean of each kind stands for its pieces", DOUBT))
    if not old.change:
        return
    doubts = {plane: COVERAGE * doubt for plane, doubt in old.uncertainty.items()}
    _indented(to, line("the change in bobweights, if left alone: ", (_planes(old.change, doubts), BOLD)))
    if old.left:
        _indented(to, line("on top of what the last spin left: ", (_planes(old.left, {}), BOLD)))
    limits = [("the limit set", old.shop)] if old.shop else []
    limits += [("permissible by ISO 21940-11", old.permissible)] if old.permissible else []
    said = [f"{name}: " + ", ".join(f"{plane} {limit[plane]:.2f}" for plane in limit) for name, limit in limits]
    if old.left and said:
        _indented(to, words("; ".join(said), DIM))


def _planes(readings: Mapping[str, Reading], doubts: Mapping[str, float]) -> str:
    """`front 0.45 ± 0.18 @ 222, rear …`: grams at the plane's radius, and the angle as the machine counts."""
    said = []
    for plane in PLANES:
        amount, angle = readings[plane]
        doubt = f" ± {doubts[plane]:.2f}" if doubts else ""
        said.append(f"{plane} {amount:.2f}{doubt} @ {angle:.0f}°")
    return ", ".join(said)


# ---- choices, pairing, findings


def _draw_choices(to: Console, ruler: Ruler, changes: Sequence[Change]) -> None:
    chosen = [each for each in changes if each.group == "choices"]
    if chosen:
        _title(to, "Limits and choices")
        listing = table(("", "left"), ("from", "left"), ("to", "left"), ("", "left"))
        for each in chosen:
            name = f"{each.kind}.{each.place}" if each.place else each.kind
            name = re.sub(
                r"[._]", " ", name.replace("limits.", "limit ").replace("balance.", "").replace("per_mm", "per mm")
            )
            row(
                listing,
                words(name, BOLD),
                _number(ruler, each, each.before),
                _number(ruler, each, each.after),
                each.why,
            )
        to.print(listing)
    paired = [each for each in changes if each.group == "pairing"]
    if paired:
        _title(to, "Pairing")
        cylinders: dict[str, list[Change]] = {}
        for each in paired:
            cylinders.setdefault(each.kind, []).append(each)
        for kind, found in cylinders.items():
            if kind == "pairing":
                _indented(to, words(found[0].why))
            else:
                said = ", ".join(_moved(each) for each in found)
                _indented(to, line((kind.replace(".", " "), BOLD), f": {said}"))


def _moved(change: Change) -> str:
    """`rod R2 → R5 (from 7)`, or `piston P3 → another P3` where a new piece bears the old one's id."""
    kind = kind_words(change.place)
    if change.why.startswith("another "):
        return f"{kind} {change.before} → another {change.after}"
    from_ = change.why.removeprefix("came from cylinder ")
    return f"{kind} {change.before or 'none'} → {change.after or 'none'}" + (
        f" (from {from_})" if from_ != change.why else ""
    )


def _draw_findings(to: Console, changes: Sequence[Change]) -> None:
    if not changes:
        return
    telling = [each for each in changes if each.significant]
    notes = len(changes) - len(telling)
    _title(to, "Found now, and not before", f"{notes} more notes" if notes and telling else "")
    for each in telling[:_FINDINGS]:
        _indented(
            to, line((str(each.change), BAD if each.change == "error" else DOUBT), f"  {each.kind}  {each.after}")
        )
    if len(telling) > _FINDINGS:
        _indented(to, words(f"and {len(telling) - _FINDINGS} more: 'buildbook check' tells them all"))
    if not telling:
        _indented(to, words(f"{notes} note{'s' if notes != 1 else ''}, no more", DIM))
