"""What differs between two builds: a few lines for each group, the biggest first; or all of it."""

import re
from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple

from rich.cells import cell_len
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from buildbook.balance.unbalance import Reading
from buildbook.figures.balance import PLANES
from buildbook.figures.change import Change
from buildbook.figures.compare import NO_MORE, Comparison, plural
from buildbook.figures.cylinders import kind_words
from buildbook.figures.fits import FIT_KINDS
from buildbook.figures.lengths import Ruler
from buildbook.figures.old_balance import OldBalance, Spun
from buildbook.fits.decision import COVERAGE
from buildbook.quantities import fixed
from buildbook.records.model import MEASUREMENT_KINDS, WEIGHING_KINDS, Shop
from buildbook.views.ids import runs
from buildbook.views.screen import BAD, BOLD, DIM, DOUBT, GOOD, heading, line, row, table, words

# How much of a group is shown before the rest is only counted.
_KINDS = 6
_CHOICES = 6
_CYLINDERS = 4
_RULES = 4

_REASON_ROOM = 14  # columns that a reason needs beside its figures; with less it stands below them

_OUTCOMES = {
    "replaced": "another piece",
    "differs": "another make or count",
    "new": "not there before",
    "gone": "no longer listed",
    "came back": "the same piece",
}


def draw_diff(to: Console, comparison: Comparison, shop: Shop, *, everything: bool = False) -> None:
    """Pieces, figures, the old balance, choices, pairing and findings, as far as they differ; the biggest of each and
    how many more there are, or `everything`."""
    ruler = Ruler(shop)
    heading(to, "Diff", f"{comparison.before} → {comparison.after}")
    for purpose in (each for each in comparison.changes if each.kind == "purpose"):
        to.print(line(("then  ", DIM), str(purpose.before or "for no purpose that is said")))
        to.print(line(("now   ", DIM), str(purpose.after or "for no purpose that is said")))
    for name, errors in comparison.errors.items():
        said = f"{name} holds {errors} error{'s' if errors != 1 else ''}, so that its figures may be wrong"
        to.print(words(f"{said}: see 'buildbook check'", DOUBT))
    if not comparison.changes:
        to.print(words("nothing differs", GOOD))
        return
    _draw_pieces(to, comparison.of("pieces"))
    _draw_figures(to, ruler, comparison, everything)
    _draw_balance(to, ruler, comparison, everything)
    _draw_choices(to, ruler, [each for each in comparison.of("choices") if each.kind != "purpose"], everything)
    _draw_pairing(to, comparison.of("pairing"), everything)
    _draw_findings(to, comparison.of("findings"), everything)


def _title(to: Console, title: str, rest: str = "") -> None:
    to.print()
    to.print(line((title, BOLD), ("  " + rest if rest else "", DIM)))


def _indented(to: Console, text: Text, by: int = 2) -> None:
    to.print(Padding(text, (0, 0, 0, by)))


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
    to.print(Padding(listing, (0, 0, 0, 2)))


def _of_kind(kind: str, changes: Sequence[Change]) -> str:
    """`piston P3, P6`, `16 rod bearings`, or `rod 8 × Northlight → 8 × Southlight` where it is another make."""
    if changes[0].change == "differs":
        return f"{kind_words(kind)} {changes[0].before} → {changes[0].after}"
    ids = [each.place for each in changes if each.place]
    counts = [str(each.after or each.before).partition(" × ")[0] for each in changes if not each.place]
    counted = [f"{count} {plural(kind)}" if count.isdecimal() else kind_words(kind) for count in counts]
    spare = " (kept as a spare)" if any(each.why == "kept as a spare" for each in changes) else ""
    return ", ".join([*([f"{kind_words(kind)} {runs(ids)}"] if ids else []), *counted]) + spare


# ---- figures


def _is_weight(kind: str) -> bool:
    return kind.removesuffix("_spread") in WEIGHING_KINDS or kind.startswith("reciprocating")


def _draw_figures(to: Console, ruler: Ruler, comparison: Comparison, everything: bool) -> None:
    changes = comparison.of("figures")
    weights = [each for each in changes if _is_weight(each.kind)]
    sizes = [each for each in changes if not _is_weight(each.kind)]
    groups = (
        ("Weights", "g: they decide the pairing and the bobweights", weights),
        ("Sizes", f"{ruler.unit} at 20 °C: they decide the fits", sizes),
    )
    for title, rest, found in groups:
        compared = [each for each in found if each.change is not None]
        if compared:
            _title(to, title, f"{rest} (± U, k = 2){'; alike: within it' if everything else ''}")
            _draw_kinds(to, ruler, compared, comparison.unchanged, everything)
    _draw_unknown(to, [each for each in changes if each.change is None], comparison, everything)


