"""Reads a book: each file decoded, parsed, held against its schema, and made into records."""

from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

from buildbook.book.loader import decode, parse
from buildbook.book.places import folder_of, shown, top_of
from buildbook.book.schema import Passed, check_tree
from buildbook.records.finding import Finding, Where, nearest
from buildbook.records.model import Build, Engine, Shop
from buildbook.records.read import BUILD_FILES, read_build, read_engine, read_shop
from buildbook.records.tree import MapNode, TextNode


class Loaded(NamedTuple):
    """A build, where all its files could be read for certain; and all that was found on the way."""

    build: Build | None
    findings: tuple[Finding, ...]


class Reader:
    """Reads the files of one book, each only once.

    `instead` is what to read in place of what is on disk; None stands for a file that is not there.
    """

    def __init__(self, book: Path, instead: Mapping[Path, bytes | None] | None = None) -> None:
        self.book = book
        self._place = book.resolve()
        self.instead = instead or {}
        self.passed = Passed()
        self._files: dict[Path, tuple[MapNode | None, tuple[Finding, ...]]] = {}
        self._contents: dict[Path, bytes | None] = {}

    def with_change(self, path: Path, content: bytes) -> "Reader":
        """A reader of the same files, of which one has another content; what was read already is not read again."""
        changed = Reader(self.book, {**self.instead, path: content})
        changed.passed = self.passed
        changed._files = {each: read for each, read in self._files.items() if each != path}
        changed._contents = {each: read for each, read in self._contents.items() if each != path}
        return changed

    def still_holds(self) -> bool:
        """Whether the disk holds, byte for byte, what was read: then reading it once more would say the same."""
        return all(content == self._on_disk(path, False, []) for path, content in self._contents.items())

    def followed(self, build: Build) -> Build | None:
        """The build that this one follows; None where there is none, or it cannot be read for certain."""
        name = f"{build.engine.name}/{build.follows}"
        return self.load(name).build if build.follows and folder_of(self.book, name).is_dir() else None

    def load(self, name: str) -> Loaded:
        """The build of that full name. With any error in a file there is no build: partial figures look right."""
        engine_name, _, build_name = name.partition("/")
        folder = folder_of(self.book, name)
        shop, findings = self.shop()
        engine, engine_findings = self.engine(engine_name)
        findings = [*findings, *engine_findings]
        roots: dict[str, MapNode | None] = {}
        for kind in BUILD_FILES:
            roots[kind], file_findings = self.file(kind, folder / f"{kind}.yaml", needed=kind == "build")
            findings += file_findings
        findings += strangers(folder, BUILD_FILES)
        findings += _wrong_name(roots["build"], "engine", engine_name) + _wrong_name(
            roots["build"], "build", build_name
        )
        self.passed.save()
        build = None
        if not _has_error(findings) and shop is not None and engine is not None:
            files = {kind: top_of(folder / f"{kind}.yaml") for kind in BUILD_FILES}
            build = read_build(name, shop, engine, roots, files, findings)
        return Loaded(None if _has_error(findings) else build, tuple(findings))

    def shop(self) -> tuple[Shop | None, list[Finding]]:
        path = self.book / "shop.yaml"
        root, found = self.file("shop", path, needed=True)
        findings = list(found)
        return read_shop(root, top_of(path), findings) if root else None, findings

    def engine(self, name: str) -> tuple[Engine | None, list[Finding]]:
        folder = self.book / "engines" / name
        path = folder / "engine.yaml"
        root, found = self.file("engine", path, needed=True)
        findings = [*found, *strangers(folder, ("engine",)), *_wrong_name(root, "engine", name)]
        return read_engine(name, root, top_of(path), findings) if root else None, findings

    def file(self, kind: str, path: Path, *, needed: bool) -> tuple[MapNode | None, tuple[Finding, ...]]:
        """The tree of one file that passed its schema, or None and what is wrong with it."""
        if path not in self._files:
            findings: list[Finding] = []
            self._files[path] = (self._read(kind, path, needed, findings), tuple(findings))
        return self._files[path]

    def forget(self, folder: Path) -> None:
        """Let go of what was read in one folder: a whole book would not fit into memory."""
        for path in [path for path in self._files if path.parent == folder]:
            del self._files[path], self._contents[path]

    def _read(self, kind: str, path: Path, needed: bool, findings: list[Finding]) -> MapNode | None:
        content = self._contents[path] = self._content(path, needed, findings)
        if content is None:
            return None
        text, byte_findings = decode(content, shown(path))
        findings += byte_findings
        if text is None:
            return None
        root, parse_findings = parse(text, shown(path))
        findings += parse_findings
        if root is None:
            return None
        key = self.passed.key(kind, content)
        if key in self.passed:
            return root
        schema_findings = check_tree(kind, root)
        findings += schema_findings
        if schema_findings:
            return None
        self.passed.add(key)
        return root

    def _content(self, path: Path, needed: bool, findings: list[Finding]) -> bytes | None:
        if path not in self.instead:
            return self._on_disk(path, needed, findings)
        content = self.instead[path]
        if content is None and needed:
            findings.append(_not_there(path))
        return content

    def _on_disk(self, path: Path, needed: bool, findings: list[Finding]) -> bytes | None:
        where = top_of(path)
        try:
            if not path.resolve().is_relative_to(self._place):
                why = "What lies outside the book is not in its history, and may be anybody's."
                findings.append(
                    Finding(
                        "error", "outside", where, "this is a link out of the book", why, "put the file itself here"
                    )
                )
                return None
            if path.exists() and not path.is_file():
                why = "Only a file can be read, and kept in git."
                what, remedy = f"{path.name} is not a file", "move it away, and put the file here"
                findings.append(Finding("error", "cannot-open", where, what, why, remedy))
                return None
            return path.read_bytes()
        except FileNotFoundError:
            if needed or path.is_symlink():
                findings.append(_not_there(path))
        except (OSError, RuntimeError) as error:
            reason = (
                error.strerror if isinstance(error, OSError) and error.strerror else "its links go round in a circle"
            )
            why = "What cannot be opened cannot be checked."
            remedy = "give yourself the right to read it, or mend the link"
            findings.append(Finding("error", "cannot-open", where, f"it cannot be opened: {reason}", why, remedy))
        return None


