"""What each command of the command line does. Each returns the exit status, or raises `UnusableInput`.

Heavy libraries are imported by the command that needs them, when it needs them.
"""

import gc
import sys
from argparse import Namespace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from trayconcord.generators.progress import progress

if TYPE_CHECKING:
    from trayconcord.kb.case_file import CaseFile
    from trayconcord.kb.store import Store

OK = 0
DEFAULT_STORE = Path("trayconcord-kb")


def _loaded(options: Namespace) -> "Store":
    """The store that the options name. It stays until the command ends, so the collector need not look at it again."""
    from trayconcord.kb.store import load

    with progress("reading the store"):
        store = load(options.kb, options.only)
    gc.freeze()
    return store


def add(options: Namespace) -> int:
    """Enter forms."""
    from trayconcord.generators.check_output import text_report
    from trayconcord.generators.entry import enter
    from trayconcord.shapes.check import check

    layers = options.kb or [DEFAULT_STORE]
    entered = enter(options.forms, layers, options.only, layers[-1])
    for name in entered.written:
        print(f"{'replaced' if name in entered.replaced else 'wrote'} {layers[-1] / name}")
    report = check(entered.store, today=date.today())
    ours = {str(layers[-1] / name) for name in entered.written}
    print(text_report(report, files=ours))
    return OK


def form(options: Namespace) -> int:
    """Print a source as a form."""
    from trayconcord.kb.errors import unusable
    from trayconcord.kb.form_text import form_text

    store = _loaded(options)
    source = store.sources.get(options.source)
    if source is None:
        near = _nearest(options.source, list(store.sources))
        raise unusable(
            options.source, "no source has this id", f"did you mean {near}?" if near else "see trayconcord terms"
        )
    print(form_text(source, store.claims_of(source.id)), end="")
    return OK


def _nearest(word: str, ids: list[str]) -> str | None:
    from difflib import get_close_matches

    return next(iter(get_close_matches(word, ids, n=1)), None)


def check(options: Namespace) -> int:
    """Check the store."""
    from trayconcord.generators.check_output import json_report, sarif_report, text_report
    from trayconcord.shapes.check import check
    from trayconcord.shapes.rules import rule_book

    rules = rule_book(options.shapes)
    store = _loaded(options)
    with progress("checking"):
        report = check(store, rules, options.on)
    if options.format == "json":
        print(json_report(report), end="")
    elif options.format == "sarif":
        print(sarif_report(report, rules), end="")
    else:
        print(text_report(report, everything=options.all))
    return report.exit_status


def compare(options: Namespace) -> int:
    """Lay the sources side by side."""
    from trayconcord.generators.compare_output import chosen_topics, json_topics, text_topics
    from trayconcord.shapes.compare import Comparison

    store = _loaded(options)
    with progress("comparing"):
        topics = chosen_topics(Comparison(store), options.topic)
    if options.format == "json":
        print(json_topics(topics, store.vocabulary), end="")
    else:
        print(text_topics(topics, store, in_full=options.topic is not None))
    return OK


def agenda(options: Namespace) -> int:
    """List what there is to decide."""
    from trayconcord.generators.agenda_output import form_agenda, json_agenda, text_agenda
    from trayconcord.shapes.agenda import agenda
    from trayconcord.shapes.check import check

    store = _loaded(options)
    found = agenda(check(store, today=options.on))
    printed = {"text": text_agenda, "json": json_agenda, "form": form_agenda}[options.format](found, store)
    print(printed, end="" if printed.endswith("\n") else "\n")
    return OK


def build(options: Namespace) -> int:
    """Write the site and the exports."""
    from trayconcord.generators.build import build
    from trayconcord.shapes.check import check
    from trayconcord.shapes.rules import rule_book

    store, rules = _loaded(options), rule_book(options.shapes)
    with progress("checking"):
        report = check(store, rules)
    with progress("building"):
        pages = build(report, options.out, options.seed, options.previous)
    print(f"wrote {len(pages)} files to {options.out}; start at {options.out / 'index.html'}")
    if report.count("violation"):
        print(f"the store has {report.count('violation')} violations: see trayconcord check", file=sys.stderr)
    return report.exit_status


