"""A study sheet as Markdown, for a learning platform or a text editor: the same content as the page."""

import re

from trayconcord.generators.references import Reference
from trayconcord.generators.sheet_orders import MergedOrder
from trayconcord.generators.sheets import Answer, Chapter, FigureGroup, KeyEntry, Sheet, ShownFigure, Table
from trayconcord.kb.store import Store
from trayconcord.kb.vocabulary import Caution
from trayconcord.shapes.wording import name_of

AUTHORITY = "Local codes, the maker’s instructions and your licensed supervisor come first."


def sheet_markdown(sheet: Sheet, title: str, store: Store) -> str:
    """The sheet as text in Markdown; whatever comes from a value is escaped."""
    parts = [f"# {plain(title)}"]
    parts.append(
        "What the course adopts, what the sources agree on, and in one line where they differ. Numbers in brackets"
        " lead to the references."
    )
    if sheet.cautions:
        parts.append(f"**Before you start.** The usual cautions for what this sheet shows. {AUTHORITY}")
        parts.append("\n".join(f"- {_caution(caution, store)}" for caution in sheet.cautions))
    for chapter in sheet.chapters:
        parts += _chapter(chapter)
    for table in sheet.tables:
        parts += _table(table)
    if sheet.references:
        parts.append("## References")
        parts.append("\n".join(_reference(reference) for reference in sheet.references))
    parts.append(f"What a source says is recorded here, not endorsed. {AUTHORITY}")
    return "\n\n".join(parts) + "\n"


def plain(text: str) -> str:
    """A text in which no sign means anything to Markdown or HTML."""
    return re.sub(r"([\\`*_{}\[\]<>#|~&!])", r"\\\1", " ".join(text.split()))


def _caution(caution: Caution, store: Store) -> str:
    text = f"**{plain(caution.label[0].upper() + caution.label[1:])}.** {plain(caution.definition)}"
    if not caution.sources:
        text += " (common practice)"
    if caution.hazards:
        text += f" GHS {', '.join(caution.hazards)}"
    named = [name_of(store.sources, source) for source in caution.sources if source in store.sources]
    return text + (f" ({plain('; '.join(named))})" if named else "")


def _chapter(chapter: Chapter) -> list[str]:
    parts = [f"## {plain(chapter.title)}"]
    for group in chapter.figures:
        parts += _group(group)
    lines = ["| Question | Case | What holds |", "| --- | --- | --- |"]
    for entry in chapter.entries:
        question = plain(entry.parameter.question)
        others = "; ".join(
            f"{plain(label)}: also {plain(', '.join(names))}" if label else f"also called {plain(', '.join(names))}"
            for label, names in entry.other_names
        )
        question += f" *({others})*" if others else ""
        for number, answer in enumerate(entry.answers):
            lines.append(f"| {'' if number else question} | {plain(answer.case)} | {answer_markdown(answer)} |")
        if entry.left_out:
            lines.append(f"| | | {more(entry.left_out)} |")
    return [*parts, "\n".join(lines)]


def more(count: int) -> str:
    """What a brief sheet says of the narrower cases that it leaves out."""
    return f"{count} narrower {'case' if count == 1 else 'cases'} with another answer: see the full sheet"


def answer_markdown(answer: Answer) -> str:
    """One answer in a line, with its references."""
    match answer.standing:
        case "silent":
            return "–"
        case "ruled":
            said = f"**{plain(answer.value)}**, by decision of the course: {plain(answer.because)}"
            return said + _cite(answer.references)
        case "agreed":
            return f"**{plain(answer.value)}**{_cite(answer.references)}"
        case "single":
            said = "; also ".join(f"{plain(value)}{_cite(numbers)}" for _, value, numbers in answer.choices)
            return f"{said} (one voice only)"
    if answer.order:
        return _ordered(answer.order, answer.references)
    said = "; or ".join(f"{plain(value)}{_cite(numbers)}" for _, value, numbers in answer.choices)
    return f"*the sources differ:* {said}"


def _ordered(order: MergedOrder, references: list[int]) -> str:
    """A contested order in a line: the steps in one order, and what is put both ways round."""
    if order.continues:
        added = ", ".join(
            f"**{plain(step.label)}**{f' after {plain(step.after)}' if step.after else ''}{_cite(step.references)}"
            for step in order.steps
        )
        said = f"as {'' if order.continues == 'in general' else 'for '}{plain(order.continues)}"
        said += f", with {added}" if added else "" if order.differ else _cite(references)
    else:
        said = "one order, as far as they can be joined: " + "; ".join(
            f"{number} {plain(step.label)}{_cite(step.references)}" for number, step in enumerate(order.steps, start=1)
        )
    pairs = "".join(
        f"; {plain(pair.one)} before {plain(pair.other)}{_cite(pair.one_first)}, or after it{_cite(pair.other_first)}"
        for pair in order.differ
    )
    return f"*the sources differ:* {said}{pairs}"


def _cite(numbers: list[int]) -> str:
    return f" \\[{', '.join(str(number) for number in numbers)}\\]" if numbers else ""


def _group(group: FigureGroup) -> list[str]:
    parts = [_figure(shown) for shown in group.figures]
    if group.key or group.notes:
        parts.append("\n".join(["In all of these, unless one says otherwise:", "", *_key(group.key, group.notes)]))
    return parts


def _figure(shown: ShownFigure) -> str:
    title = plain(shown.figure.title)
    lines = [f"![{title}](figures/{shown.figure.name}.svg)", "", f"**{title}**", ""]
    return "\n".join(lines + _key(shown.key, shown.notes))


def _key(key: list[KeyEntry], notes: list[str]) -> list[str]:
    lines = []
    for sign, label, text, numbers in key:
        said = " ".join(
            part
            for part in (f"**{plain(sign)}**" if sign else "", f"*{plain(label)}*" if label else "", plain(text))
            if part
        )
        lines.append(f"- {said}{_cite(numbers)}")
    return lines + ([f"- {plain('. '.join(notes))}."] if notes else [])


def _table(table: Table) -> list[str]:
    head = ["", *(plain(parameter.label) for parameter in table.columns)]
    lines = ["| " + " | ".join(head) + " |", "| " + " | ".join("---" for _ in head) + " |"]
    for case, answers in table.rows:
        lines.append("| " + " | ".join([plain(case), *(answer_markdown(answer) for answer in answers)]) + " |")
    return [f"## {plain(table.title)}", "\n".join(lines)]


def _reference(reference: Reference) -> str:
    places = f" Cited: {plain('; '.join(reference.places))}." if reference.places else ""
    return f"{reference.number}. {plain(reference.text)}{places}"
