"""The sandbox in which a manuscript runs: what it may name and call, and how much it may do.

A manuscript may come from somebody else. It reaches no file, no network and no Python object: what it may look at is
texts, numbers, lists, mappings and loops, and what it may call are the functions of the rules and a few harmless ones
on those. What it does is counted in turns of loops and signs of text, not in seconds, so that the same manuscript ends
the same way on every machine.
"""

import sys
from collections.abc import Callable, Mapping, Sequence
from types import CodeType, TracebackType
from typing import Any

from jinja2 import StrictUndefined, Template, TemplateSyntaxError, nodes
from jinja2.exceptions import SecurityError
from jinja2.runtime import Context, LoopContext, Macro
from jinja2.sandbox import ImmutableSandboxedEnvironment
from jinja2.utils import Namespace
from markupsafe import Markup

from trayconcord.kb.errors import Complaint, Place, UnusableInput, nearest

MOST_WORK = 20_000_000
"""What one pass over a manuscript may do: signs of text made, and what turns of loops and calls count for."""
MOST_OUTPUT = 10_000_000
"""Signs of a rendered manuscript."""
TURN, CALL = 500, 1_000
"""What a turn of a loop, and a call of a function of the rules, count for."""
LARGEST = 10**12
"""The largest number that a manuscript may count with."""

_TEXT = {
    "upper", "lower", "capitalize", "title", "strip", "lstrip", "rstrip", "startswith", "endswith", "split",
}  # fmt: skip
_ALLOWED: dict[type, set[str]] = {
    str: _TEXT,
    dict: {"items", "keys", "values", "get"},
    LoopContext: {
        "index", "index0", "revindex", "revindex0", "first", "last", "length", "depth", "depth0", "previtem",
        "nextitem", "cycle", "changed",
    },
}  # fmt: skip
_FILTERS = (
    "upper", "lower", "capitalize", "title", "trim", "length", "count", "first", "last", "sort", "unique", "reverse",
    "list", "default", "d", "int", "float", "round", "abs", "min", "max", "escape", "e", "safe", "string",
    "items", "dictsort",
)  # fmt: skip
_GLOBALS = ("range", "dict", "namespace")
TICK, JOINED = "_tick", "_joined"


class TooMuch(Exception):
    """A manuscript that does more than one can need."""