def _draw_kinds(
    to: Console, ruler: Ruler, changes: Sequence[Change], unchanged: Mapping[str, int], everything: bool
) -> None:
    """Of each kind the biggest change that is real, or of which that cannot be said; of the rest how many there are."""
    if everything:
        _draw_rows(to, [_row(ruler, each) for each in changes])
        return
    kinds: dict[str, list[Change]] = {}
    for each in changes:
        kinds.setdefault(each.kind, []).append(each)
    telling = [kind for kind in kinds if any(each.significant is not False for each in kinds[kind])]
    # what the spread of a kind has to say, its pieces say as well, and what a rod has, its two ends
    by_others = {f"{kind}_spread" for kind in telling}
    by_others |= {"rod"} if {"rod_big_end", "rod_small_end"} <= {*telling} else set()
    telling = [kind for kind in telling if kind not in by_others]
    _draw_rows(to, [each for kind in telling[:_KINDS] for each in _of_one_kind(ruler, kinds[kind])])
    if len(telling) > _KINDS:
        more = ", ".join(title(kind) for kind in telling[_KINDS:])
        _indented(to, line(("changed too: ", BOLD), more, ("  (--all)", DIM)))
    quiet = sum(each.significant is False for each in changes) + sum(unchanged.get(kind, 0) for kind in kinds)
    if quiet:
        said = f"{quiet} other{'s' if quiet > 1 else ''}"
        _indented(to, line(("alike, as far as the gauges can tell: ", GOOD), said, ("  (--all)", DIM)))


def _of_one_kind(ruler: Ruler, changes: Sequence[Change]) -> "list[_Row]":
    telling = [each for each in changes if each.significant is not False]
    shown = telling[:1]
    if not shown[0].one_piece:  # wear of the pieces that came back is not hidden behind new ones
        shown += [each for each in telling[1:] if each.one_piece][:1]
    rows = [_row(ruler, each) for each in shown]
    if rest := len(telling) - len(shown):
        rows[-1] = rows[-1]._replace(why=f"{rows[-1].why}; {rest} more")
    return rows


def _draw_unknown(to: Console, changes: Sequence[Change], comparison: Comparison, everything: bool) -> None:
    for lacking, name in (("after", comparison.after), ("before", comparison.before)):
        unknown: dict[str, int] = {}
        for each in changes:
            if getattr(each, lacking) is None:
                unknown[each.kind] = unknown.get(each.kind, 0) + 1
        if not unknown:
            continue
        counted = [f"{title(kind)} ({count})" if count > 1 else title(kind) for kind, count in unknown.items()]
        if everything or len(unknown) <= 3:
            _indented(to, line((f"not known in {name}: ", DOUBT), ", ".join(counted)))
        else:
            said = f"{sum(unknown.values())} figures of {len(unknown)} kinds"
            _indented(to, line((f"not known in {name}: ", DOUBT), said, ("  (--all)", DIM)))


class _Row(NamedTuple):
    """A figure on both sides, as it is shown."""

    name: str
    before: str
    after: str
    change: str
    doubt: str
    why: str


def _row(ruler: Ruler, change: Change) -> _Row:
    before, after = (_number(ruler, change, value) for value in (change.before, change.after))
    sign = _number(ruler, change, change.change, sign=True)
    why = "alike" if change.why == NO_MORE else change.why
    return _Row(f"{title(change.kind)} {change.place}".strip(), before, after, sign, _doubt(ruler, change), why)


def _draw_rows(to: Console, rows: Sequence[_Row]) -> None:
    """`piston P3  506.88 → 507.88  +1.00 ± 0.02  another P3`, in columns; where that is too wide, each reason stands
    with its name, and the figures below."""
    if not rows:
        return
    name, before, after, change, doubt = (max(cell_len(each[place]) for each in rows) for place in range(5))

    def figures(each: _Row) -> Text:
        pair = f"{each.before:>{before}} → {each.after:>{after}}"
        return line(f"{pair}  ", (f"{each.change:>{change}}", BOLD), f" ± {each.doubt:>{doubt}}")

    if to.width - (2 + name + 2 + before + 3 + after + 2 + change + 3 + doubt + 2) < _REASON_ROOM:
        for each in rows:
            _indented(to, line((each.name, BOLD), f"  {each.why}"))
            _indented(to, figures(each), by=4)
        return
    listing = Table.grid(padding=(0, 2, 0, 0))
    listing.add_column(no_wrap=True)
    listing.add_column(no_wrap=True)
    listing.add_column(overflow="fold")
    for each in rows:
        row(listing, words(each.name, BOLD), figures(each), each.why)
    to.print(Padding(listing, (0, 0, 0, 2)))


