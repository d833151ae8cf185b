"""What several test files share: the shipped store and its vocabulary, each loaded once."""

import socket
from collections.abc import Iterator

import pytest
from hypothesis import settings
from invented import enter_demo

from trayconcord.kb.store import Store, load
from trayconcord.kb.vocabulary import Vocabulary
from trayconcord.shapes.check import Report, check

settings.register_profile("any-machine", deadline=None)  # a slow machine is no failure
settings.load_profile("any-machine")


@pytest.fixture(scope="session")
def shipped_store() -> Store:
    """The store as it ships."""
    return load()


@pytest.fixture(scope="session")
def vocabulary(shipped_store: Store) -> Vocabulary:
    """The shipped vocabulary."""
    return shipped_store.vocabulary


@pytest.fixture(scope="session")
def shipped_report(shipped_store: Store) -> Report:
    """The check of the store as it ships."""
    return check(shipped_store)


@pytest.fixture(scope="session")
def demo_store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    """The store of the demo department alone, with its cases and rulings."""
    return load([enter_demo(tmp_path_factory.mktemp("demo"))], only=True)


@pytest.fixture(scope="session")
def ruled_report(tmp_path_factory: pytest.TempPathFactory) -> Report:
    """The check of the demo department laid over the shipped store: claims of books, and rulings on them."""
    return check(load([enter_demo(tmp_path_factory.mktemp("ruled"))]))


@pytest.fixture
def no_network(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Fails the test if anything reaches for the network, even where the error is swallowed."""
    reached: list[object] = []

    def refuse(*arguments: object, **_: object) -> None:
        reached.append(arguments)
        raise OSError("this test has no network")

    for name in ("socket", "create_connection", "getaddrinfo"):
        monkeypatch.setattr(socket, name, refuse)
    yield
    assert reached == []
