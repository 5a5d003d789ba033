"""A book in a real git repository, and a cache that a whole run shares."""

from pathlib import Path

import pytest

from cli.workshop import into_git


@pytest.fixture(scope="session")
def shared_cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("cache")


@pytest.fixture(autouse=True)
def quick(shared_cache: Path, monkeypatch: pytest.MonkeyPatch, sealed: None) -> None:
    """The samples pass their schemas once, not once for each test."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(shared_cache))


@pytest.fixture
def kept(samples: Path) -> Path:
    """The sample builds in a git repository of their own."""
    return into_git(samples)