def changes(options: Namespace) -> int:
    """List what differs between two states."""
    from trayconcord.generators.changes import changes, document_of
    from trayconcord.generators.changes_output import json_changes, page_of_changes, text_changes

    found = changes(document_of(options.old, options.only), document_of(options.new, options.only))
    if options.format == "json":
        print(json_changes(found), end="")
    elif options.format == "html":
        print(page_of_changes(found, str(options.old), str(options.new)), end="")
    else:
        print(text_changes(found))
    return OK


def _case(words: list[str], store: "Store") -> "CaseFile":
    from trayconcord.kb.case_file import case_of_words, read_case

    if len(words) == 1 and "=" not in words[0]:
        return read_case(Path(words[0]), store.vocabulary)
    return case_of_words(words, store.vocabulary)


def plan(options: Namespace) -> int:
    """Answer the questions of a case."""
    from trayconcord.generators.plan import plan
    from trayconcord.generators.plan_output import json_plan, text_plan
    from trayconcord.shapes.compare import Comparison

    store = _loaded(options)
    made = plan(store, Comparison(store), _case(options.case, store), " ".join(options.case))
    if options.format == "card":
        from trayconcord.generators.bench_card import bench_card

        print(bench_card(made), end="")
    else:
        print((json_plan if options.format == "json" else text_plan)(made).rstrip("\n"))
    return OK


def why(options: Namespace) -> int:
    """Explain one answer."""
    from trayconcord.generators.plan_output import json_why, text_why
    from trayconcord.kb.errors import unusable
    from trayconcord.shapes.answers import why
    from trayconcord.shapes.compare import Comparison

    store = _loaded(options)
    if options.parameter not in store.vocabulary.parameters:
        near = _nearest(options.parameter, list(store.vocabulary.parameters))
        fix = f"did you mean {near}?" if near else "list them: trayconcord terms"
        raise unusable(options.parameter, "no parameter has this id", fix)
    case = _case(options.case, store).when
    found = why(options.parameter, case, store, Comparison(store))
    print((json_why if options.format == "json" else text_why)(found, case, store).rstrip("\n"))
    return OK


def sheets(options: Namespace) -> int:
    """Write study sheets after a plan."""
    from trayconcord.generators.build import write_folder
    from trayconcord.generators.plans import default_plan, read_plan
    from trayconcord.generators.sheet_pages import planned_sheets
    from trayconcord.shapes.compare import Comparison

    store = _loaded(options)
    plan = read_plan(options.plan, store.vocabulary) if options.plan else default_plan(store.vocabulary)
    pages = planned_sheets(Comparison(store), store, plan)
    write_folder(pages, options.out)
    starts = ", ".join(str(options.out / name) for name in pages if name.endswith(".html"))
    print(f"wrote {len(pages)} files to {options.out}; read {starts}")
    return OK


def items(options: Namespace) -> int:
    """Make question items."""
    from trayconcord.generators.item_command import bank_as

    data = bank_as(options, _loaded(options))
    if options.out:
        options.out.write_bytes(data)
        print(f"wrote {options.out}")
    else:
        print(data.decode(), end="")
    return OK


def demo(options: Namespace) -> int:
    """Lay out the forms of the demo."""
    from trayconcord.generators.demo import lay_out

    for path in lay_out(options.folder):
        print(f"wrote {path}")
    print(f"an invented department; next: trayconcord add --kb {options.folder}/kb {options.folder}/handout-2019.yaml")
    return OK


def explain(options: Namespace) -> int:
    """Print the page of a rule."""
    from trayconcord.kb.errors import unusable
    from trayconcord.shapes.rules import page, page_names

    if options.rule is None:
        print("\n".join(page_names()))
        return OK
    text = page(options.rule)
    if text is None:
        near = _nearest(options.rule, page_names())
        raise unusable(
            options.rule, "no rule has this name", f"did you mean {near}?" if near else "list them: trayconcord explain"
        )
    print(text, end="")
    return OK


def terms(options: Namespace) -> int:
    """List terms."""
    from trayconcord.generators.terms_output import terms_text

    text = terms_text(_loaded(options).vocabulary, options.word or "")
    print(text or f"no term holds {options.word}")
    return OK
