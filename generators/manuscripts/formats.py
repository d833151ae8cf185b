"""What the functions of a manuscript print, in the notation of the text around it.

Whatever comes from the store is escaped, so that a title or a name can mean nothing to Markdown, HTML or LaTeX.
"""

import html
import re
from collections.abc import Sequence
from pathlib import PurePosixPath

from trayconcord.generators.sheet_markdown import plain

SIGNS = str.maketrans("", "", "\ufdd0\ufdd1\ufdd2\ufdd3\ufdd4\ufdd5")
"""Characters that Unicode keeps for use within a program: they mark passages here, and no text may hold them."""


def clean(text: str) -> str:
    """A text of the store without line breaks and without the signs that mark passages."""
    return " ".join(text.translate(SIGNS).split())


class Format:
    """Plain text, and what the other formats share: each method gives a piece of text that needs no more escaping."""

    name = "txt"

    def escape(self, text: str) -> str:
        """A text from the store."""
        return clean(text)

    def number(self, number: str) -> str:
        """The number of a reference where it is cited."""
        return number

    def cited(self, numbers: str) -> str:
        """Numbers of references, as they stand in a sentence."""
        return f"[{numbers}]"

    def strong(self, text: str) -> str:
        """A word that stands out."""
        return text

    def bullets(self, items: Sequence[str]) -> str:
        """A list."""
        return "\n".join(f"- {item}" for item in items)

    def steps(self, items: Sequence[tuple[str, Sequence[str]]]) -> str:
        """Numbered steps, each with lines below it."""
        lines = []
        for number, (step, notes) in enumerate(items, 1):
            lines += [f"{number}. {step}", *(f"   - {note}" for note in notes)]
        return "\n".join(lines)

    def references(self, entries: Sequence[tuple[str, str]]) -> str:
        """The reference list: numbers and texts."""
        return "\n".join(f"[{number}] {text}" for number, text in entries)

    def table(self, head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
        """A table: in plain text a paragraph for each row."""
        paragraphs = []
        for row in rows:
            lines = [row[0], *(f"  {label}: {cell}" for label, cell in zip(head[1:], row[1:], strict=True))]
            paragraphs.append("\n".join(lines))
        return "\n\n".join(paragraphs)

    def figure(self, path: str, svg: str, title: str, key: Sequence[str]) -> str:
        """A figure with its key; plain text has only the key."""
        return f"Figure: {title}\n{self.bullets(key)}"

    @property
    def figure_files(self) -> bool:
        """Whether figures are files beside the text."""
        return False


class Markdown(Format):
    """Markdown as CommonMark reads it, with tables."""

    name = "md"

    def escape(self, text: str) -> str:
        return plain(clean(text))

    def cited(self, numbers: str) -> str:
        return f"\\[{numbers}\\]"

    def strong(self, text: str) -> str:
        return f"**{text}**"

    def references(self, entries: Sequence[tuple[str, str]]) -> str:
        return "\n".join(f"{number}. {text}" for number, text in entries)

    def table(self, head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
        lines = [head, ["---"] * len(head), *rows]
        return "\n".join(f"| {' | '.join(line)} |" for line in lines)

    def figure(self, path: str, svg: str, title: str, key: Sequence[str]) -> str:
        return f"![{title}]({path})\n\n{self.strong(title)}\n\n{self.bullets(key)}"

    @property
    def figure_files(self) -> bool:
        return True


class Html(Format):
    """HTML: figures stand in the text itself, and numbers lead to the reference list."""

    name = "html"

    def escape(self, text: str) -> str:
        return html.escape(clean(text))

    def number(self, number: str) -> str:
        return f'<a href="#reference-{number}">{number}</a>'

    def strong(self, text: str) -> str:
        return f"<b>{text}</b>"

    def bullets(self, items: Sequence[str]) -> str:
        return "\n".join(["<ul>", *(f"<li>{item}</li>" for item in items), "</ul>"])

    def steps(self, items: Sequence[tuple[str, Sequence[str]]]) -> str:
        lines = ["<ol>"]
        for step, notes in items:
            lines.append(f"<li>{step}" + (f"\n{self.bullets(notes)}" if notes else "") + "</li>")
        return "\n".join([*lines, "</ol>"])

    def references(self, entries: Sequence[tuple[str, str]]) -> str:
        items = (f'<li id="reference-{number}" value="{number}">{text}</li>' for number, text in entries)
        return "\n".join(["<ol>", *items, "</ol>"])

    def table(self, head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
        lines = ["<table>", "<tr>" + "".join(f'<th scope="col">{cell}</th>' for cell in head) + "</tr>"]
        for first, *cells in rows:
            lines.append(f'<tr><th scope="row">{first}</th>' + "".join(f"<td>{cell}</td>" for cell in cells) + "</tr>")
        return "\n".join([*lines, "</table>"])

    def figure(self, path: str, svg: str, title: str, key: Sequence[str]) -> str:
        return f"<figure>\n{svg}\n<figcaption>{self.strong(title)}\n{self.bullets(key)}\n</figcaption>\n</figure>"


_LATEX = {
    **{sign: f"\\{sign}" for sign in "&%$#_{}"},
    "\\": "\\textbackslash{}",
    "~": "\\textasciitilde{}",
    "^": "\\textasciicircum{}",
    "<": "\\textless{}",
    ">": "\\textgreater{}",
    "[": "{[}",
    "]": "{]}",
    '"': "''",
    "→": "$\\rightarrow$",
    "≥": "$\\geq$",
    "≤": "$\\leq$",
    "−": "$-$",
    "×": "$\\times$",
    "°": "\\textdegree{}",
    "µ": "\\textmu{}",
}


class Latex(Format):
    """LaTeX; figures are SVG files, which the package svg includes."""

    name = "tex"

    def escape(self, text: str) -> str:
        return "".join(_LATEX.get(sign, sign) for sign in clean(text))

    def cited(self, numbers: str) -> str:
        return f"{{[}}{numbers}{{]}}"

    def strong(self, text: str) -> str:
        return f"\\textbf{{{text}}}"

    def bullets(self, items: Sequence[str]) -> str:
        return "\n".join(["\\begin{itemize}", *(f"\\item {item}" for item in items), "\\end{itemize}"])

    def steps(self, items: Sequence[tuple[str, Sequence[str]]]) -> str:
        lines = ["\\begin{enumerate}"]
        for step, notes in items:
            lines.append(f"\\item {step}" + (f"\n{self.bullets(notes)}" if notes else ""))
        return "\n".join([*lines, "\\end{enumerate}"])

    def references(self, entries: Sequence[tuple[str, str]]) -> str:
        items = (f"\\item[{{[}}{number}{{]}}] {text}" for number, text in entries)
        return "\n".join(["\\begin{description}", *items, "\\end{description}"])

    def table(self, head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
        column = f"p{{{92 // len(head) / 100}\\linewidth}}"
        lines = [f"\\begin{{tabular}}{{{column * len(head)}}}", "\\hline"]
        lines += [" & ".join(self.strong(cell) for cell in head) + " \\\\", "\\hline"]
        lines += [" & ".join(row) + " \\\\" for row in rows]
        return "\n".join([*lines, "\\hline", "\\end{tabular}"])

    def figure(self, path: str, svg: str, title: str, key: Sequence[str]) -> str:
        drawn = f"\\begin{{center}}\n\\includesvg[width=0.8\\linewidth]{{{path}}}\n\\end{{center}}"
        return f"{drawn}\n{self.strong(title)}\n{self.bullets(key)}"

    @property
    def figure_files(self) -> bool:
        return True


_ENDINGS: dict[str, type[Format]] = {
    **dict.fromkeys(("md", "markdown"), Markdown),
    **dict.fromkeys(("html", "htm", "xhtml"), Html),
    **dict.fromkeys(("tex", "latex"), Latex),
}


def format_of(name: str) -> Format:
    """The format of a file by its ending (``.j2`` left out): Markdown, HTML, LaTeX, and for any other plain text."""
    ending = PurePosixPath(name.removesuffix(".j2")).suffix.removeprefix(".").lower()
    return _ENDINGS.get(ending, Format)()


def folder_for(name: str) -> str:
    """The folder of the figures of a rendered text, beside it: a name that no format has to escape."""
    stem = PurePosixPath(name).stem
    return re.sub(r"[^A-Za-z0-9.-]+", "-", stem).strip(".-") + "-figures"
