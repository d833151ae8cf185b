"""The command line: what can be asked for, and how it ends."""

import argparse
import sys
from collections.abc import Callable
from datetime import date
from importlib.metadata import version
from io import TextIOWrapper
from pathlib import Path

from trayconcord.generators import commands

UNUSABLE = 2


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
        return 0
    from trayconcord.kb.errors import UnusableInput

    try:
        return run(options)
    except UnusableInput as error:
        for complaint in error.complaints:
            print(complaint, file=sys.stderr)
        return UNUSABLE
    except BrokenPipeError:
        sys.stderr.close()
        return 0
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
    subcommands = parser.add_subparsers(title="commands", metavar="COMMAND")

    def command(
        name: str, run: Callable[[argparse.Namespace], int], text: str, example: str
    ) -> argparse.ArgumentParser:
        sub = subcommands.add_parser(
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
        commands.add,
        "Enter forms into a store. All of them are entered, or none if one cannot be understood.",
        "trayconcord add --kb my-department handout.yaml",
    )
    add.add_argument("forms", nargs="+", type=Path, metavar="FORM.yaml")
    form = command("form", commands.form, "Print a source of the store as a form.", "trayconcord form komiyama-2004")
    form.add_argument("source", metavar="SOURCE", help="id of the source, or: marking, for the marking policy")
    check = command(
        "check",
        commands.check,
        "Find what is contested, unsourced, contradictory or impossible.",
        "trayconcord check --kb my-department --format sarif > findings.sarif",
    )
    check.add_argument("--format", choices=("text", "json", "sarif"), default="text")
    _dated(check)
    check.add_argument("--all", action="store_true", help="in text, list every finding instead of folding similar ones")
    check.add_argument("--cache", type=Path, metavar="FOLDER", help="keep what was found there, and check what changed")
    compare = command(
        "compare",
        commands.compare,
        "Lay the sources side by side, topic by topic.",
        "trayconcord compare 'spacer-thickness?impression-material=zinc-oxide-eugenol-paste'",
    )
    compare.add_argument("topic", nargs="?", metavar="TOPIC", help="a parameter, or a parameter?axis=concept&…")
    compare.add_argument("--format", choices=("text", "json"), default="text")
    agenda = command(
        "agenda",
        commands.agenda,
        "List the decisions that a committee has to take, and those to look at again.",
        "trayconcord agenda --kb my-department --format form > decisions.yaml",
    )
    agenda.add_argument(
        "--format", choices=("text", "json", "form"), default="text", help="form: a form of rulings to fill in"
    )
    _dated(agenda)
    build = command(
        "build",
        commands.build,
        "Check the store and write the site, the study sheets and the rule export.",
        "trayconcord build --kb my-department --out site",
    )
    build.add_argument("--out", type=Path, default=Path("site"), metavar="DIR", help="folder to write (default: site)")
    exported = command(
        "export",
        commands.export,
        "Write the rule export for other programs. The folder holds every form of it, with its contract.",
        "trayconcord export --kb my-department --out rules",
    )
    exported.add_argument(
        "--format", choices=("all", "json", "turtle", "yaml"), default="all", help="all: the folder; or one form of it"
    )
    exported.add_argument(
        "--out", type=Path, metavar="PATH", help="folder to write (default: export), or the file of one form"
    )
    published = command(
        "publish",
        commands.publish,
        "Put the store into a SPARQL service, one named graph per source, writing only what has changed there.",
        "trayconcord publish --kb my-department --endpoint http://localhost:7878/query",
    )
    published.add_argument(
        "--update-endpoint",
        metavar="URL",
        help="where the service takes updates (default: the endpoint, with /update in place of a /query at its end)",
    )
    published.add_argument("--dry-run", action="store_true", help="say what would be written, and write nothing")
    published.add_argument(
        "--take-over",
        action="store_true",
        help="complete a publish that was cut short; one that is still running is stopped from writing",
    )
    changed = command(
        "changes",
        commands.changes,
        "List what differs between two states of a store: claims, topics, standings, rulings. "
        "Each is the folder of a store, a built site, or an export/rules.json.",
        "trayconcord changes last-year/rules.json my-department",
    )
    changed.add_argument("old", type=Path, metavar="OLD")
    changed.add_argument("new", type=Path, metavar="NEW")
    changed.add_argument(
        "--format",
        choices=("text", "json", "html", "notes"),
        default="text",
        help="notes: release notes for programs that read the export, in Markdown",
    )
    changed.add_argument("--only", action="store_true", help="leave the shipped sources and rulings out of both stores")
    planned = command(
        "plan",
        commands.plan,
        "Answer every question about the tray of a case, with reasons and citations.",
        "trayconcord plan arch=maxillary impression-material=polyether tray-material=light-cured-resin",
    )
    planned.add_argument(
        "case", nargs="+", metavar="CASE", help="a case file, or conditions as axis=concept, and area=24cm2"
    )
    reasons = command(
        "why",
        commands.why,
        "Explain one answer of a plan. It tells which statements apply, which are set aside and why.",
        "trayconcord why spacer-thickness impression-material=polyether",
    )
    reasons.add_argument("parameter", metavar="PARAMETER")
    reasons.add_argument("case", nargs="+", metavar="CASE", help="a case file, or conditions as axis=concept")
    planned.add_argument(
        "--format", choices=("text", "json", "card"), default="text", help="card: a bench card to print, as a page"
    )
    reasons.add_argument("--format", choices=("text", "json"), default="text")
    marking = command(
        "mark",
        commands.mark,
        "Mark what was measured on trays against the rules of a case and the marking policy of the course.",
        "trayconcord mark measured.yaml --kb my-department --case case.yaml --format html > feedback.html",
    )
    marking.add_argument(
        "measured", nargs="?", type=Path, metavar="MEASURED.yaml", help="what was measured on one tray or a class"
    )
    marking.add_argument(
        "--case",
        nargs="+",
        required=True,
        metavar="CASE",
        help="a case file, or conditions as axis=concept: what the trays were made for",
    )
    marking.add_argument(
        "--format",
        choices=("text", "json", "csv", "html", "sheet"),
        default="text",
        help="html: a feedback sheet for each tray; sheet: a sheet to mark by hand, without MEASURED.yaml",
    )
    marking.add_argument("--tray", metavar="ID", help="only this tray of the file")
    sheets = command(
        "sheets",
        commands.sheets,
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
        commands.items,
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
    rendering = command(
        "render",
        commands.render,
        "Fill the text of a manual from the rules, or check with --check which passages of a rendered one still hold.",
        "trayconcord render --check manual.md --kb my-department",
    )
    rendering.add_argument(
        "files", nargs="*", type=Path, metavar="FILE", help="a manuscript; with --check, rendered ones"
    )
    rendering.add_argument(
        "--case",
        nargs="+",
        metavar="CASE",
        help="the case where the manuscript names none: a file, a case of the store by id, or axis=concept …",
    )
    rendering.add_argument("--out", type=Path, metavar="FILE", help="file to write (default: the name without .j2)")
    rendering.add_argument(
        "--check", action="store_true", help="check rendered manuscripts; exit status 1 if something no longer holds"
    )
    rendering.add_argument("--format", choices=("text", "json"), default="text", help="of what --check prints")
    rendering.add_argument("--functions", action="store_true", help="explain what a manuscript may call")
    demo = command(
        "demo",
        commands.demo,
        "Lay out the forms of an invented department to try the commands on.",
        "trayconcord demo harrow-vale",
    )
    demo.add_argument("folder", type=Path, metavar="DIR", help="folder to create")
    explain = command(
        "explain",
        commands.explain,
        "Print a page of the guide: a rule, a command or a kind of file. Without a name, list them.",
        "trayconcord explain contested-topic",
    )
    explain.add_argument("page", nargs="?", metavar="PAGE")
    terms = command(
        "terms",
        commands.terms,
        "List the terms that forms may use, or those that a word is found in.",
        "trayconcord terms alginate",
    )
    terms.add_argument("word", nargs="?", metavar="WORD")
    reading = (
        form, check, compare, agenda, build, exported, planned, reasons, marking, sheets, items, rendering,
    )  # fmt: skip
    for sub in (*reading, published):
        _endpoint(sub, sub is published)
    for sub in (*reading, add, published, terms):
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


def _endpoint(command: argparse.ArgumentParser, writes: bool) -> None:
    command.add_argument(
        "--endpoint",
        required=writes,
        metavar="URL",
        help="the SPARQL 1.1 service to write into"
        if writes
        else "read claims, sources and rulings from this SPARQL 1.1 service instead of the shipped ones",
    )
    command.add_argument(
        "--timeout",
        type=_seconds,
        default=60.0,
        metavar="SECONDS",
        help="how long one answer of the service may take (default: 60)",
    )


def _seconds(text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = 0.0
    if not 0 < seconds <= 86400:
        raise argparse.ArgumentTypeError(f"{text} is no number of seconds between 0 and 86400")
    return seconds


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


if __name__ == "__main__":
    sys.exit(main())
