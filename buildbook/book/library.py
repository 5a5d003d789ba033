"""A whole book at once: its builds, each read once, and the looking up of engines and builds by words and figures."""

import re
from collections.abc import Callable, Collection, Iterator, Sequence
from itertools import zip_longest
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from buildbook.book.places import builds, engines, folder_of, resolve
from buildbook.book.reading import Reader
from buildbook.records.finding import Finding
from buildbook.records.read import BUILD_FILES
from buildbook.records.tree import ListNode, MapNode, Node, TextNode

if TYPE_CHECKING:
    from buildbook.figures.fits import Bounds
    from buildbook.figures.named import Named
    from buildbook.figures.query import Condition

# The fields whose text is looked through; what they say is a name, a number of a maker, or free text.
_TEXTS = frozenset(
    [
        *("engine", "ref", "name", "contact", "description", "family", "layout", "build", "follows", "purpose", "use"),
        *("note", "void", "because", "source", "maker", "number", "serial", "state", "material"),
    ]
)
_DATES = frozenset(("opened", "taken"))
_IDS = frozenset(("by", "with"))  # who did it, and with which instrument: hundreds of records say the same
_is_date = re.compile(r"\d{4}(-\d{2}(-\d{2}(T[\d:]*)?)?)?").fullmatch


class Said(NamedTuple):
    """One text of a book, and the field that holds it: `owner.name`, `parts.rod.number`, `weighings.W3.void`."""

    field: str
    text: str
    is_date: bool


class Match(NamedTuple):
    """Where a word was met: the field, its text, and from which character to which; `times` in how many records of a
    file, for dates of one day, people and instruments."""

    field: str
    text: str
    start: int
    end: int
    times: int = 1


class FigureMatch(NamedTuple):
    """A figure that satisfies a condition, and what it is held to, if anything."""

    condition: "Condition"
    named: "Named"
    limit: "Bounds | None"


class Found(NamedTuple):
    """An engine (`build` is None) or a build that satisfies all that was asked, and why."""

    engine: str
    build: str | None
    opened: str | None
    texts: tuple[Match, ...]
    figures: tuple[FigureMatch, ...]


class Search(NamedTuple):
    """What was found, in how many builds it was looked for, and what could not be read.

    `names` are the figures of the kinds asked for that any build has; empty where figures were not asked for. `missed`
    are figures by their builds that do not satisfy a condition, and by their digits look as if they did.
    """

    found: tuple[Found, ...]
    builds: int
    names: frozenset[str]
    findings: tuple[Finding, ...]
    missed: "tuple[tuple[str, Named], ...]" = ()


class WorkedOut(NamedTuple):
    """A build with the figures that were asked for, by name, and their limits.

    What was found `against` it keeps it from having them: partial figures look right. `doubts` are errors that leave
    the figures as they are, and may make them wrong.
    """

    named: "dict[str, Named]"
    limits: "dict[str, Bounds]"
    against: tuple[Finding, ...] = ()
    doubts: tuple[Finding, ...] = ()


class Meant(NamedTuple):
    """An engine with all its builds (`whole`), in the order in which they were opened, or one of them alone."""

    engine: str
    builds: list[str]
    whole: bool


