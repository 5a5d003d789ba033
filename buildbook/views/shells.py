"""Which bearing shells to order, and which halves go to which journal."""

from collections.abc import Iterable
from fractions import Fraction

from rich.console import Console
from rich.text import Text

from buildbook.figures import Figures
from buildbook.figures.lengths import Ruler
from buildbook.figures.shells import JournalShells, ShellFigures
from buildbook.fits.shells import Choice
from buildbook.quantities import UNITS
from buildbook.views.fits import SAID
from buildbook.views.ruler import ends_of, gauge
from buildbook.views.screen import BAD, BOLD, DIM, DOUBT, GOOD, bar, can_draw, heading, line, row, table, words

_COUNTS = {1: "one size", 2: "two sizes", 3: "three sizes"}


def draw_shells(to: Console, figures: Figures, found: ShellFigures) -> None:
    ruler = Ruler(figures.build.shop)
    sizes = _Exactly(ruler, [*found.sizes, found.fitted], 2)
    aim = _Exactly(ruler, [found.target], 3)
    heading(to, "Shells", f"{found.which} bearings, {figures.build.name}")
    said = (
        f"{ruler.unit} at 20 °C, at the tightest place of each journal, ± {ruler.text(found.known_within, 4)} (k = 2); "
        "a maximum is held against the mean"
    )
    to.print(words(said, DIM))
    to.print()
    _draw_task(to, ruler, sizes, aim, found)
    _draw_choices(to, sizes, aim, found)
    _draw_journals(to, ruler, sizes, aim, found)
    _draw_order(to, sizes, found)
    to.print()
    caution = (
        "Measure again with the new shells in and the caps torqued: these are sizes on paper. The bearing maker's "
        "limits come first."
    )
    to.print(words(caution, DIM))


class _Exactly:
    """Writes lengths with the digits that some given ones need, from so many up to four in mm."""

    def __init__(self, ruler: Ruler, lengths: Iterable[Fraction], decimals: int) -> None:
        self.ruler = ruler
        self.decimals = decimals
        while self.decimals < 4 and any(self._rounded(length) for length in lengths):
            self.decimals += 1

    def _rounded(self, length: Fraction) -> bool:
        return Fraction(self.ruler.text(length, self.decimals)) * UNITS[self.ruler.unit].factor != length

    def text(self, length: Fraction, *, sign: bool = False) -> str:
        return self.ruler.text(length, self.decimals, sign=sign)

    def listed(self, sizes: Iterable[Fraction]) -> str:
        return ", ".join(self.text(size, sign=True) for size in sizes)


def _draw_task(to: Console, ruler: Ruler, sizes: _Exactly, aim: _Exactly, found: ShellFigures) -> None:
    """What is aimed at, and with what."""
    bounds = found.bounds
    exactly = _Exactly(ruler, [each for each in bounds[:2] if each is not None], 3)
    least, most = (None if each is None else exactly.text(each) for each in bounds[:2])
    limits = f"{least} to {most}" if least and most else f"at least {least}" if least else f"at most {most}"
    by = f"common practice, {bounds.source}: nobody set a limit" if bounds.practice else bounds.source or "build.yaml"
    listing = table(("", "left"), ("", "left"))
    listing.show_header = False
    row(listing, words("target", BOLD), line((aim.text(found.target), BOLD), (f"  {found.target_from}", DIM)))
    if least or most:
        row(listing, words("limits", BOLD), line(limits, (f"  {by}", DOUBT if bounds.practice else DIM)))
    else:
        row(listing, words("limits", BOLD), words("none in build.yaml", DOUBT))
    row(listing, words("in now", BOLD), line(sizes.text(found.fitted, sign=True), (f"  {found.fitted_from}", DIM)))
    row(listing, words("offered", BOLD), sizes.listed(found.sizes))
    if found.usual_steps:
        row(listing, "", words("a shop's usual steps (common practice); the maker's catalogue decides", DIM))
    row(listing, "", words("A size is an undersize: a larger one closes the clearance.", DIM))
    to.print(listing)


def _draw_choices(to: Console, sizes: _Exactly, aim: _Exactly, found: ShellFigures) -> None:
    """The best of one size, of two and of three, with how far the worst journal is from the target."""
    to.print()
    widest = float(max(choice.farthest for choice in found.choices)) or 1.0
    listing = table()
    listing.add_column("", no_wrap=True)
    listing.add_column("sizes", overflow="fold")
    for title in ("farthest off", ""):
        listing.add_column(title, justify="right" if title else "left", no_wrap=True)
    listing.add_column("limits", overflow="fold")
    for choice in found.choices:
        chosen = choice is found.recommended
        style = BOLD if chosen else ""
        row(
            listing,
            words(_MARKS[chosen][can_draw()] + _COUNTS[len(choice.sizes)], style),
            words(sizes.listed(choice.sizes), style),
            words(aim.text(choice.farthest), style),
            words(bar(float(choice.farthest) / widest, 16 if to.width >= 80 else 8), style),
            _limits_kept(found, choice),
        )
    to.print(listing)
    if len(found.choices) < min(3, len(found.sizes)):
        to.print(words("More sizes than that bring the farthest journal no nearer.", DIM))


