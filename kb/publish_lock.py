"""One publisher at a time: a lock in the catalogue of a SPARQL service.

SPARQL has no locks, but one update is carried out as a whole. The lock is a triple of the catalogue with a token of
whoever publishes. It is set by an update that does nothing where a lock stands already, so that of two at once one
goes on. Every update of a publish does nothing unless the lock is its own, so that one which was thought dead, and
taken over from, changes nothing any more. After a publish that was cut short the lock stays and readers refuse, until
one that takes over has completed it.
"""

import secrets
from dataclasses import dataclass

from trayconcord.kb.catalogue import CATALOGUE
from trayconcord.kb.errors import UnusableInput, unusable
from trayconcord.kb.namespaces import TC
from trayconcord.kb.remote_pages import Pages
from trayconcord.kb.sparql_service import Service
from trayconcord.kb.sparql_terms import iri_text

_COMPLETE = "if nobody is publishing there, complete it with trayconcord publish --take-over"


def occupied(service: Service) -> UnusableInput:
    """What to tell whoever finds the lock of somebody else."""
    return unusable(service.shown, "is being published into, or that was cut short", f"wait for it to end; {_COMPLETE}")


@dataclass(frozen=True, slots=True)
class Lock:
    """The lock that the holder of a token has, or once had."""

    token: str

    @property
    def pattern(self) -> str:
        """A pattern that matches once while the lock is this one."""
        return _pattern(f'"{self.token}"')

    def confirm(self, pages: Pages) -> None:
        """See that nobody has taken over. Raises `UnusableInput`."""
        if pages.locks() != {self.token}:
            raise unusable(
                pages.service.shown,
                "was taken over by another publish before this one had ended",
                f"wait for that one to end; {_COMPLETE}",
            )

    def release(self, service: Service) -> None:
        """Take the lock away; that of somebody else stays."""
        service.update(f"DELETE DATA {{ {self.pattern} }}")


def locked(pages: Pages, take_over: bool) -> Lock:
    """The lock of a service, with a token of our own. Raises `UnusableInput` where somebody else has it."""
    lock, anyone = Lock(secrets.token_hex(16)), _pattern("?token")
    if take_over:
        pages.service.update(f"DELETE {{ {anyone} }} INSERT {{ {lock.pattern} }} WHERE {{ OPTIONAL {{ {anyone} }} }}")
    else:
        pages.service.update(f"INSERT {{ {lock.pattern} }} WHERE {{ FILTER NOT EXISTS {{ {anyone} }} }}")
    if pages.locks() != {lock.token}:
        lock.release(pages.service)  # a service that lets two in at once lets neither go on
        raise occupied(pages.service)
    return lock


def _pattern(token: str) -> str:
    catalogue = iri_text(CATALOGUE)
    return f"GRAPH {catalogue} {{ {catalogue} {iri_text(TC.beingPublished)} {token} }}"
