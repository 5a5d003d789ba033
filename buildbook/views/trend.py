"""A figure through the builds: a table of its values and changes, and a small chart on one scale."""

from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction

from rich.console import Console
from rich.text import Text

from buildbook.figures.lengths import Ruler
from buildbook.figures.query import KINDS
from buildbook.figures.trend import Change, Point, changes
from buildbook.fits.decision import COVERAGE
from buildbook.quantities import fixed
from buildbook.records.model import Shop
from buildbook.views.ruler import ends_of
from buildbook.views.screen import BAD, BOLD, DIM, DOUBT, Column, can_draw, heading, line, row, table, words

Write = Callable[[Fraction | float, int], str]

_WIDEST = 56


def draw_trend(
    to: Console,
    figure: str,
    of: str,
    trends: Mapping[str, Mapping[str, Point | None]],
    opened: Mapping[str, str | None],
    unreadable: Sequence[str],
    shop: Shop,
    *,
    whole_names: bool,
) -> None:
    """Of each figure that is followed every build with its value and its change, and the chart below."""
    ruler = Ruler(shop)
    there = [each for points in trends.values() for each in points.values() if each is not None]
    heading(to, "Trend", f"{figure}  {of}")
    unit = KINDS[figure.partition(".")[0]]
    write: Write = ruler.text if unit == "mm" else fixed
    if there:
        shown = ruler.unit if unit == "mm" else unit
        said = [f"in {shown}"] if shown else []
        said += ["n places of each build with their mean"] if _several(there) else []
        to.print(words("; ".join([*said, "± U is twice the standard uncertainty (k = 2)"]), DIM))
    for name, points in trends.items():
        to.print()
        if len(trends) > 1:
            to.print(words(name, BOLD))
        _draw_table(to, points, _names(points, whole=whole_names), unreadable, write)
        if any(each is not None for each in points.values()):
            _draw_chart(to, points, opened, write)
    if not there:
        to.print(words("no build has this figure yet", BOLD))
    if any(any(changes([*points.values()])) for points in trends.values()):
        to.print()
        told = "up, down: by more than the uncertainty of the difference; cannot tell: by less"
        to.print(words(told, DIM))


def _names(points: Mapping[str, Point | None], *, whole: bool) -> dict[str, str]:
    """What each build is called in the table."""
    return {name: name if whole else name.partition("/")[2] for name in points}


def _several(there: Sequence[Point]) -> bool:
    return any(each.places > 1 for each in there)


def _draw_table(
    to: Console, points: Mapping[str, Point | None], names: Mapping[str, str], unreadable: Sequence[str], write: Write
) -> None:
    """Every build with its value; on a narrow screen the names stand above, so that no figure is broken."""
    there = [each for each in points.values() if each is not None]
    several = _several(there)
    narrow = to.width < 80
    for number, name in enumerate(names.values(), start=1) if narrow else ():
        to.print(line((f"{number}  ", BOLD), name))
    values = ("n", "least", "mean", "most", "± U") if several else ("value", "± U")
    named: list[Column] = [] if narrow else [("build", "left")]
    figures: list[Column] = [(each, "right") for each in values]
    listing = table(("#", "right"), *named, *figures)
    listing.add_column(words("change"), justify="right", no_wrap=True)
    listing.add_column("", overflow="fold")
    limits = {(each.limit.least, each.limit.most) if each.limit else None for each in there}
    if len(limits) > 1:
        listing.add_column(words("limit"), overflow="fold")
    compared = zip(points.items(), changes([*points.values()]), strict=True)
    for number, ((name, each), change) in enumerate(compared, start=1):
        build = [] if narrow else [words(names[name], BOLD)]
        if each is None:
            why = words("cannot be read", BAD) if name in unreadable else words("none", DIM)
            row(listing, str(number), *build, *([""] * len(values)), "", why)
            continue
        spread = "?" if each.uncertainty is None else write(COVERAGE * each.uncertainty, each.decimals + 1)
        cells = [write(each.value, each.mean_decimals), spread]
        if several:
            least, most = write(each.least, each.decimals), write(each.most, each.decimals)
            cells = [str(each.places), least, cells[0], most, spread]
        limit = [_limit_words(each, write)] if len(limits) > 1 else []
        row(listing, str(number), *build, *cells, _signed(change, each, write), _verdict(change), *limit)
    to.print(listing)
    if len(limits) == 1 and (limit_said := _limit_words(there[0], write)):
        to.print(words(f"limit: {limit_said}", DIM))