class Sandbox(ImmutableSandboxedEnvironment):
    """The environment of one pass over one manuscript."""

    intercepted_binops = frozenset(("+", "-", "*", "/", "//", "**", "%"))

    def __init__(
        self, functions: Mapping[str, Callable[..., Any]], finalize: Callable[[Any], Any], html: bool, latex: bool
    ) -> None:
        marks = ("\\BLOCK{", "}", "\\VAR{", "}", "\\#{", "}") if latex else ("{%", "%}", "{{", "}}", "{#", "#}")
        super().__init__(
            *marks,
            autoescape=html,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
            keep_trailing_newline=True,
            finalize=finalize,
            cache_size=0,
        )
        self.work = 0
        plain = {name: self.globals[name] for name in _GLOBALS}
        self.globals = {**plain, TICK: self.spend, JOINED: self._joined, **functions}
        self._callable = tuple(self.globals.values())
        kept = {name: self._counted(self.filters[name]) for name in _FILTERS}
        self.filters = {**kept, "join": self._join, "replace": self._replace, "indent": self._indent}

    # --- how much ------------------------------------------------------------------------------------------------

    def spend(self, amount: int) -> str:
        """Count some work. Raises `TooMuch`."""
        self.work += amount
        if self.work > MOST_WORK:
            raise TooMuch
        return ""

    def made(self, value: Any) -> Any:
        """A value that the manuscript made, once its size is counted."""
        if isinstance(value, (str, list, tuple, dict)):
            self.spend(len(value) + 1)
        return value

    def _counted(self, function: Callable[..., Any]) -> Callable[..., Any]:
        def counted(*arguments: Any, **keywords: Any) -> Any:
            return self.made(function(*arguments, **keywords))

        for mark in ("jinja_pass_arg",):
            if hasattr(function, mark):
                setattr(counted, mark, getattr(function, mark))
        return counted

    def _joined(self, *parts: Any) -> str:
        texts = [part if isinstance(part, str) else str(part) for part in parts]
        self.spend(sum(map(len, texts)))
        return Markup("").join(texts) if any(isinstance(text, Markup) for text in texts) else "".join(texts)

    def _join(self, parts: Sequence[Any], between: str = "") -> str:
        pieces: list[Any] = []
        for part in parts:
            pieces += [between, part] if pieces else [part]
            self.spend(1)
        return self._joined(*pieces)

    def _replace(self, text: str, old: str, new: str) -> str:
        text, old, new = (part if isinstance(part, str) else str(part) for part in (text, old, new))
        self.spend(len(text) + (text.count(old) if old else len(text) + 1) * len(new))
        return text.replace(old, new)

    def _indent(self, text: str, width: int = 4, first: bool = False) -> str:
        if not isinstance(width, int) or not 0 <= width <= 40:
            raise SecurityError("indent takes a width from 0 to 40")
        lines = str(text).split("\n")
        shifted = [" " * width + line if line and (number or first) else line for number, line in enumerate(lines)]
        self.spend(sum(map(len, shifted)) + len(shifted))
        return type(text)("\n".join(shifted)) if isinstance(text, Markup) else "\n".join(shifted)

    # --- what ----------------------------------------------------------------------------------------------------

    def is_safe_attribute(self, obj: Any, attr: str, value: Any) -> bool:
        """Only what is listed: methods of texts and mappings that read, and what a loop says of itself."""
        return any(isinstance(obj, kind) and attr in names for kind, names in _ALLOWED.items()) or (
            isinstance(obj, Namespace) and not attr.startswith("_")
        )

    def wrap_str_format(self, value: Any) -> None:
        """Formats can make a text of any length: they are not among what is allowed."""

    def is_safe_callable(self, obj: Any) -> bool:
        """Only our own functions, macros, and what `is_safe_attribute` lets through."""
        if any(obj is known for known in self._callable) or isinstance(obj, Macro):
            return True
        owner = getattr(obj, "__self__", None)
        return any(
            isinstance(owner, kind) and getattr(obj, "__name__", "") in names for kind, names in _ALLOWED.items()
        )

    def call(__self, __context: Context, __obj: Any, *args: Any, **kwargs: Any) -> Any:
        """Call what may be called, and count what it makes."""
        return __self.made(super().call(__context, __obj, *args, **kwargs))

    def call_binop(self, context: Context, operator: str, left: Any, right: Any) -> Any:
        """Arithmetic with numbers of a sensible size; + joins texts and lists too."""
        if operator == "+" and type(left) is type(right) and isinstance(left, (str, list)):
            self.spend(len(left) + len(right))
            return left + right
        if operator != "**" and all(isinstance(n, (int, float)) and abs(n) <= LARGEST for n in (left, right)):
            return super().call_binop(context, operator, left, right)
        raise SecurityError(f"{operator} is for numbers up to {LARGEST:,}" + (", ** for none" * (operator == "**")))


# --- compiling ---------------------------------------------------------------------------------------------------


def compiled(environment: Sandbox, source: str, name: str) -> Template:
    """A manuscript, checked as far as that goes before it runs. Raises `UnusableInput` with everything found."""
    try:
        tree = environment.parse(source)
        complaints = list(_unknown(tree, environment, name))
        if complaints:
            raise UnusableInput(complaints)
        _prepare(tree, environment)
        code: CodeType = environment.compile(tree, name, _file(name))
    except TemplateSyntaxError as error:
        raise UnusableInput([_syntax(error, environment, name)]) from None
    except RecursionError:
        raise UnusableInput([Complaint(Place(name), "is nested too deeply", "take it apart")]) from None
    except ValueError:  # of Python, for a number of thousands of digits
        raise UnusableInput([Complaint(Place(name), "a number is too long", "shorten it")]) from None
    except SyntaxError as error:  # what Jinja lets through to Python
        raise UnusableInput([Complaint(Place(name), str(error.msg), "put it more simply")]) from None
    return Template.from_code(environment, code, environment.make_globals(None))


def _file(name: str) -> str:
    return f"<manuscript {name}>"


def _syntax(error: TemplateSyntaxError, environment: Sandbox, name: str) -> Complaint:
    message = (error.message or "cannot be understood").rstrip(".")
    fix = f"write {environment.variable_start_string} … {environment.variable_end_string} and close what you open"
    if message.startswith("No filter named"):
        fix = f"there are: {', '.join(sorted(environment.filters))}"
    return Complaint(Place(name, error.lineno), message[0].lower() + message[1:], fix)


