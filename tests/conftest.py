"""What several test files share: the shipped store and its vocabulary, each loaded once."""

import pytest
from hypothesis import settings

from trayconcord.kb.store import Store, load
from trayconcord.kb.vocabulary import Vocabulary

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