def _signed(change: Change | None, each: Point, write: Write) -> str:
    if change is None:
        return ""
    text = write(change.amount, each.mean_decimals)
    return text if text.startswith("-") or not text.strip("0.") else f"+{text}"


def _verdict(change: Change | None) -> Text:
    if change is None:
        return Text("")
    if change.significant:
        return words("up" if change.amount > 0 else "down", BOLD)
    return words("cannot tell" if change.significant is False else "± not known", DOUBT)


def _limit_words(each: Point, write: Write) -> str:
    bounds = each.limit
    if bounds is None:
        return ""
    held = [f"min {write(bounds.least, each.decimals)}"] if bounds.least is not None else []
    held += [f"max {write(bounds.most, each.decimals)}"] if bounds.most is not None else []
    return ", ".join([*held, *(["common practice"] if bounds.practice else [])])


def _draw_chart(
    to: Console, points: Mapping[str, Point | None], opened: Mapping[str, str | None], write: Write
) -> None:
    """One row for each build, by its number in the table: a dot for the value, a line for what it reaches, a bar for
    each limit."""
    there = [each for each in points.values() if each is not None]
    several = _several(there)
    ends = ends_of(each for point in there for each in (*_reach(point, several), *_limits(point)))
    width = min(max(to.width - 20, 15), _WIDEST)
    to.print()
    for number, (name, each) in enumerate(points.items(), start=1):
        picture = _picture(each, ends, width, several) if each is not None else ""
        to.print(line((f"{number:>3}  ", BOLD), (f"{(opened[name] or '')[:10]:10}  ", DIM), picture))
    decimals = max(each.decimals for each in there)
    low, high = (write(end, decimals) for end in ends)
    to.print(words(" " * 17 + low + high.rjust(width - len(low)), DIM))
    reach, dot, bar = _marks()
    reaches = "from the least place to the most" if several else "± U"
    limited = f", {bar} a limit" if any(each.limit for each in there) else ""
    to.print(words(f"{dot} the {'mean' if several else 'value'}, {reach} {reaches}{limited}", DIM))


def _marks() -> tuple[str, str, str]:
    return ("─", "●", "│") if can_draw() else ("-", "o", "|")


def _reach(each: Point, several: bool) -> tuple[float, float]:
    """From where to where the line of a point goes."""
    if several:
        return float(each.least), float(each.most)
    spread = COVERAGE * (each.uncertainty or 0.0)
    return float(each.value) - spread, float(each.value) + spread


def _limits(each: Point) -> tuple[float | None, float | None]:
    if each.limit is None:
        return None, None
    least, most = each.limit.least, each.limit.most
    return None if least is None else float(least), None if most is None else float(most)


def _picture(each: Point, ends: tuple[float, float], width: int, several: bool) -> str:
    low, high = ends
    reach, dot, bar = _marks()

    def place(figure: float) -> int:
        return min(max(round((figure - low) / (high - low) * (width - 1)), 0), width - 1)

    marks = [" "] * width
    least, most = _reach(each, several)
    for at in range(place(least), place(most) + 1):
        marks[at] = reach
    for limit in _limits(each):
        if limit is not None:
            marks[place(limit)] = bar
    marks[place(float(each.value))] = dot
    return "".join(marks).rstrip()