def _unknown(tree: nodes.Template, environment: Sandbox, name: str) -> list[Complaint]:
    """Names that stand for nothing, and statements that would reach for another file."""
    from jinja2.meta import find_undeclared_variables

    found = []
    for node in tree.find_all((nodes.Include, nodes.Import, nodes.FromImport, nodes.Extends)):
        word = {"FromImport": "import"}.get(type(node).__name__, type(node).__name__.lower())
        fix = "put the text here, or put the rendered texts together in your own build"
        found.append(Complaint(Place(name, node.lineno), f"{word}: a manuscript stands alone", fix))
    for call in tree.find_all((nodes.Call, nodes.Filter, nodes.Test)):
        assert isinstance(call, nodes.Call | nodes.Filter | nodes.Test)
        given = [keyword.key for keyword in call.kwargs]
        twice = next((key for key in given if given.count(key) > 1), None)
        if twice:
            found.append(Complaint(Place(name, call.lineno), f"{twice} is given twice", "give it once"))
    known = set(environment.globals) - {TICK, JOINED}
    missing = find_undeclared_variables(tree) - known
    for used in tree.find_all(nodes.Name):
        if used.name in (missing | {"self"}) and used.ctx == "load":
            near = nearest(used.name, sorted(known))
            fix = f"did you mean {near}?" if near else f"functions are: {', '.join(sorted(known))}"
            found.append(Complaint(Place(name, used.lineno), f"{used.name} is not defined", fix))
        elif used.name in (TICK, JOINED) or (used.name in known and used.ctx != "load"):
            found.append(Complaint(Place(name, used.lineno), f"{used.name} has a meaning already", "take another name"))
    return found


def _prepare(tree: nodes.Template, environment: Sandbox) -> None:
    """Let every turn of a loop and every run of a macro be counted, and every joining of texts. An ``if`` within an
    expression that has no ``else`` gives nothing, as authors expect."""
    bodies: tuple[type[nodes.For], ...] = (nodes.For, nodes.Macro, nodes.CallBlock)  # type: ignore[assignment]
    for node in list(tree.find_all(bodies)):
        cost = TURN + sum(len(data.data) for data in node.find_all(nodes.TemplateData))
        call = nodes.Call(nodes.Name(TICK, "load"), [nodes.Const(cost)], [], None, None)
        node.body.insert(0, nodes.ExprStmt(call).set_lineno(node.lineno))
    _rewrite(tree)
    tree.set_environment(environment)


def _rewrite(node: nodes.Node) -> None:
    for field, value in node.iter_fields():
        if isinstance(value, list):
            setattr(node, field, [_rewritten(item) for item in value])
        else:
            setattr(node, field, _rewritten(value))
    for child in node.iter_child_nodes():
        _rewrite(child)


def _rewritten(node: Any) -> Any:
    if isinstance(node, nodes.Concat):
        return nodes.Call(nodes.Name(JOINED, "load"), node.nodes, [], None, None).set_lineno(node.lineno)
    if isinstance(node, nodes.CondExpr) and node.expr2 is None:
        node.expr2 = nodes.Const("", lineno=node.lineno)
    return node


# --- running -----------------------------------------------------------------------------------------------------


def line_now(template: Template) -> int:
    """The line of the manuscript that is being run, seen from a function that it calls; 0 where there is none."""
    frame = sys._getframe(1)
    while frame is not None:
        if frame.f_code.co_filename == template.filename:
            return template.get_corresponding_lineno(frame.f_lineno)
        if frame.f_back is None:
            break
        frame = frame.f_back
    return 0


def run(template: Template, environment: Sandbox, name: str) -> str:
    """What a manuscript comes to. Raises `UnusableInput`, at the line where it went wrong."""
    parts, length = [], 0
    try:
        for part in template.root_render_func(template.new_context()):
            length += len(part)
            if length > MOST_OUTPUT:
                raise TooMuch
            parts.append(part)
    except UnusableInput:
        raise
    except Exception as error:  # whatever a manuscript can raise is the manuscript's
        line, ours = _line_of(error.__traceback__, template)
        if ours:
            raise
        raise UnusableInput([Complaint(Place(name, line), *_told(error))]) from None
    return "".join(parts)


def _line_of(trace: TracebackType | None, template: Template) -> tuple[int, bool]:
    """The line of the manuscript at which an error came up, and whether it came up in this package instead."""
    line, ours = 0, False
    while trace is not None:
        file = trace.tb_frame.f_code.co_filename
        if file == template.filename:
            line, ours = template.get_corresponding_lineno(trace.tb_lineno), False
        else:
            module = str(trace.tb_frame.f_globals.get("__name__", ""))
            ours = module.partition(".")[0] == "trayconcord" and module != __name__
        trace = trace.tb_next
    return line, ours


def _told(error: Exception) -> tuple[str, str]:
    if isinstance(error, TooMuch):
        return "this manuscript does too much", "loop over less, or make less text"
    if isinstance(error, RecursionError):
        return "a macro calls itself without end", "let it end"
    message = " ".join(str(error).split())[:300] or type(error).__name__
    if isinstance(error, SecurityError):
        return f"not allowed in a manuscript: {message}", "use the functions: trayconcord render --functions"
    return message, "mend the expression; trayconcord render --functions explains the functions"
