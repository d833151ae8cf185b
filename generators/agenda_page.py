"""The agenda as a page of the site."""

from importlib.metadata import version

from trayconcord.generators.agenda_output import entry_notes, said_text, summary, weight_text
from trayconcord.generators.rendering import render
from trayconcord.kb.store import Store
from trayconcord.shapes.agenda import Agenda
from trayconcord.shapes.wording import letter, name_of, scope_text


def agenda_page(found: Agenda, store: Store, addresses: dict[str, str]) -> str:
    """The page; ``addresses`` gives for each topic the page and fragment that shows it."""
    vocabulary = store.vocabulary
    return render(
        "agenda.html.j2",
        summary=summary(found),
        again=found.again,
        entries=[
            {
                "address": addresses[entry.topic.id],
                "label": entry.topic.parameter.label,
                "conditions": scope_text(entry.topic.when, vocabulary) or "in general",
                "firm": entry.topic.firm,
                "weight": weight_text(entry),
                "positions": [
                    (
                        letter(number),
                        said_text(position, entry.topic, vocabulary),
                        [(source, name_of(store.sources, source)) for source in position.sources],
                    )
                    for number, position in enumerate(entry.topic.positions)
                ],
                "notes": entry_notes(entry, store),
            }
            for entry in found.entries
        ],
        store=store,
        store_hash=store.hash,
        version=version("trayconcord"),
    )
