"""The command line. Heavy libraries are imported by the command that needs them, when it needs them."""

import argparse
import gc
import sys
from collections.abc import Callable
from datetime import date
from importlib.metadata import version
from io import TextIOWrapper
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from trayconcord.kb.case_file import CaseFile
    from trayconcord.kb.store import Store

OK, UNUSABLE = 0, 2
DEFAULT_STORE = Path("trayconcord-kb")


def main(arguments: list[str] | None = None) -> int:
    """Run a command; returns the exit status: 0 no violation, 1 violations, 2 unusable input or arguments."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):  # files are UTF-8 everywhere; a sign that a terminal lacks is no error
            stream.reconfigure(encoding=None if stream.isatty() else "utf-8", errors="backslashreplace")
    parser = _parser()
    options = parser.parse_args(arguments)
    run: Callable[[argparse.Namespace], int] | None = getattr(options, "run", None)
    if run is None:
        parser.print_help()
        return OK
    from trayconcord.kb.errors import UnusableInput

    try:
        return run(options)
    except UnusableInput as error:
        for complaint in error.complaints:
            print(complaint, file=sys.stderr)
        return UNUSABLE
    except BrokenPipeError:
        sys.stderr.close()
        return OK
    except OSError as error:  # such as a name that is too long, or a folder that may not be looked into
        print(
            f"{error.filename or 'trayconcord'}: {error.strerror or error}\n    fix: name another file", file=sys.stderr
        )
        return UNUSABLE
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        return UNUSABLE


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="trayconcord",
        description="Reconcile what sources say about making custom impression trays for edentulous arches.",
        epilog="Exit status: 0 no violation, 1 violations, 2 unusable input or arguments. "
        "Each command explains itself with: trayconcord COMMAND --help",
    )
    parser.add_argument("--version", action="version", version=f"trayconcord {version('trayconcord')}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")

    def command(
        name: str, run: Callable[[argparse.Namespace], int], text: str, example: str
    ) -> argparse.ArgumentParser:
        sub = commands.add_parser(
            name,
            help=text[0].lower() + text[1:].split(".")[0],
            description=text,
            epilog=f"example:\n  {example}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        sub.set_defaults(run=run)
        return sub

    add = command(
        "add",
        _add,
        "Enter forms into a store. All of them are entered, or none if one cannot be understood.",
        "trayconcord add --kb my-department handout.yaml",
    )
    add.add_argument("forms", nargs="+", type=Path, metavar="FORM.yaml")
    form = command("form", _form, "Print a source of the store as a form.", "trayconcord form komiyama-2004")
    form.add_argument("source", metavar="SOURCE", help="id of the source")
    check = command(
        "check",
        _check,
        "Find what is contested, unsourced, contradictory or impossible.",
        "trayconcord check --kb my-department --format sarif > findings.sarif",
    )
    check.add_argument("--format", choices=("text", "json", "sarif"), default="text")
    _dated(check)
    check.add_argument("--all", action="store_true", help="in text, list every finding instead of folding similar ones")
    compare = command(
        "compare",
        _compare,
        "Lay the sources side by side, topic by topic.",
        "trayconcord compare 'spacer-thickness?impression-material=zinc-oxide-eugenol-paste'",
    )
    compare.add_argument("topic", nargs="?", metavar="TOPIC", help="a parameter, or a parameter?axis=concept&…")
    compare.add_argument("--format", choices=("text", "json"), default="text")
    agenda = command(
        "agenda",
        _agenda,
        "List the decisions that a committee has to take, and those to look at again.",
        "trayconcord agenda --kb my-department --format form > decisions.yaml",
    )
    agenda.add_argument(
        "--format", choices=("text", "json", "form"), default="text", help="form: a form of rulings to fill in"
    )
    _dated(agenda)
    build = command(
        "build",
        _build,
        "Check the store and write the site, the study sheets and the rule export.",
        "trayconcord build --kb my-department --out site",
    )
    build.add_argument("--out", type=Path, default=Path("site"), metavar="DIR", help="folder to write (default: site)")
    changed = command(
        "changes",
        _changes,
        "List what differs between two states of a store: claims, topics, standings, rulings. "
        "Each is the folder of a store, a built site, or an export/rules.json.",
        "trayconcord changes last-year/rules.json my-department",
    )
    changed.add_argument("old", type=Path, metavar="OLD")
    changed.add_argument("new", type=Path, metavar="NEW")
    changed.add_argument("--format", choices=("text", "json", "html"), default="text")
    changed.add_argument("--only", action="store_true", help="leave the shipped sources and rulings out of both stores")
    planned = command(
        "plan",
        _plan,
        "Answer every question about the tray of a case, with reasons and citations.",
        "trayconcord plan arch=maxillary impression-material=polyether tray-material=light-cured-resin",
    )
    planned.add_argument(
        "case", nargs="+", metavar="CASE", help="a case file, or conditions as axis=concept, and area=24cm2"
    )
    reasons = command(
        "why",
        _why,
        "Explain one answer of a plan. It tells which statements apply, which are set aside and why.",
        "trayconcord why spacer-thickness impression-material=polyether",
    )
    reasons.add_argument("parameter", metavar="PARAMETER")
    reasons.add_argument("case", nargs="*", metavar="CASE", help="a case file, or conditions as axis=concept")
    for sub in (planned, reasons):
        sub.add_argument("--format", choices=("text", "json"), default="text")
    sheets = command(
        "sheets",
        _sheets,
        "Write study sheets after a plan of your own: chapters, arch, depth and order.",
        "trayconcord sheets plan.yaml --kb my-department --out sheets",
    )
    sheets.add_argument(
        "plan", nargs="?", type=Path, metavar="PLAN.yaml", help="without one: all chapters, both arches"
    )
    sheets.add_argument(
        "--out", type=Path, default=Path("sheets"), metavar="DIR", help="folder to write (default: sheets)"
    )
    items = command(
        "items",
        _items,
        "Make question items with a single best answer from what the sources agree on or the course has ruled.",
        "trayconcord items --format qti --out items.zip",
    )
    items.add_argument("--format", choices=("text", "csv", "json", "qti"), default="text")
    items.add_argument("--chapter", action="append", default=[], metavar="ID", help="only this chapter (repeatable)")
    items.add_argument("--number", type=int, metavar="N", help="so many, as for one paper: no topic twice")
    items.add_argument("--out", type=Path, metavar="FILE", help="write here instead of printing (needed for qti)")
    for sub in (build, items):
        sub.add_argument("--seed", type=int, default=1, metavar="N", help="orders and picks options (default: 1)")
        sub.add_argument(
            "--previous", type=Path, metavar="FILE", help="items.json to list what is withdrawn since (build: its own)"
        )
    demo = command(
        "demo",
        _demo,
        "Lay out the forms of an invented department to try the commands on.",
        "trayconcord demo harrow-vale",
    )
    demo.add_argument("folder", type=Path, metavar="DIR", help="folder to create")
    explain = command(
        "explain", _explain, "Print the page of a rule, or list the rules.", "trayconcord explain contested-topic"
    )
    explain.add_argument("rule", nargs="?", metavar="RULE")
    terms = command(
        "terms",
        _terms,
        "List the terms that forms may use, or those that a word is found in.",
        "trayconcord terms alginate",
    )
    terms.add_argument("word", nargs="?", metavar="WORD")
    for sub in (add, form, check, compare, agenda, build, planned, reasons, sheets, items, terms):
        sub.add_argument(
            "--kb",
            action="append",
            type=Path,
            default=[],
            metavar="DIR",
            help="lay this store over the shipped one (repeatable; add writes into the last)",
        )
        sub.add_argument("--only", action="store_true", help="leave the shipped sources and rulings out")
    for sub in (check, build):
        sub.add_argument(
            "--shapes",
            action="append",
            type=Path,
            default=[],
            metavar="PATH",
            help="Turtle file or folder with shapes of your own, or with other severities for known rules (repeatable)",
        )
    return parser


def _dated(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--on",
        type=_date,
        default=date.today(),
        metavar="DATE",
        help="the day by which reviews count as due, as in 2026-05-12 (default: today)",
    )


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text} is no date; write it as 2026-05-12") from None


def _loaded(options: argparse.Namespace) -> "Store":
    """The store that the options name. It stays until the command ends, so the collector need not look at it again."""
    from trayconcord.kb.store import load

    store = load(options.kb, options.only)
    gc.freeze()
    return store


def _add(options: argparse.Namespace) -> int:
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


def _form(options: argparse.Namespace) -> int:
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


def _check(options: argparse.Namespace) -> int:
    from trayconcord.generators.check_output import json_report, sarif_report, text_report
    from trayconcord.shapes.check import check
    from trayconcord.shapes.rules import rule_book

    rules = rule_book(options.shapes)
    report = check(_loaded(options), rules, options.on)
    if options.format == "json":
        print(json_report(report), end="")
    elif options.format == "sarif":
        print(sarif_report(report, rules), end="")
    else:
        print(text_report(report, everything=options.all))
    return report.exit_status


def _compare(options: argparse.Namespace) -> int:
    from trayconcord.generators.compare_output import chosen_topics, json_topics, text_topics
    from trayconcord.shapes.compare import Comparison

    store = _loaded(options)
    comparison = Comparison(store)
    topics = chosen_topics(comparison, options.topic)
    if options.format == "json":
        print(json_topics(topics, store.vocabulary), end="")
    else:
        print(text_topics(topics, store, in_full=options.topic is not None))
    return OK


def _agenda(options: argparse.Namespace) -> int:
    from trayconcord.generators.agenda_output import form_agenda, json_agenda, text_agenda
    from trayconcord.shapes.agenda import agenda
    from trayconcord.shapes.check import check

    store = _loaded(options)
    found = agenda(check(store, today=options.on))
    printed = {"text": text_agenda, "json": json_agenda, "form": form_agenda}[options.format](found, store)
    print(printed, end="" if printed.endswith("\n") else "\n")
    return OK


def _build(options: argparse.Namespace) -> int:
    from trayconcord.generators.build import build
    from trayconcord.shapes.check import check
    from trayconcord.shapes.rules import rule_book

    report = check(_loaded(options), rule_book(options.shapes))
    pages = build(report, options.out, options.seed, options.previous)
    print(f"wrote {len(pages)} files to {options.out}; start at {options.out / 'index.html'}")
    if report.count("violation"):
        print(f"the store has {report.count('violation')} violations: see trayconcord check", file=sys.stderr)
    return report.exit_status


def _changes(options: argparse.Namespace) -> int:
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


def _plan(options: argparse.Namespace) -> int:
    from trayconcord.generators.plan import json_plan, plan, text_plan
    from trayconcord.shapes.compare import Comparison

    store = _loaded(options)
    made = plan(store, Comparison(store), _case(options.case, store), " ".join(options.case))
    print((json_plan if options.format == "json" else text_plan)(made).rstrip("\n"))
    return OK


def _why(options: argparse.Namespace) -> int:
    from trayconcord.generators.plan import json_why, text_why
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


def _sheets(options: argparse.Namespace) -> int:
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


def _items(options: argparse.Namespace) -> int:
    from trayconcord.generators.item_command import bank_as

    data = bank_as(options, _loaded(options))
    if options.out:
        options.out.write_bytes(data)
        print(f"wrote {options.out}")
    else:
        print(data.decode(), end="")
    return OK


def _demo(options: argparse.Namespace) -> int:
    from trayconcord.generators.demo import lay_out

    for path in lay_out(options.folder):
        print(f"wrote {path}")
    print(f"an invented department; next: trayconcord add --kb {options.folder}/kb {options.folder}/handout-2019.yaml")
    return OK


def _explain(options: argparse.Namespace) -> int:
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


def _terms(options: argparse.Namespace) -> int:
    from trayconcord.generators.terms_output import terms_text

    text = terms_text(_loaded(options).vocabulary, options.word or "")
    print(text or f"no term holds {options.word}")
    return OK


if __name__ == "__main__":
    sys.exit(main())
