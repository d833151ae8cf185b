"""What ``trayconcord items`` prints or writes."""

from argparse import Namespace

from trayconcord.generators.item_bank import item_bank, selection
from trayconcord.generators.item_output import items_csv, items_json, items_text
from trayconcord.generators.qti import qti_package
from trayconcord.generators.withdrawn import NOTHING, read_previous, revisions, withdrawals
from trayconcord.kb.errors import nearest, unusable
from trayconcord.kb.store import Store
from trayconcord.shapes.compare import Comparison


def bank_as(options: Namespace, store: Store) -> bytes:
    """The bank in the format asked for; of some chapters, or so many items, if asked. Raises `UnusableInput`."""
    chapters = store.vocabulary.chapters
    for chapter in options.chapter:
        if chapter not in chapters:
            near = nearest(chapter, chapters)
            raise unusable(
                chapter,
                "no chapter has this id",
                f"did you mean {near}?" if near else f"use one of: {', '.join(chapters)}",
            )
    if options.number is not None and options.number < 1:
        raise unusable("--number", "is not a number of items", "give 1 or more")
    if options.format == "qti" and options.out is None:
        raise unusable("--format qti", "is a zip and cannot be printed", "add --out items.zip")
    comparison = Comparison(store)
    bank = item_bank(store, comparison, options.seed)
    previous = read_previous(options.previous) if options.previous else NOTHING
    gone, revised = withdrawals(previous, bank, comparison), revisions(previous, bank)
    items = [item for item in bank if not options.chapter or item.parameter.chapter in options.chapter]
    if options.number is not None:
        items = selection(items, options.number, options.seed)
    if options.format == "qti":
        return qti_package(items, store.vocabulary)
    if options.format == "csv":
        return items_csv(items, store).encode()
    if options.format == "json":
        return items_json(items, gone, revised, store, options.seed).encode()
    return (items_text(items, gone, store) + "\n").encode()