_TITLES = {
    "pin_diameter": "pin diameter",  # a weighing is called a pin, too
    "reciprocating": "reciprocating weight",
    "bobweight_set": "bobweight as set",
    "residual": "residual",
}


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


def _draw_balance(to: Console, ruler: Ruler, comparison: Comparison, everything: bool) -> None:
    old = comparison.old_balance
    differing = comparison.of("balance")
    if old is None and not differing:
        return
    _title(to, "Balance", "g, at the planes' radii")
    changes = [each for each in differing if each.change is not None]
    kinds = {each.kind: [other for other in changes if other.kind == each.kind] for each in changes}
    if everything:
        _draw_rows(to, [_row(ruler, each) for each in changes])
    else:
        rows = [_row(ruler, each) for each in kinds.pop("bobweight_target", ())]
        for of_kind in kinds.values():
            if any(each.significant is not False for each in of_kind):
                rows += _of_one_kind(ruler, of_kind)
        _draw_rows(to, rows)
    told = "residual" if old is not None and old.spun is not None else ""
    unknown = [each for each in differing if each.change is None and each.kind != told]
    _draw_unknown(to, unknown, comparison, everything)
    before, after = (name.partition("@")[0] for name in (comparison.before, comparison.after))
    engine, _, build = after.partition("/")
    if old is not None and old.spun is not None:
        spun_in = "since" if before == after else f"itself in {build if before.startswith(f'{engine}/') else after}"
        _draw_spun(to, spun_in, old.spun)
    elif old is not None:
        _draw_old_balance(to, old, "with the later weights" if before == after else "for the new parts")


def _draw_spun(to: Console, spun_in: str, spun: Spun) -> None:
    """What was measured goes before what was worked out."""
    standing = spun.standing
    limited = bool(standing.shop or standing.permissible)
    said, style = {
        "over": ("MORE THAN ITS LIMIT IS LEFT", BAD),
        "go_on": ("what is left is within its limits", GOOD) if limited else ("no limit is set", DOUBT),
        "stop": ("what is left is less than the job can tell", GOOD),
    }[standing.verdict]
    at = f" ({spun.step})" if spun.step else ""
    _indented(to, line(f"spun {spun_in}{at}: ", (said, style)))
    if spun.changed_since:
        _indented(to, words("the crankshaft was changed after that spin: spin it again", DOUBT))
    _draw_planes(to, {"left, as measured": _at_planes(spun.measured)}, standing.shop, standing.carried,
                 standing.permissible)  # fmt: skip


def _draw_old_balance(to: Console, old: OldBalance, with_what: str) -> None:
    verdict, style = {
        "holds": ("the old balance holds", GOOD),
        "does not hold": (f"THE OLD BALANCE DOES NOT HOLD {with_what}", BAD),
        "cannot be said": ("whether the old balance holds cannot be said", DOUBT),
    }[old.verdict]
    _indented(to, line((verdict, style), f": {old.why}"))
    if old.of_means and old.change:
        _indented(to, words("nothing is matched yet: the mean of each kind stands for its pieces", DOUBT))
    if not old.change:
        return
    lines = {"change, if left": _at_planes(old.change, old.uncertainty)}
    if old.left:
        lines["with the last spin"] = _at_planes(old.left)
    _draw_planes(to, lines, old.shop if old.left else {}, old.carried, old.permissible)


def _at_planes(readings: Mapping[str, Reading], doubts: Mapping[str, float] | None = None) -> list[str]:
    """`0.45 ± 0.18 @ 222°` for each plane: grams at its radius, and the angle as the machine counts."""
    return [
        f"{readings[plane].amount:.2f}{f' ± {COVERAGE * doubts[plane]:.2f}' if doubts else ''}"
        f" @ {round(readings[plane].angle) % 360:3d}°"
        for plane in PLANES
    ]


