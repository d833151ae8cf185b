"""One publish at a time, and one that died: a service is the one store or the other, or nobody reads it."""

import itertools
import os
from concurrent.futures import ThreadPoolExecutor
from functools import cache, partial

import pytest
from dying import KILLED, dying_at, watch_requests
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from small_store import CHANGED, LATER, enter_into
from sparql_servers import Oxigraph, answer_with, honest_service, oxigraph, oxigraph_service
from turns import Stepping, in_turns, told, with_between

from trayconcord.generators.cli import main
from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.publish import publish
from trayconcord.kb.publish_lock import locked
from trayconcord.kb.remote_pages import Pages
from trayconcord.kb.remote_store import load_remote
from trayconcord.kb.sparql_service import Service
from trayconcord.kb.store import load

OCCUPIED = "is being published into, or that was cut short"
CHANGING = "contradicts itself, or the store changed while it was read"
TAKEN = "was taken over by another publish before this one had ended"


@pytest.fixture(params=["engine", pytest.param("server", marks=pytest.mark.service)])
def service(request):
    """An empty service: Oxigraph's engine behind a server of ours, and its own server."""
    if request.param == "engine":
        with honest_service() as (server, store):
            server.store = store
            yield server
    elif oxigraph() is None and os.environ.get("CI") != "true":
        pytest.skip("no Oxigraph server here (pip install oxigraph); continuous integration has one")
    else:
        with oxigraph_service() as address:
            yield Oxigraph(address)


@pytest.fixture
def other(tmp_path, forms):
    """Another store of the department, without a ruling and retired ids."""
    layer = tmp_path / "other"
    enter_into(layer, forms(CHANGED), forms(LATER.replace("later-notes", "other-notes")))
    return layer


def put(server, layer, **options):
    return publish(Service(server.url, pause=0.001), [layer], only=True, **options)


def contents(store):
    return store.hash, store.retired


def read(server):
    return contents(load_remote(Service(server.url, pause=0.001)))


@cache
def wanted(layer):
    """What a service holds after a layer, which nobody changes, was published there."""
    return contents(load([layer], only=True))


def moments():
    """Numbers of requests, and a list for what came between; ends when a request of that number was not made."""
    for number in itertools.count(1):
        between = []
        yield number, between
        if not between:
            assert number > 5
            return


def test_a_publish_within_another_one_is_refused(service, department, other):
    for number, second in moments():
        service.store.clear()
        step = with_between(number, lambda said=second: said.append(told(lambda: put(service, other))))
        first = told(partial(publish, Stepping(service.url, step), [department], only=True))
        if second and not second[0]:  # it had ended before the first one had the lock
            assert not first or CHANGING in first
        else:
            assert not first
            assert not second or OCCUPIED in second[0]
        assert read(service) == wanted(other if first else department)


def test_a_publish_that_is_taken_over_from_changes_nothing_any_more(service, department, other):
    endings = set()
    for number, second in moments():
        service.store.clear()
        step = with_between(number, lambda said=second: said.append(told(lambda: put(service, other, take_over=True))))
        first = told(partial(publish, Stepping(service.url, step), [department], only=True))
        assert not second or not second[0]
        assert not first or any(words in first for words in (OCCUPIED, CHANGING, TAKEN))
        endings.add(TAKEN in first)
        found = read(service)
        assert found == wanted(other) if first else found in (wanted(department), wanted(other))
        assert contents_are_whole(service, found, department, other)
    assert endings == {True, False}


def contents_are_whole(service, found, *layers):
    """Whether publishing the layer that was found would change nothing."""
    (layer,) = [layer for layer in layers if wanted(layer) == found]
    return put(service, layer).changes == 0


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(order=st.lists(st.integers(0, 1), max_size=50), take_over=st.booleans())
@example(order=[0, 1] * 50, take_over=False)  # step by step: both find it free, then ask for the lock
@example(order=[0, 1] * 50, take_over=True)
def test_two_at_once_in_any_order_leave_the_store_of_one(service, department, other, order, take_over):
    service.store.clear()
    layers = [department, other]
    outcomes = in_turns(service.url, layers, order, take_over)
    assert all(not said or any(words in said for words in (OCCUPIED, CHANGING, TAKEN)) for said in outcomes)
    ended = [layer for layer, said in zip(layers, outcomes, strict=True) if not said]
    found = read(service)
    assert found in [wanted(layer) for layer in ended]
    assert contents_are_whole(service, found, department, other)


def test_a_service_that_lets_two_in_at_once_lets_neither_go_on():
    """One that carries out updates without looking at their conditions."""
    with honest_service() as (server, store):
        honest = answer_with(store)

        def answer(handler, path, text):
            conditional = path == "/update" and "FILTER NOT EXISTS" in text
            honest(handler, path, f"{text.partition('WHERE')[0]} WHERE {{}}" if conditional else text)

        server.answer = answer
        pages = Pages(Service(server.url))
        first = locked(pages, take_over=False)
        assert OCCUPIED in told(lambda: locked(pages, take_over=False))
        assert pages.locks() == {first.token}


def test_of_many_at_once_one_has_the_lock(service):
    """Without any order: each asks as soon as it can."""
    with ThreadPoolExecutor(12) as pool:
        said = list(pool.map(lambda _: told(lambda: locked(Pages(Service(service.url)), take_over=False)), range(12)))
    assert sum(not words for words in said) == 1
    assert all(not words or OCCUPIED in words for words in said)
    assert len(Pages(Service(service.url)).locks()) == 1


def test_a_reader_within_a_publish_reads_one_store_or_is_refused(service, department, other):
    put(service, other)
    before = list(service.store)
    seen = set()
    for number, said in moments():
        service.store.clear()
        service.store.extend(before)

        def look(said=said):
            said.append(True)
            words = told(lambda: seen.add(read(service)[0]))
            assert not words or OCCUPIED in words

        publish(Stepping(service.url, with_between(number, look)), [department], only=True)
    assert seen == {wanted(other)[0]}


def test_a_publish_within_a_reading_is_noticed(service, department, other):
    put(service, other)
    before = list(service.store)
    for number, said in moments():
        service.store.clear()
        service.store.extend(before)
        step = with_between(number, lambda said=said: said.append(put(service, department)))
        try:
            found = contents(load_remote(Stepping(service.url, step)))
        except UnusableInput as error:
            assert CHANGING in str(error)
        else:
            assert found in (wanted(department), wanted(other))


@pytest.mark.slow
def test_killed_before_any_request_it_is_completed_by_one_that_takes_over(service, department, other, capfd):
    put(service, other)
    before, halves = list(service.store), 0
    command = ["publish", "--kb", str(department), "--only", "--endpoint", service.url]
    for number in itertools.count(1):
        service.store.clear()
        service.store.extend(before)
        status = dying_at(number, lambda: main(command), watch_requests)
        if Pages(Service(service.url)).locks():
            halves += 1
            assert OCCUPIED in told(lambda: read(service))
            assert main(command) == 2
            assert "trayconcord publish --take-over" in capfd.readouterr().err
            assert main([*command, "--take-over"]) == 0
        else:
            assert read(service) == wanted(other) if status == KILLED else wanted(department)
            assert main(command) == 0
        assert read(service) == wanted(department)
        assert put(service, department).changes == 0
        if status != KILLED:
            assert status == 0
            break
    assert halves > 10
