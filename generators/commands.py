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
    from collections.abc import Iterable, Iterator

    from trayconcord.kb.case_file import CaseFile
    from trayconcord.kb.model import Scope
    from trayconcord.kb.sparql_service import Service
    from trayconcord.kb.store import Store
    from trayconcord.shapes.compare import Topic

OK = 0
STALE = 1
DEFAULT_STORE = Path("trayconcord-kb")


def _loaded(options: Namespace) -> "Store":
    """The store that the options name. It stays until the command ends, so the collector need not look at it again."""
    if getattr(options, "endpoint", None):
        from trayconcord.kb.remote_store import load_remote

        with progress("reading the service"):
            store = load_remote(_service(options), options.kb)
    else:
        from trayconcord.kb.store import load

        with progress("reading the store"):
            store = load(options.kb, options.only)
    gc.freeze()
    return store


def _service(options: Namespace) -> "Service":
    from trayconcord.kb.sparql_service import Service

    return Service(options.endpoint, options.timeout, getattr(options, "update_endpoint", None))


def add(options: Namespace) -> int:
    """Enter forms."""
    from trayconcord.generators.check_output import text_report
    from trayconcord.generators.entry import enter
    from trayconcord.shapes.check import check

    layers = options.kb or [DEFAULT_STORE]
    with progress("entering"):
        entered = enter(options.forms, layers, options.only, layers[-1])
    for name in entered.written:
        print(f"{'replaced' if name in entered.replaced else 'wrote'} {layers[-1] / name}")
    with progress("checking"):
        report = check(entered.store, today=date.today())
    ours = {str(layers[-1] / name) for name in entered.written}
    print(text_report(report, files=ours))
    return OK


def form(options: Namespace) -> int:
    """Print a source, or the marking policy, as a form."""
    from trayconcord.kb.errors import nearest, unusable
    from trayconcord.kb.form_text import form_text

    store = _loaded(options)
    if options.source == "marking" and store.marking is None and "marking" not in store.sources:
        fix = "enter one, as trayconcord explain marking-policy shows"
        raise unusable("marking", "the store holds no marking policy", fix)
    if options.source == "marking" and store.marking is not None:
        from trayconcord.kb.marking_form import policy_form

        print(policy_form(store.marking, store.vocabulary), end="")
        return OK
    source = store.sources.get(options.source)
    if source is None:
        near = nearest(options.source, store.sources)
        raise unusable(
            options.source, "no source has this id", f"did you mean {near}?" if near else "see trayconcord terms"
        )
    print(form_text(source, store.claims_of(source.id)), end="")
    return OK


def check(options: Namespace) -> int:
    """Check the store."""
    from trayconcord.generators.check_command import checked_as

    text, status = checked_as(options, lambda: _loaded(options), lambda: _service(options))
    print(text, end="")
    return status


def compare(options: Namespace) -> int:
    """Lay the sources side by side."""
    from trayconcord.generators.compare_output import json_parts, text_parts

    parts = ((_compared(store, options.topic), store) for store in _stores(options))
    if options.format == "json":
        for piece in json_parts(parts):
            print(piece, end="")
    else:
        for piece in text_parts(parts, in_full=options.topic is not None):
            print(piece)
    return OK


def _compared(store: "Store", topic: str | None) -> "list[Topic]":
    from trayconcord.generators.compare_output import chosen_topics
    from trayconcord.shapes.compare import Comparison

    with progress("comparing"):
        return chosen_topics(Comparison(store), topic)


def _stores(options: Namespace) -> "Iterable[Store]":
    """The store in parts that can be compared one by one; from files it is one part."""
    if options.endpoint:
        from trayconcord.kb.remote_store import stores_by_parameter

        parts = stores_by_parameter(_service(options), options.kb, options.topic and options.topic.partition("?")[0])
        return _awaited(parts)
    return [_loaded(options)]