def _draw_planes(
    to: Console,
    lines: Mapping[str, Sequence[str]],
    shop: Mapping[str, float],
    carried: Mapping[str, float],
    permissible: Mapping[str, float],
) -> None:
    """Readings at both planes, and what they are held to."""
    listing = Table.grid(padding=(0, 2, 0, 0))
    listing.add_column(overflow="fold")
    for _ in PLANES:
        listing.add_column(no_wrap=True)
    row(listing, "", *(words(plane, DIM) for plane in PLANES))
    for name, cells in lines.items():
        row(listing, name, *(words(cell, BOLD) for cell in cells))
    if shop:
        row(listing, "limit set", *(f"{shop[plane]:.2f}" if plane in shop else "" for plane in PLANES), style=DIM)
    if permissible:
        cells = [f"{carried[plane]:.2f} of {permissible[plane]:.2f}" for plane in PLANES]
        row(listing, "of ISO 21940-11", *cells, style=DIM)
    to.print(Padding(listing, (0, 0, 0, 2)))


# ---- choices, pairing, findings


def _draw_choices(to: Console, ruler: Ruler, chosen: Sequence[Change], everything: bool) -> None:
    if not chosen:
        return
    _title(to, "Limits and choices")
    shown = chosen if everything else chosen[:_CHOICES]
    for each in shown:
        name = f"{each.kind}.{each.place}" if each.place else each.kind
        name = name.replace("limits.", "limit ").replace("balance.", "").replace("per_mm", "per mm")
        before, after = (_number(ruler, each, value) for value in (each.before, each.after))
        _indented(to, line((re.sub(r"[._]", " ", name), BOLD), f"  {before} → {after}", (f"  {each.why}", DIM)))
    _draw_more(to, len(chosen) - len(shown))


def _draw_pairing(to: Console, paired: Sequence[Change], everything: bool) -> None:
    if not paired:
        return
    _title(to, "Pairing", paired[0].why if paired[0].kind == "pairing" else "")
    cylinders: dict[str, list[Change]] = {}
    for each in paired:
        cylinders.setdefault(each.kind, []).append(each)
    cylinders.pop("pairing", None)
    others = [kind for kind, found in cylinders.items() if all(_is_another(each) for each in found)]
    moved = [kind for kind in cylinders if everything or kind not in others]
    shown = moved if everything else moved[:_CYLINDERS]
    for kind in shown:
        _indented(to, line((kind.replace(".", " "), BOLD), f": {', '.join(_moved(each) for each in cylinders[kind])}"))
    _draw_more(to, len(moved) - len(shown), "cylinders")
    if others and not everything:
        names = ", ".join(kind.partition(".")[2] for kind in others)
        _indented(to, line(f"other pieces under the ids of before in cylinder {names}", ("  (--all)", DIM)))


def _is_another(change: Change) -> bool:
    """Whether a new piece bears the id of the one that was there before."""
    return change.why.startswith("another ")


def _draw_more(to: Console, count: int, of: str = "") -> None:
    if count:
        _indented(to, words(f"and {count} more {of}".rstrip() + "  (--all)", DIM))


def _moved(change: Change) -> str:
    """`rod R2 → R5 (from 7)`, or `piston P3 → another P3` where a new piece bears the old one's id."""
    kind = kind_words(change.place)
    if _is_another(change):
        return f"{kind} {change.before} → another {change.after}"
    from_ = change.why.removeprefix("came from cylinder ")
    return f"{kind} {change.before or 'none'} → {change.after or 'none'}" + (
        f" (from {from_})" if from_ != change.why else ""
    )


def _draw_findings(to: Console, changes: Sequence[Change], everything: bool) -> None:
    if not changes:
        return
    _title(to, "Found now, and not before")
    styles = {"error": BAD, "warning": DOUBT}
    telling = [each for each in changes if each.significant or everything]
    rules: dict[str, list[Change]] = {}
    for each in telling:
        rules.setdefault(each.what if not everything else f"{len(rules)}", []).append(each)
    for found in [*rules.values()] if everything else [*rules.values()][:_RULES]:
        first, rest = found[0], f"; {len(found) - 1} more" if len(found) > 1 else ""
        style = styles.get(str(first.change), DIM)
        _indented(to, line((str(first.change), style), f"  {first.kind}  {first.after}{rest}"))
    hidden = sum(len(found) for found in [*rules.values()][_RULES:]) if not everything else 0
    notes = len(changes) - len(telling)
    said = [f"{hidden} more"] if hidden else []
    said += [f"{notes} note{'s' if notes != 1 else ''}"] if notes else []
    if said:
        _indented(to, words(f"{'and ' if telling else ''}{' and '.join(said)}  (--all)", DIM))
