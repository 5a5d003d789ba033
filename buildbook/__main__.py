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
    from buildbook.cli.main import run

    sys.exit(run())


if __name__ == "__main__":
    main()