def _awaited(parts: "Iterator[Store]") -> "Iterator[Store]":
    """Each part as it comes, with a person at a terminal told what is waited for."""
    while True:
        with progress("reading the service"):
            part = next(parts, None)
        if part is None:
            return
        yield part


def agenda(options: Namespace) -> int:
    """List what there is to decide."""
    from trayconcord.generators.agenda_output import form_agenda, json_agenda, text_agenda
    from trayconcord.shapes.agenda import agenda
    from trayconcord.shapes.check import check

    store = _loaded(options)
    with progress("checking"):
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


def export(options: Namespace) -> int:
    """Write the rule export."""
    from trayconcord.generators.export import rules_document
    from trayconcord.generators.export_files import export_files, one_file
    from trayconcord.generators.output import write_file, write_folder
    from trayconcord.shapes.compare import Comparison

    store = _loaded(options)
    if options.format == "all":
        out = options.out or Path("export")
        with progress("exporting"):
            written = write_folder(export_files(store, Comparison(store)), out)
        print(f"wrote {len(written)} files to {out}; start at {out / 'index.html'}")
        return OK
    with progress("exporting"):
        data = one_file(options.format, rules_document(store, Comparison(store)))
    if options.out:
        write_file(data, options.out)
        print(f"wrote {options.out}")
    else:
        print(data.decode(), end="")
    return OK


def publish(options: Namespace) -> int:
    """Put the store into a SPARQL service."""
    from trayconcord.kb.publish import publish

    service = _service(options)
    with progress("publishing"):
        outcome = publish(service, options.kb, options.only, options.dry_run, options.take_over)
    for done, graphs in (("wrote", outcome.written), ("renamed", outcome.renamed), ("removed", outcome.removed)):
        for graph in graphs:
            print(f"{'dry run: ' * options.dry_run}{done} {graph}")
    words = "would change" if options.dry_run else "changed"
    print(f"{service.shown}: {outcome.changes} graphs {words}, {len(outcome.left)} as they were")
    return OK


def changes(options: Namespace) -> int:
    """List what differs between two states."""
    from trayconcord.generators.changes import changes, document_of
    from trayconcord.generators.changes_output import json_changes, page_of_changes, text_changes

    with progress("comparing"):
        old, new = document_of(options.old, options.only), document_of(options.new, options.only)
        found = changes(old, new)
    if options.format == "json":
        print(json_changes(found), end="")
    elif options.format == "html":
        print(page_of_changes(found, str(options.old), str(options.new)), end="")
    elif options.format == "notes":
        from trayconcord.generators.release_notes import release_notes

        print(release_notes(old, new), end="")
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
    stated = _case(options.case, store)
    with progress("answering"):
        made = plan(store, Comparison(store), stated, " ".join(options.case))
    if options.format == "card":
        from trayconcord.generators.bench_card import bench_card

        print(bench_card(made), end="")
    else:
        print((json_plan if options.format == "json" else text_plan)(made).rstrip("\n"))
    return OK


def why(options: Namespace) -> int:
    """Explain one answer."""
    from trayconcord.generators.plan import refuse_contradictions
    from trayconcord.generators.plan_output import json_why, text_why
    from trayconcord.kb.errors import unusable
    from trayconcord.shapes.answers import why
    from trayconcord.shapes.compare import Comparison

    store = _loaded(options)
    if options.parameter not in store.vocabulary.parameters:
        near = store.vocabulary.nearest(options.parameter, store.vocabulary.parameters)
        fix = f"did you mean {near}?" if near else "list them: trayconcord terms"
        raise unusable(options.parameter, "no parameter has this id", fix)
    stated = _case(options.case, store)
    refuse_contradictions(stated, store.vocabulary, " ".join(options.case))
    case = stated.when
    with progress("answering"):
        found = why(options.parameter, case, store, Comparison(store))
    print((json_why if options.format == "json" else text_why)(found, case, store).rstrip("\n"))
    return OK


