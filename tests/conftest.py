"""What several test files share: the shipped store and its vocabulary, each loaded once."""

import itertools
import socket
from collections.abc import Iterator

import pytest
from hypothesis import settings
from invented import enter_demo
from rdflib import Graph, URIRef, namespace
from skips import pytest_make_collect_report, pytest_runtest_makereport  # noqa: F401 - pytest calls them
from small_store import FIRST, LATER, RETIRED, RULED, enter_into
from sparql_servers import honest_service

from trayconcord.kb import namespaces as ns
from trayconcord.kb.forms import read_form
from trayconcord.kb.store import Store, load
from trayconcord.kb.turtle import write_turtle
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


@pytest.fixture(scope="module")
def reading(tmp_path_factory, vocabulary):
    """A function that reads a form from its text."""
    path = tmp_path_factory.mktemp("forms") / "form.yaml"

    def read(text):
        path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8", "surrogatepass"))
        return read_form(path, vocabulary)

    read.path = path
    return read


@pytest.fixture(scope="module")
def small_layer(tmp_path_factory, shipped_store):
    """A shipped layer with a vocabulary of one parameter, so that a store loads in a few milliseconds."""
    names = ["parameter/spacer-thickness", "axis/impression-material", "axis/consistency", "scheme/impression-material"]
    names += ["concept/polyether", "concept/elastomer", "kind/lecture-notes", "obtained/read"]
    wanted = {URIRef(ns.BASE + name) for name in names} | {ns.UNIT.MilliM, ns.UNIT.UNITLESS}
    left_out = {namespace.SKOS.definition, namespace.SKOS.altLabel, namespace.SKOS.scopeNote}
    graph = Graph(bind_namespaces="none")
    for subject, predicate, value in shipped_store.graph:
        if subject in wanted and predicate not in left_out:
            graph.add((subject, predicate, value))
    layer = tmp_path_factory.mktemp("shipped")
    (layer / "vocabulary").mkdir()
    (layer / "vocabulary" / "small.ttl").write_bytes(write_turtle(graph))
    return layer


@pytest.fixture
def forms(tmp_path, monkeypatch, small_layer):
    """A function that writes a form and gives its path; the small vocabulary is the shipped one meanwhile."""
    monkeypatch.setattr("trayconcord.kb.store.shipped", lambda: small_layer)
    numbers = itertools.count()

    def write(text):
        path = tmp_path / f"form-{next(numbers)}.yaml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


@pytest.fixture
def service():
    """An empty SPARQL service; what it holds is its ``store``."""
    with honest_service() as (server, store):
        server.store = store
        yield server


@pytest.fixture
def department(tmp_path, forms):
    """A store of two sources, a ruling, a case and retired ids; the shipped vocabulary is a small one meanwhile."""
    layer = tmp_path / "kb"
    enter_into(layer, forms(FIRST), forms(RULED), forms(LATER))
    (layer / "retired-ids.txt").write_text(RETIRED, encoding="utf-8")
    return layer
