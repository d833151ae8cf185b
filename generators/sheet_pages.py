"""The study sheets as pages: HTML, Markdown, and their figures as files, for the site or for a folder of their own."""

from dataclasses import replace
from importlib.metadata import version

from markupsafe import Markup

from trayconcord.generators.plans import Plan, default_plan
from trayconcord.generators.rendering import render, template_text
from trayconcord.generators.sheet_markdown import sheet_markdown
from trayconcord.generators.sheets import Sheet, study_sheet
from trayconcord.kb.store import Store
from trayconcord.shapes.compare import Comparison
from trayconcord.shapes.wording import name_of


def site_sheets(comparison: Comparison, store: Store, store_hash: str) -> dict[str, str]:
    """The sheets of the plan that ships: one for each arch, and one for each of its chapters."""
    plan = default_plan(store.vocabulary)
    pages: dict[str, str] = {}
    for arch in plan.arches:
        whole = study_sheet(comparison, store, arch, plan)
        planned = [chapter for chapter in plan.chapters if chapter.title in {c.title for c in whole.chapters}]
        names = {chapter.title: f"study-sheet-{arch}-{chapter.of[0]}" for chapter in planned}
        for chapter in planned:
            alone = replace(plan.only(chapter, store.vocabulary), charts=True)  # a sheet of one chapter has the room
            part = study_sheet(comparison, store, arch, alone)
            pages |= _pages(names[chapter.title], part, store, f"study-sheet-{arch}.html", {}, store_hash)
        pages |= _pages(f"study-sheet-{arch}", whole, store, "", names, store_hash)
    return pages


def planned_sheets(comparison: Comparison, store: Store, plan: Plan) -> dict[str, bytes]:
    """The sheets of a teacher's plan as a folder of their own: one for each arch."""
    pages: dict[str, str] = {"style.css": template_text("style.css")}
    for arch in plan.arches:
        pages |= _pages(f"study-sheet-{arch}", study_sheet(comparison, store, arch, plan), store, "", {}, "")
    return {name: text.encode() for name, text in pages.items()}


def _pages(name: str, sheet: Sheet, store: Store, whole: str, parts: dict[str, str], store_hash: str) -> dict[str, str]:
    """A sheet as HTML and Markdown, with its figures. ``whole`` links to the sheet that a chapter is part of; a sheet
    without the hash of its store stands alone, with no site around it."""
    figures = [shown.figure for chapter in sheet.chapters for group in chapter.figures for shown in group.figures]
    title = sheet.heading
    if whole:
        title = f"{sheet.chapters[0].title}: {sheet.arch.label} arch" if sheet.chapters else title
    page = render(
        "sheet.html.j2",
        sheet=sheet,
        title=title,
        file=name,
        whole=whole,
        parts=parts,
        alone=not store_hash,
        store_hash=store_hash,
        drawn={figure.name: Markup(figure.svg()) for figure in figures},
        charts={
            entry.parameter.id: (Markup(entry.chart[0]), entry.chart[1])
            for chapter in sheet.chapters
            for entry in chapter.entries
            if entry.chart
        },
        cautions=sheet.cautions,
        cautions_in_full=True,
        store=store,
        version=version("trayconcord"),
        name_of=name_of,
    )
    return {
        f"{name}.html": page,
        f"{name}.md": sheet_markdown(sheet, title, store),
        **{f"figures/{figure.name}.svg": figure.svg(alone=True) + "\n" for figure in figures},
    }
