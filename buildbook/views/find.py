"""What was found in the book, and why: the text with the match marked, or the figure with its limit."""

from collections.abc import Sequence
from itertools import groupby
from typing import TYPE_CHECKING

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from buildbook.book.library import FigureMatch, Found, Match, Search
from buildbook.views.screen import BOLD, DIM, DOUBT, can_draw, heading, line, plain, row, table, words

if TYPE_CHECKING:
    from buildbook.figures.named import Named
    from buildbook.figures.query import Condition
    from buildbook.records.model import Shop

_SHOWN_MOST = 8  # of the reasons of one kind; the rest are counted
_MORE_DIGITS = 2  # of a figure that by its usual digits is the one it was compared with
_AROUND = 100  # characters of a long text that are shown before and after what was met


def draw_found(
    to: Console, search: Search, asked: Sequence[str], conditions: "Sequence[Condition]", shop: "Shop | None"
) -> None:
    """Every engine and build that was found, each with its reasons."""
    said = ", ".join([f"“{' '.join(word.split())}”" for word in asked] + [each.text for each in conditions])
    heading(to, "Find", said)
    for each in search.found:
        to.print()
        whole = "the engine, with all its builds" if each.build is None else f"opened {each.opened or '?'}"
        to.print(line((each.build or each.engine, BOLD), (f"  {whole}", DIM)))
        _draw_texts(to, each.texts)
        if shop is not None:
            _draw_figures(to, each, shop)
    if shop is not None and search.missed:
        _draw_missed(to, search.missed, shop)
    to.print()
    looked = f"{search.builds} build{'s' if search.builds != 1 else ''}"
    if not search.found:
        to.print(words(f"nothing found in {looked}", BOLD))
        return
    engines = sum(each.build is None for each in search.found)
    found = len(search.found) - engines
    counts = [f"{engines} engine{'s' if engines != 1 else ''}"] if engines else []
    counts += [f"{found} of {looked}"] if found or not engines else []
    to.print(words(f"found {' and '.join(counts)}", BOLD))


def _draw_texts(to: Console, texts: Sequence[Match]) -> None:
    """The texts in which words were met, each under the name of its field."""
    if not texts:
        return
    listing = table(("field", "left"), ("text", "left"))
    listing.show_header = False
    for match in texts[:_SHOWN_MOST]:
        text = _marked(match)
        if match.times > 1:
            text.append(plain(f"  {match.times} records"), style=DIM)
        row(listing, words(match.field, DIM), text)
    to.print(Padding(listing, (0, 0, 0, 2)))
    if len(texts) > _SHOWN_MOST:
        to.print(Padding(words(f"and {len(texts) - _SHOWN_MOST} more", DIM), (0, 0, 0, 2)))


def _marked(match: Match) -> Text:
    """The text with what was met between marks that show without colours, too."""
    before, met, after = match.text[: match.start], match.text[match.start : match.end], match.text[match.end :]
    if len(before) > _AROUND:
        before = "… " + before[-_AROUND:]
    if len(after) > _AROUND:
        after = after[:_AROUND] + " …"
    opening, closing = ("«", "»") if can_draw() else (">", "<")
    return line(before, (f"{opening}{met}{closing}", BOLD), after)


def _draw_figures(to: Console, found: Found, shop: "Shop") -> None:
    """The figures that satisfy the conditions, by kind, each with its place, uncertainty and limit."""
    from buildbook.figures.lengths import Ruler
    from buildbook.fits.decision import COVERAGE
    from buildbook.quantities import fixed

    ruler = Ruler(shop)
    for _, group in groupby(found.figures, key=lambda match: match.condition):
        those: list[FigureMatch] = list(group)
        listing = table(("", "left"), ("value", "right"), ("± U", "right"), ("", "left"), ("limit", "left"))
        for match in those[:_SHOWN_MOST]:
            named, bounds = match.named, match.limit
            write = ruler.text if named.unit == "mm" else fixed
            hidden = match.condition.is_hidden(named)
            held = []
            if bounds is not None:
                held += [f"min {write(bounds.least, named.decimals)}"] if bounds.least is not None else []
                held += [f"max {write(bounds.most, named.decimals)}"] if bounds.most is not None else []
                held += ["common practice"] if bounds.practice else []
            spread = named.uncertainty
            row(
                listing,
                words(named.name, BOLD),
                write(named.value, named.decimals + _MORE_DIGITS * hidden),
                "?" if spread is None else write(COVERAGE * spread, named.decimals + 1),
                ruler.unit if named.unit == "mm" else named.unit,
                ", ".join(held),
            )
        to.print(Padding(listing, (0, 0, 0, 2)))
        if len(those) > _SHOWN_MOST:
            to.print(Padding(words(f"and {len(those) - _SHOWN_MOST} more places", DIM), (0, 0, 0, 2)))


def _draw_missed(to: Console, missed: "Sequence[tuple[str, Named]]", shop: "Shop") -> None:
    """Figures that by their usual digits look as if they satisfied the condition."""
    from buildbook.figures.lengths import Ruler
    from buildbook.quantities import fixed

    ruler = Ruler(shop)
    said = []
    for build, named in missed[:_SHOWN_MOST]:
        is_length = named.unit == "mm"
        value = (ruler.text if is_length else fixed)(named.value, named.decimals + _MORE_DIGITS)
        said.append(f"{named.name} of {build}, {value} {ruler.unit if is_length else named.unit}".rstrip())
    said += [f"and {len(missed) - _SHOWN_MOST} more"] if len(missed) > _SHOWN_MOST else []
    to.print()
    to.print(line(("missed by less than its usual digits show: ", DOUBT), "; ".join(said)))