def mark(options: Namespace) -> int:
    """Mark trays, or print the sheet to mark them by hand."""
    from trayconcord.generators.marking_command import marks_as

    store = _loaded(options)
    case = _case(options.case, store)
    with progress("marking"):
        text = marks_as(options, store, case)
    print(text.rstrip("\n"))
    return OK


def sheets(options: Namespace) -> int:
    """Write study sheets after a plan."""
    from trayconcord.generators.output import write_folder
    from trayconcord.generators.plans import default_plan, read_plan
    from trayconcord.generators.sheet_pages import planned_sheets
    from trayconcord.shapes.compare import Comparison

    store = _loaded(options)
    plan = read_plan(options.plan, store.vocabulary) if options.plan else default_plan(store.vocabulary)
    with progress("writing the sheets"):
        pages = planned_sheets(Comparison(store), store, plan)
    write_folder(pages, options.out)
    starts = ", ".join(str(options.out / name) for name in pages if name.endswith(".html"))
    print(f"wrote {len(pages)} files to {options.out}; read {starts}")
    return OK


def items(options: Namespace) -> int:
    """Make question items."""
    from trayconcord.generators.item_command import bank_as
    from trayconcord.generators.output import write_file

    store = _loaded(options)
    with progress("making the items"):
        data = bank_as(options, store)
    if options.out:
        write_file(data, options.out)
        print(f"wrote {options.out}")
    else:
        print(data.decode(), end="")
    return OK


def render(options: Namespace) -> int:
    """Render a manuscript, check rendered ones, or explain the functions of a manuscript."""
    from trayconcord.generators.manuscripts import command
    from trayconcord.kb.errors import unusable
    from trayconcord.shapes.compare import Comparison

    if options.functions:
        print(command.functions_text())
        return OK
    if not options.files or (len(options.files) > 1 and not options.check):
        raise unusable("render", "takes one manuscript, or --check and rendered ones", "trayconcord render --help")
    if options.check and (options.case or options.out):
        raise unusable("render --check", "takes neither --case nor --out", "name the rendered files alone")
    store = _loaded(options)
    if options.check:
        comparison = Comparison(store)
        with progress("checking"):
            verdicts = [(path, command.check_file(path, store, comparison)) for path in options.files]
        if options.format == "json":
            print(command.json_verdicts(verdicts), end="")
        else:
            print(command.text_verdicts(verdicts))
        return STALE if any(verdict.stale for _, verdict in verdicts) else OK
    case = _case_of_manuscript(options.case, store)
    with progress("rendering"):
        target, done = command.render_file(options.files[0], options.out, store, case)
    for name in done.figures:
        print(f"wrote {target.parent / name}")
    count = len(done.passages)
    print(f"wrote {target} with {count} passage{'s' * (count != 1)} from the rules")
    for note in done.notes:
        print(f"{options.files[0]}: {note}", file=sys.stderr)
    return OK


def _case_of_manuscript(words: list[str] | None, store: "Store") -> "Scope":
    if not words:
        return ()
    taught = {case.id: case.when for case in store.cases}
    return taught[words[0]] if len(words) == 1 and words[0] in taught else _case(words, store).when


def demo(options: Namespace) -> int:
    """Lay out the forms of the demo."""
    from trayconcord.generators.demo import lay_out

    for path in lay_out(options.folder):
        print(f"wrote {path}")
    print(f"an invented department; next: trayconcord add --kb {options.folder}/kb {options.folder}/handout-2019.yaml")
    return OK


def explain(options: Namespace) -> int:
    """Print a page of the guide, or list the pages."""
    from trayconcord.generators.guide import explained

    print(explained(options.page), end="")
    return OK


def terms(options: Namespace) -> int:
    """List terms."""
    from trayconcord.generators.terms_output import terms_text

    text = terms_text(_loaded(options).vocabulary, options.word or "")
    print(text or f"no term holds {options.word}")
    return OK
