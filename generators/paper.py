"""The pages about items: the bank, a paper to print with its key, and the prompts; and the files for other programs."""

from collections import Counter
from importlib.metadata import version

from trayconcord.generators.item_bank import item_bank, selection
from trayconcord.generators.item_making import KIND_LABELS
from trayconcord.generators.item_output import LEVEL_NOTE, explanation, items_csv, items_json
from trayconcord.generators.items import LEVELS, Item
from trayconcord.generators.prompts import MOST_CITED, oral_prompts
from trayconcord.generators.qti import qti_package
from trayconcord.generators.rendering import render, template_text
from trayconcord.generators.withdrawn import Previous, revisions, withdrawals
from trayconcord.kb.model import Claim, Ruling, subjects_of
from trayconcord.kb.vocabulary import Caution
from trayconcord.shapes.check import Report
from trayconcord.shapes.wording import citation, name_of

ON_PAPER = 30
"""How many items the paper of the site holds."""


def item_pages(report: Report, seed: int, previous: Previous) -> dict[str, bytes]:
    """The pages and files about items, by path in the site."""
    store, comparison = report.store, report.comparison
    items = item_bank(store, comparison, seed)
    chosen = selection(items, ON_PAPER, seed)
    gone, revised = withdrawals(previous, items, comparison), revisions(previous, items)
    common = {
        "store": store,
        "store_hash": store.hash,
        "version": version("trayconcord"),
        "name_of": name_of,
        "seed": seed,
        "cite": lambda record: citation(record, store),
        "link": link,
        "explanation": explanation,
        "kinds": KIND_LABELS,
        "level_note": LEVEL_NOTE,
        "most_cited": MOST_CITED,
        "chapters": store.vocabulary.chapters,
    }
    counts = Counter((item.parameter.chapter, item.level) for item in items)
    bank = render(
        "items.html.j2",
        items=items,
        counts=counts,
        levels=LEVELS,
        by_kind=Counter(item.kind for item in items),
        gone=gone,
        revised=revised,
        cautions=_item_cautions(items, report),
        **common,
    )
    printed = {"items": chosen, "cautions": _item_cautions(chosen, report)}
    prompts = oral_prompts(store, comparison)
    shown = [caution.id for prompt in prompts for caution in prompt.cautions]
    pages = {
        "items.html": bank,
        "items/paper.html": render("paper.html.j2", **printed, **common),
        "items/key.html": render("paper-key.html.j2", **printed, **common),
        "oral-prompts.html": render(
            "prompts.html.j2", prompts=prompts, cautions=store.vocabulary.cautions_among(shown), **common
        ),
        "items/paper.css": template_text("paper.css"),
        "items/items.json": items_json(items, gone, revised, store, seed),
        "items/items.csv": items_csv(items, store),
    }
    return {name: text.encode() for name, text in pages.items()} | {
        "items/qti.zip": qti_package(items, store.vocabulary)
    }


def _item_cautions(items: list[Item], report: Report) -> list[Caution]:
    """The cautions that a page must show because of what its items name."""
    named = {concept for item in items for _, concept in item.when}
    for item in items:
        for record in item.answer.records:
            if isinstance(record, Claim):
                named |= subjects_of(record)
    return report.store.vocabulary.cautions_for(named)


def link(record: Claim | Ruling) -> str:
    """Where on the site a record stands: a claim with its source, a ruling with its question."""
    if isinstance(record, Ruling):
        return f"question-{record.parameter}.html"
    return f"sources.html#{record.id}"