class Library:
    """All builds of one book, each file read only once."""

    def __init__(self, book: Path) -> None:
        self.book = book
        self.reader = Reader(book)

    @property
    def engines(self) -> list[str]:
        return engines(self.book)

    def builds(self, engine: str) -> list[str]:
        """The builds of an engine by their full names, in the order in which they were opened."""
        names = [f"{engine}/{build}" for build in builds(self.book, engine)]
        return sorted(names, key=lambda name: (self.opened(name) or "", name))

    def opened(self, build: str) -> str | None:
        """The day a build was opened, as its build.yaml says it."""
        root, _ = self._tree("build", build)
        node = root.get("opened") if root else None
        return node.text if isinstance(node, TextNode) else None

    def meant(self, what: str | None, here: Path) -> Meant:
        """What a person means by a build, by an engine, or by the folder they are in. Raises Misuse."""
        if what is None:
            try:
                inside = here.absolute().relative_to(self.book / "engines").parts[:2]
            except ValueError:
                inside = tuple(self.engines) if len(self.engines) == 1 else ()
            what = "/".join(inside) or None
        engine = (what or "").strip("/")
        if "/" not in engine and engine in self.engines and (of_engine := self.builds(engine)):
            return Meant(engine, of_engine, True)
        build = resolve(self.book, what, here)
        return Meant(build.partition("/")[0], [build], False)

    def family(self, name: str) -> tuple[list[str], list[str]]:
        """The engines of a family, and all families there are."""
        families: dict[str, list[str]] = {}
        for engine in self.engines:
            record, _ = self.reader.engine(engine)
            if record is not None and record.family is not None:
                families.setdefault(record.family, []).append(engine)
        return families.get(name, []), sorted(families)

    def work_out(self, name: str, kinds: Collection[str]) -> WorkedOut:
        """A build with its figures of these kinds, and others that come with them."""
        from buildbook.figures import work_out
        from buildbook.figures.named import named_figures
        from buildbook.figures.query import limits

        loaded = self.reader.load(name)
        if loaded.build is None:
            return WorkedOut({}, {}, tuple(_errors(loaded.findings)))
        figures = work_out(loaded.build)
        measured = any(map(_is_measured, kinds))
        against = tuple(_errors(figures.fit_findings)) if measured else ()
        named = named_figures(figures, measured=measured and not against)
        return WorkedOut(named, limits(figures, named), against, tuple(_errors(figures.findings)))

    def find(
        self, words: Sequence[str], conditions: "Sequence[Condition]", step: Callable[[], None] = lambda: None
    ) -> Search:
        """The engines and builds of which every word and every condition holds; `step` is called after each engine.

        What an engine's own record says holds for its builds too; where it alone satisfies all words, the engine is
        found, and of its builds only those that say all of it themselves. A condition is satisfied by a build.
        """
        found: list[Found] = []
        findings: list[Finding] = []
        names: set[str] = set()
        missed: list[tuple[str, Named]] = []
        count = 0
        for engine in self.engines:
            of_engine, wrong = self._said_of_engine(engine, words)
            findings += wrong
            in_engine = [matches(word, of_engine) for word in words]
            whole = bool(words) and not conditions and all(in_engine)
            if whole:
                found.append(Found(engine, None, None, _flat(in_engine), ()))
            of_builds = []
            for name in (f"{engine}/{build}" for build in builds(self.book, engine)):
                count += 1
                of_build, wrong = self._said_of_build(name, words)
                findings += wrong
                own = [matches(word, of_build) for word in words]
                either = own if whole else [(*a, *b) for a, b in zip(in_engine, own, strict=True)]
                if not all(either):
                    continue
                figures: tuple[FigureMatch, ...] | None = ()
                if conditions:
                    kinds = {condition.kind for condition in conditions}
                    worked_out = self.work_out(name, kinds)
                    findings += worked_out.against
                    names |= {each.name for each in worked_out.named.values() if each.kind in kinds}
                    figures = _satisfied(conditions, worked_out)
                    missed += [(name, each) for each in _missed(conditions, worked_out)]
                    findings += worked_out.doubts if figures else ()
                if figures is not None:
                    of_builds.append(Found(engine, name, self.opened(name), _flat(either), figures))
            found += sorted(of_builds, key=lambda each: (each.opened or "", each.build))
            step()
        self.reader.passed.save()
        return Search(tuple(found), count, frozenset(names), tuple(dict.fromkeys(findings)), tuple(missed))

    def _tree(self, kind: str, build: str) -> tuple[MapNode | None, tuple[Finding, ...]]:
        return self.reader.file(kind, folder_of(self.book, build) / f"{kind}.yaml", needed=kind == "build")

    def _said_of_engine(self, engine: str, words: Sequence[str]) -> tuple[list[Said], list[Finding]]:
        path = self.book / "engines" / engine / "engine.yaml"
        if not self._may_say("engine", path, words):
            return [], []
        root, findings = self.reader.file("engine", path, needed=True)
        return list(_said(root, "", "")) if root else [], _errors(findings)

    def _said_of_build(self, build: str, words: Sequence[str]) -> tuple[list[Said], list[Finding]]:
        said: list[Said] = []
        wrong: list[Finding] = []
        for kind in BUILD_FILES:
            if self._may_say(kind, folder_of(self.book, build) / f"{kind}.yaml", words):
                root, findings = self._tree(kind, build)
                said += _said(root, "" if kind == "build" else kind, "") if root else ()
                wrong += _errors(findings)
        return said, wrong

    def _may_say(self, kind: str, path: Path, words: Sequence[str]) -> bool:
        """Whether a file has to be parsed for these words. One that is known to be sound, and that holds none of them
        letter by letter, has not: that spares most of a large book."""
        if not words:
            return False
        try:
            if path.is_symlink():
                return True
            content = path.read_bytes()
            text = content.decode().casefold()
        except (OSError, UnicodeDecodeError):
            return True  # the reader says what is wrong with it
        if "\\" in text:
            return True  # an escape may stand for a letter
        # quotes are doubled in quoted texts, and lines may be broken at spaces
        parts = [re.split(r"[\s']+", word.casefold()) for word in words]
        if any(all(part in text for part in of_word) for of_word in parts):
            return True
        return self.reader.passed.key(kind, content) not in self.reader.passed