def _not_there(path: Path) -> Finding:
    why = f"Without {path.name}, the folder cannot be read."
    remedy = "'buildbook new' writes one; or bring the file back from git"
    return Finding("error", "no-file", top_of(path), f"{path.name} is not there", why, remedy)


def _has_error(findings: list[Finding]) -> bool:
    return any(finding.severity == "error" for finding in findings)


def strangers(folder: Path, kinds: tuple[str, ...]) -> list[Finding]:
    """YAML files whose names the ledger does not know, and so nobody would ever read."""
    known = [f"{kind}.yaml" for kind in kinds]
    try:
        names = sorted(entry.name for entry in folder.iterdir() if entry.suffix in {".yaml", ".yml"})
    except FileNotFoundError:
        return []
    except OSError as error:
        why = "What cannot be opened cannot be checked."
        what = f"the folder cannot be opened: {error.strerror}"
        return [
            Finding("error", "cannot-open", Where(shown(folder), 1, 1), what, why, "give yourself the right to read it")
        ]
    findings = []
    for name in names:
        if name not in known:
            near = nearest(Path(name).stem, kinds)
            remedy = f"rename it to {near}.yaml" if near else f"the files here are {', '.join(known)}"
            why = "What stands in it is used nowhere."
            what = f"{name} is not a file of the ledger"
            findings.append(Finding("warning", "stranger", top_of(folder / name), what, why, remedy))
    return findings


def _wrong_name(root: MapNode | None, field: str, folder_name: str) -> list[Finding]:
    node = root.get(field) if root else None
    if not isinstance(node, TextNode) or node.text == folder_name:
        return []
    what = f"{field} is '{node.text}', in a folder named '{folder_name}'"
    why = "A file that was copied from elsewhere would tell the story of another engine."
    return [Finding("error", "wrong-name", node.where, what, why, f"write '{folder_name}', or rename the folder")]
