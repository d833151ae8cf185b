"""What the command ``check`` prints: the store as a whole, or part by part."""

import sys
from argparse import Namespace
from collections.abc import Callable
from typing import TYPE_CHECKING

from trayconcord.generators.check_output import Told, json_of, sarif_of, text_of, together, told
from trayconcord.generators.progress import progress
from trayconcord.kb.errors import unusable
from trayconcord.kb.parts import Uncut
from trayconcord.kb.store import Store, documents
from trayconcord.shapes.check import check
from trayconcord.shapes.rules import RuleBook, rule_book

if TYPE_CHECKING:  # what opens the network is loaded only for who asks a service
    from trayconcord.kb.sparql_service import Service


def checked_as(options: Namespace, load: Callable[[], Store], service: Callable[[], "Service"]) -> tuple[str, int]:
    """The findings in the form that the options ask for, and the exit status. The store is loaded, or the service asked
    for, where it is needed."""
    rules = rule_book(options.shapes)
    found = _checked(options, rules, load, service)
    if options.format == "json":
        text = json_of(found)
    elif options.format == "sarif":
        text = sarif_of(found, rules)
    else:
        text = text_of(found) + "\n"
    return text, found.exit_status


def _checked(options: Namespace, rules: RuleBook, load: Callable[[], Store], service: Callable[[], "Service"]) -> Told:
    form = "all" if options.format == "text" and options.all else options.format
    if options.cache:
        if options.shapes or options.endpoint:
            what = "serves a store of files and the rules of trayconcord alone"
            raise unusable("--cache", what, "leave --cache out")
        from trayconcord.generators.check_cache import check_by_parts

        try:
            with progress("checking"):
                return check_by_parts(documents(options.kb or [], options.only), form, options.on, options.cache)
        except Uncut:
            print(f"{options.cache}: not used, since not every file is laid out as add writes it", file=sys.stderr)
    elif options.endpoint and not options.shapes:
        from trayconcord.kb.remote_parts import parts_of_service

        try:
            with progress("reading the service and checking"):
                return together(
                    told(check(part, rules, options.on), form) for part in parts_of_service(service(), options.kb)
                )
        except Uncut:
            pass  # it is read as a whole
    store = load()
    with progress("checking"):
        return told(check(store, rules, options.on), form)
