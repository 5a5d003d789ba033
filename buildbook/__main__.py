"""Where `buildbook` starts. `--version` is answered before anything is imported."""

import gc
import sys


def main() -> None:
    if sys.argv[1:] == ["--version"]:
        from buildbook import __version__

        print(f"buildbook {__version__}")  # noqa: T201
        return
    # Imports make many objects that all stay: looking through them for garbage costs a tenth of the start-up.
    gc.set_threshold(100_000)
    if sys.argv[1:] in (["check"], ["check", "--json"]):  # git looks at the book while the command line is put together
        _ask_git()
    from buildbook.cli.main import run

    code = run()
    gc.freeze()  # nor is there anything to look for at the end
    sys.exit(code)


def _ask_git() -> None:
    from contextlib import suppress
    from pathlib import Path

    from buildbook.book.places import Misuse, find_book
    from buildbook.book.standing import ask_ahead

    with suppress(Misuse, OSError):  # then the command says so, or looks elsewhere
        ask_ahead(find_book(Path.cwd()))


if __name__ == "__main__":
    main()
