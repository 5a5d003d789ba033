"""The one way into HTML: user text is data, never markup, never a direction mark that turns a line round."""

from collections.abc import Iterable, Sequence
from functools import cache
from html import escape
from pathlib import Path

# Written into every page, so that a page of ours can be told from anything else before it is overwritten.
MARK = "printed by buildbook"

# Nothing may be loaded from anywhere, and nothing may run; the page brings its own styles.
POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"

_EMPTY = {"meta", "br", "wbr", "line", "circle", "path", "rect", "polyline"}


# A word longer than this may be broken anywhere; shorter ones stay whole, so that columns of ids stay narrow.
_LONGEST_WORD = 20


class Markup(str):
    """Text that is HTML already; any other text is escaped on its way in."""

    __slots__ = ()


Child = str | int | None | Iterable["Child"]


def plain(text: object) -> str:
    """Text without control and direction marks, which show as escapes; line breaks become spaces."""
    return "".join(
        mark if mark.isprintable() else " " if mark in "\n\r\t\xa0" else f"\\u{ord(mark):04x}" for mark in str(text)
    )


def text(*children: Child) -> Markup:
    """Children one after the other: markup as it is, all else escaped; None is nothing."""
    parts: list[str] = []
    for child in children:
        if isinstance(child, Markup):
            parts.append(child)
        elif isinstance(child, str | int):
            parts.append(escape(plain(child)))
        elif child is not None:
            parts.append(text(*child))
    return Markup("".join(parts))


def element(name: str, /, *children: Child, **attributes: str | int | float | bool | None) -> Markup:
    """An element. A final underscore of an attribute's name is dropped, the others become hyphens (`class_`,
    `text_anchor`); one that is None or False is left out."""
    written = []
    for attribute, value in attributes.items():
        if value is None or value is False:
            continue
        key = attribute.rstrip("_").replace("_", "-")
        shown = f"{value:.2f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)
        written.append(f" {key}" if value is True else f' {key}="{escape(plain(shown))}"')
    opening = f"<{name}{''.join(written)}>"
    if name in _EMPTY and not children:
        return Markup(opening if name in {"meta", "br", "wbr"} else f"{opening[:-1]}/>")
    return Markup(f"{opening}{text(*children)}</{name}>")


def own(user_text: object) -> Markup:
    """A name or a text of the builder's own: it reads in its own direction, and does not turn what stands beside it."""
    said = str(user_text)
    longest = max(map(len, said.split()), default=0)
    return element("bdi", said, class_="long" if longest > _LONGEST_WORD else None)


def section(title: str, *children: Child, means: str | None = None, class_: str | None = None) -> Markup:
    """A part of the page under its heading, and what its numbers mean in a line."""
    said = element("p", means, class_="means") if means else None
    return element("section", element("h2", title), said, *children, class_=class_)


# A table of no more rows is not broken over two pages.
_SHORT_TABLE = 24


def table(
    columns: Sequence[str], rows: Iterable[Sequence[Child]], *, caption: str | None = None, whole: bool = True
) -> Markup:
    """A table whose first cell of each row names it; a column that says nothing is left out, and so is a table without
    rows. A column whose title ends in `>` holds figures: set to the right and never broken. A short one stays whole
    on one page, unless it may be read on over the next."""
    given = list(rows)
    if not given:
        return Markup()
    used = [place for place in range(len(columns)) if place == 0 or any(row[place] for row in given)]
    sides = {place: "figure" if columns[place].endswith(">") else None for place in used}
    titles = {place: columns[place].removesuffix(">") for place in used}
    head = element(
        "tr",
        (
            element("th", titles[place], scope="col", class_=sides[place]) if titles[place] else element("td")
            for place in used
        ),
    )
    body = [
        element(
            "tr",
            element("th", row[0], scope="row", class_=sides[0]) if row[0] else element("td"),
            (element("td", row[place], class_=sides[place]) for place in used[1:]),
        )
        for row in given
    ]
    return element(
        "table",
        element("caption", caption) if caption else None,
        element("thead", head),
        element("tbody", body),
        class_="together" if whole and len(body) <= _SHORT_TABLE else None,
    )


# What is longer than this, in letters of its markup, has a line of its own.
_LONG_FACT = 50


def facts(pairs: Iterable[tuple[str, Child]]) -> Markup:
    """Names and what there is to say of each, two in a line if they are short; those with nothing to say are left
    out."""
    said = []
    for name, value in ((name, text(value)) for name, value in pairs if value):
        class_ = "wide" if len(value) > _LONG_FACT else None
        said.append(element("div", element("dt", name), element("dd", value), class_=class_))
    return element("dl", said) if said else Markup()


def items(lines: Iterable[Child], class_: str | None = None) -> Markup:
    listed = [element("li", line) for line in lines]
    return element("ul", listed, class_=class_) if listed else Markup()


@cache
def _style() -> str:
    return (Path(__file__).parent / "print.css").read_text(encoding="utf-8")


def page(title: str, *body: Child, kind: str, paper: str | None = None) -> str:
    """A whole page that needs nothing else: its styles are in it, and it may load nothing and run nothing.

    `paper` is what it is printed on (`A4`, `letter`); without it the printer decides.
    """
    size = f"@page {{ size: {paper} }}\n" if paper else ""
    size += ":root { --sheet: 273mm }\n" if paper == "A4" else ""  # Letter is shorter; what is not known fits both
    head = element(
        "head",
        element("meta", charset="utf-8"),
        element("meta", http_equiv="Content-Security-Policy", content=POLICY),
        element("meta", name="viewport", content="width=device-width, initial-scale=1"),
        element("meta", name="generator", content=MARK),
        element("title", f"{title}, {MARK}"),
        element("style", Markup(_style() + size)),
    )
    return (
        f"<!doctype html>\n{element('html', head, element('body', element('main', *body), class_=kind), lang='en')}\n"
    )