def _limits_kept(found: ShellFigures, choice: Choice) -> Text:
    """Which journals a choice leaves outside the limits, and of which that cannot be told."""
    if not _limited(found):
        return words("none set", DIM)
    if choice.within:
        return words("all within", GOOD)
    outside, in_doubt = (
        ", ".join(fit.place for fit in found.clearances if fit.place in places)
        for places in (choice.outside, choice.in_doubt)
    )
    return line((f"outside {outside}" if outside else "", BAD), "; " if outside and in_doubt else "",
                (f"cannot tell {in_doubt}" if in_doubt else "", DOUBT))  # fmt: skip


# By whether it is the choice to take, and then by whether the terminal can draw.
_MARKS = {True: ("> ", "▶ "), False: ("  ", "  ")}


def _limited(found: ShellFigures) -> bool:
    return found.bounds.least is not None or found.bounds.most is not None


def _draw_journals(to: Console, ruler: Ruler, sizes: _Exactly, aim: _Exactly, found: ShellFigures) -> None:
    """The choice to take, journal by journal."""
    best = found.recommended
    journals = found.journals(best)
    limits = found.bounds.ends
    reach = [float(each) + side * found.known_within for j in journals for each in (j.now, j.then) for side in (-1, 1)]
    ends = ends_of([*limits, *reach])
    roomy, narrow = to.width >= 100, to.width < 80
    to.print()
    to.print(line((f"With {sizes.listed(best.sizes)}", BOLD), ("  " + _why(found), DIM)))
    listing = table((found.which, "left"))
    for title, wanted in (("under", bool(found.undersize)), ("now", True)):
        if wanted:
            listing.add_column(title, justify="right", no_wrap=True)
    if roomy:
        listing.add_column("", no_wrap=True)
    listing.add_column("halves", overflow="fold")
    for title in ("then", "off by"):
        listing.add_column(title, justify="right", no_wrap=True)
    if not narrow:
        listing.add_column("", no_wrap=True)
    listing.add_column("", no_wrap=True)
    for each in journals:
        now, then = (gauge(float(at), found.known_within, limits, ends) for at in (each.now, each.then))
        under = [ruler.text(found.undersize[each.journal], 3)] if found.undersize else []
        row(
            listing,
            words(each.journal, BOLD),
            *under,
            ruler.text(each.now, 3),
            *([Text(now, style=DIM)] if roomy else []),
            _halves(sizes, each),
            words(ruler.text(each.then, 3), BOLD),
            aim.text(each.from_target, sign=True),
            *([] if narrow else [Text(then)]),
            words(*SAID[each.verdict]),
        )
    to.print(listing)
    if found.undersize:
        to.print(words(f"under: how much smaller than a standard {found.which} journal, as engine.yaml has it", DIM))
    if best.mixed_bearings:
        said = (
            "Two sizes in one bearing: one of each (common practice). Whether that may be, and which of them goes into "
            "the cap, is the bearing maker's word."
        )
        to.print(words(said, DIM))
    if any(each.verdict == "cannot tell" for each in journals):
        to.print(words("cannot tell: the uncertainty reaches over the limit.", DOUBT))
    for lacking in found.missing:
        to.print(line((lacking.place, BOLD), (f" is not in the choice; missing: {lacking.lacking}", DOUBT)))


def _why(found: ShellFigures) -> str:
    best = found.recommended
    if not _limited(found):
        return "the simplest, for there are no limits"
    if not best.within:
        return f"the best there is, and not{'' if best.outside else ' for certain'} within the limits"
    verb = "brings" if len(best.sizes) == 1 else "bring"
    return f"{_COUNTS[len(best.sizes)]} {verb} every journal within the limits"


def _halves(sizes: _Exactly, journal: JournalShells) -> str:
    one, other = (sizes.text(half, sign=True) for half in journal.halves)
    return f"both {one}" if one == other else f"{one} and {other}"


def _draw_order(to: Console, sizes: _Exactly, found: ShellFigures) -> None:
    """How many half shells of each size; two of them make one bearing."""
    to.print()
    needed = found.recommended.to_order
    to.print(line(("To order", BOLD), ("  two half shells make one bearing", DIM)))
    listing = table(("size", "right"), ("half shells", "right"))
    listing.add_column("", no_wrap=True)
    for size, count in needed.items():
        picture = bar(count / max(needed.values()), 16)
        in_now = "  this size is in now" if size == found.fitted else ""
        row(listing, words(sizes.text(size, sign=True), BOLD), words(str(count), BOLD), words(picture + in_now))
    to.print(listing)