def _is_measured(kind: str) -> bool:
    """Whether a figure is a size, or what follows from sizes."""
    from buildbook.figures.fits import FIT_KINDS
    from buildbook.figures.named import SIZES

    return kind in FIT_KINDS or kind in SIZES


def _errors(findings: Sequence[Finding]) -> list[Finding]:
    return [finding for finding in findings if finding.severity == "error"]


# Lists that are all a file holds: the file's own name says as much.
_IN_THE_NAME = frozenset(("sessions", "steps", "parts"))


def _said(node: Node, path: str, name: str) -> Iterator[Said]:
    """The texts below a node: those of the fields that are looked through, dates, serial numbers and piece ids."""
    match node:
        case MapNode():
            for key, inner in node.items():
                yield from _said(inner, path if key in _IN_THE_NAME else f"{path}.{key}".lstrip("."), key)
        case ListNode():
            for number, item in enumerate(node.items, start=1):
                if isinstance(item, TextNode):
                    if name == "ids":
                        yield Said(path, item.text, False)
                else:
                    yield from _said(item, f"{path}.{_called(item, number)}", "")
        case TextNode() if not node.is_null:
            if name in _DATES:
                yield Said(path, node.text, True)
            elif name in _TEXTS or name in _IDS or "serials." in path:
                yield Said(path, node.text, False)


def _called(item: Node, number: int) -> str:
    """What a list's item is known by: its id, its kind, or else its number."""
    for field in ("id", "kind") if isinstance(item, MapNode) else ():
        named = item.get(field) if isinstance(item, MapNode) else None
        if isinstance(named, TextNode):
            return named.text
    return str(number)


def matches(word: str, said: Sequence[Said]) -> tuple[Match, ...]:
    """Where a word is met in texts: in part, or as a whole word where it has only one or two characters. A date is met
    by its year, its month or its day; those of one day in one file count together, and so do those by one person or
    with one instrument."""
    wanted = " ".join(word.casefold().split())
    counted: dict[tuple[str, str], Match] = {}
    result = []
    for each in said:
        span: tuple[int, int] | None = None
        text = each.text
        if each.is_date:
            if _is_date(word) and text.startswith(word):
                text, span = text[: max(10, len(word))], (0, len(word))
        elif wanted in " ".join(text.casefold().split()):
            span = _span(wanted, text)
        if span is None:
            continue
        if each.is_date or each.field.rpartition(".")[2] in _IDS:
            field = _without_id(each.field)
            known = counted.get((field, text))
            counted[field, text] = Match(field, text, *span, known.times + 1 if known else 1)
        else:
            result.append(Match(each.field, text, *span))
    return (*result, *counted.values())


def _without_id(field: str) -> str:
    """`weighings.W3.taken` without the record's own name: `weighings.taken`."""
    first, _, rest = field.partition(".")
    return f"{first}.{rest.rpartition('.')[2]}" if "." in rest else field


def _span(wanted: str, text: str) -> tuple[int, int] | None:
    """From which character of a text to which a folded word reaches; a character may fold into several."""
    folded: list[str] = []
    places: list[int] = []
    for place, mark in enumerate(text):
        if mark.isspace() and (not folded or folded[-1] == " "):
            continue
        for each in " " if mark.isspace() else mark.casefold():
            folded.append(each)
            places.append(place)
    whole = "".join(folded)
    at = whole.find(wanted)
    while at >= 0:
        end = at + len(wanted)
        alone = not whole[at - 1 : at].isalnum() and not whole[end : end + 1].isalnum()
        if alone or len(wanted) > 2:
            return places[at], places[end - 1] + 1
        at = whole.find(wanted, at + 1)
    return None


def _flat(by_word: Sequence[Sequence[Match]]) -> tuple[Match, ...]:
    """The matches of all words, the first of each before the second of any."""
    in_turn = (match for turn in zip_longest(*by_word) for match in turn if match is not None)
    return tuple(dict.fromkeys(in_turn))


def _satisfied(conditions: "Sequence[Condition]", worked_out: WorkedOut) -> tuple[FigureMatch, ...] | None:
    """The figures that satisfy each of the conditions; None where one of them is not satisfied."""
    from buildbook.figures.query import satisfying

    result: list[FigureMatch] = []
    for condition in conditions:
        those = satisfying(condition, worked_out.named.values())
        if not those:
            return None
        result += [FigureMatch(condition, named, worked_out.limits.get(named.name)) for named in those]
    return tuple(result)


def _missed(conditions: "Sequence[Condition]", worked_out: WorkedOut) -> "list[Named]":
    from buildbook.figures.query import missed

    return [each for condition in conditions for each in missed(condition, worked_out.named.values())]
