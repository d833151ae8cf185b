"""The command line. Heavy libraries are imported by the command that needs them, when it needs them."""

import argparse
import gc
import sys
from collections.abc import Callable
from importlib.metadata import version
from io import TextIOWrapper
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
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
    check.add_argument("--all", action="store_true", help="in text, list every finding instead of folding similar ones")
    compare = command(
        "compare",
        _compare,
        "Lay the sources side by side, topic by topic.",
        "trayconcord compare 'spacer-thickness?impression-material=zinc-oxide-eugenol-paste'",
    )
    compare.add_argument("topic", nargs="?", metavar="TOPIC", help="a parameter, or a parameter?axis=concept&…")
    compare.add_argument("--format", choices=("text", "json"), default="text")
    build = command(
        "build",
        _build,
        "Check the store and write the site, the study sheets and the rule export.",
        "trayconcord build --kb my-department --out site",
    )
    build.add_argument("--out", type=Path, default=Path("site"), metavar="DIR", help="folder to write (default: site)")
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
    for sub in (add, form, check, compare, build, items, terms):
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
    report = check(entered.store)
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
    report = check(_loaded(options), rules)
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
