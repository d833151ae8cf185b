"""Two publishers at one service whose requests come in an order that a test chooses."""

import threading
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.publish import publish
from trayconcord.kb.sparql_service import Service


class Stepping(Service):
    """A service each of whose requests is handed to a function, which sends it when it calls it."""

    def __init__(self, address: str, step: Callable[[Callable[[], Any]], Any]) -> None:
        super().__init__(address, pause=0.001)
        self._step = step

    def select(self, query: str) -> Any:
        """Ask, when it is time."""
        return self._step(lambda: Service.select(self, query))

    def update(self, text: str) -> None:
        """Change, when it is time."""
        self._step(lambda: Service.update(self, text))


def told(action: Callable[[], Any]) -> str:
    """What is said of an action that cannot be carried out; nothing of one that can."""
    try:
        action()
    except UnusableInput as error:
        return str(error)
    return ""


def with_between(number: int, between: Callable[[], Any]) -> Callable[[Callable[[], Any]], Any]:
    """A step for `Stepping` that does something else before the request of that number, from 1."""
    left = [number]

    def step(send: Callable[[], Any]) -> Any:
        left[0] -= 1
        if left[0] == 0:
            between()
        return send()

    return step


def in_turns(address: str, layers: list[Path], order: Iterable[int], take_over: bool) -> list[str]:
    """Publish two stores at once; the requests of the first (0) and of the second (1) come in the given order.

    With ``take_over`` the second takes over. Returns what each was told.
    """
    turn, waiting, running, outcomes = threading.Condition(), list(order), {0, 1}, ["", ""]

    def next_one() -> int:
        while waiting and waiting[0] not in running:
            waiting.pop(0)
        return waiting[0] if waiting else min(running)

    def run(who: int) -> None:
        def step(send: Callable[[], Any]) -> Any:
            with turn:
                turn.wait_for(lambda: next_one() == who)
                if waiting:
                    waiting.pop(0)
                try:
                    return send()
                finally:
                    turn.notify_all()

        service = Stepping(address, step)
        outcomes[who] = told(lambda: publish(service, [layers[who]], only=True, take_over=bool(who and take_over)))
        with turn:
            running.discard(who)
            turn.notify_all()

    threads = [threading.Thread(target=run, args=(who,)) for who in (0, 1)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return outcomes
