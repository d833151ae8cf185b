"""What a manuscript cannot do: reach out of its sandbox, run without end, or fill the memory.

The attempts are the well-known ones against templates, as collected in OWASP's Web Security Testing Guide, "Testing for
Server-side Template Injection", and in Jinja's own notes on its sandbox.
"""

import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trayconcord.generators.manuscripts.rendering import LONGEST, render
from trayconcord.kb.errors import UnusableInput
from trayconcord.kb.store import Store, load
from trayconcord.shapes.compare import Comparison

STORE: Store = load(only=True)
COMPARISON = Comparison(STORE)


def refused(text: str, name: str = "text.md.j2") -> str:
    with pytest.raises(UnusableInput) as error:
        render(text, STORE, COMPARISON, name=name)
    assert all(complaint.fix for complaint in error.value.complaints)
    return "\n".join(map(str, error.value.complaints))


ESCAPES = [
    "{{ ''.__class__.__mro__[1].__subclasses__() }}",
    "{{ ''['__class__'] }}",
    "{{ ''|attr('__class__') }}",
    "{{ ''|attr('\\x5f\\x5fclass\\x5f\\x5f') }}",
    "{{ ''['\\x5f\\x5fclass\\x5f\\x5f'] }}",
    "{{ [].__class__.__base__ }}",
    "{{ {}.__class__ }}",
    "{{ ().__class__ }}",
    "{{ (1).__class__ }}",
    "{{ value.__globals__ }}",
    "{{ value.__self__ }}",
    "{{ value.func }}",
    "{{ value.func.__self__.functions.store }}",
    "{{ value.keywords }}",
    "{{ value.__init__.__globals__['os'].popen('id').read() }}",
    "{{ range.__init__ }}",
    "{{ dict.__base__ }}",
    "{{ dict.mro() }}",
    "{{ namespace.__init__.__globals__ }}",
    "{{ namespace(a=1).__class__ }}",
    "{{ cycler.__init__.__globals__.os.popen('id').read() }}",
    "{{ joiner.__init__.__globals__ }}",
    "{{ lipsum.__globals__['os'].popen('id').read() }}",
    "{{ self }}",
    "{{ self.__init__.__globals__.__builtins__ }}",
    "{{ self._TemplateReference__context.cycler }}",
    "{{ config.items() }}",
    "{{ request.application.__globals__ }}",
    "{{ get_flashed_messages.__globals__ }}",
    "{{ url_for.__globals__ }}",
    "{% for c in [].__class__.__base__.__subclasses__() %}{{ c }}{% endfor %}",
    "{% macro m() %}{% endmacro %}{{ m.__globals__ }}",
    "{% macro m() %}{% endmacro %}{{ m._func }}",
    "{% macro m() %}{% endmacro %}{{ m.name.__class__ }}",
    "{% for a in [1] %}{{ loop.__class__ }}{% endfor %}",
    "{% for a in [1] %}{{ loop._iterator.gi_frame }}{% endfor %}",
    "{{ ''.format('x') }}",
    "{{ '{0.__class__}'.format(1) }}",
    "{{ '{x.__class__}'.format_map({'x': 1}) }}",
    "{{ '%s'|format(1) }}",
    "{{ ['a']|map('upper')|list }}",
    "{{ ['a']|map(attribute='__class__')|list }}",
    "{{ ['a', 'b']|sort(attribute='__class__') }}",
    "{{ ['a']|groupby('__class__') }}",
    "{{ [{}]|selectattr('__class__')|list }}",
    "{{ ['a', 'b']|min(attribute='__class__') }}",
    "{{ [1].append(2) }}",
    "{{ {}.update({}) }}",
    "{{ 'a'.encode() }}",
    "{{ 'a'.join(['b']) }}",
    "{{ open('/etc/passwd').read() }}",
    "{{ __import__('os') }}",
    "{{ import('os') }}",
    "{{ debug() }}",
    "{% debug %}",
    "{% do 1 %}",
    "{% include '/etc/passwd' %}",
    "{% include 'other.md.j2' %}",
    "{% import 'other.md.j2' as other %}",
    "{% from 'other.md.j2' import m %}",
    "{% extends 'other.md.j2' %}",
    "{{ _tick(-1000000) }}",
    "{{ _joined('a') }}",
    "{% set value = 1 %}",
    "{{ value(''.__class__) }}",
    "{{ value(value) }}",
    "{{ figure('../../etc/passwd') }}",
    "{{ value('border-clearance', **{'self': 1}) }}",
]


@pytest.mark.parametrize("text", ESCAPES)
def test_a_way_out_is_closed_with_a_message(text: str) -> None:
    told = refused(text)
    assert told.startswith("text.md.j2:1: ")
    assert "root:" not in told


BOMBS = [
    "{% for a in range(99999) %}{% for b in range(99999) %}{% endfor %}{% endfor %}",
    "{% for a in range(10000000) %}{% endfor %}",
    "{{ 'a' * 1000000000 }}",
    "{{ [1] * 1000000000 }}",
    "{{ 9 ** 999999999 }}",
    "{{ 2 ** 2 }}",
    "{{ '%1000000000d' % 1 }}",
    "{{ 'a'|center(1000000000) }}",
    "{{ 'a'.ljust(1000000000) }}",
    "{{ 'a'.zfill(1000000000) }}",
    "{{ 'a'|indent(1000000000) }}",
    "{{ 'a\\na'|indent(-1) }}",
    "{% set n = namespace(x='a') %}{% for i in range(99) %}{% set n.x = n.x ~ n.x %}{% endfor %}",
    "{% set n = namespace(x='a') %}{% for i in range(99) %}{% set n.x = n.x + n.x %}{% endfor %}",
    "{% set n = namespace(x=[1]) %}{% for i in range(99) %}{% set n.x = n.x + n.x %}{% endfor %}",
    "{% set n = namespace(x='a') %}{% for i in range(99) %}{% set n.x = n.x|replace('a', 'aa') %}{% endfor %}",
    "{% set n = namespace(x='a') %}{% for i in range(99) %}{% set n.x = [n.x, n.x]|join %}{% endfor %}",
    "{% set n = namespace(x='a') %}{% for i in range(99) %}{% set y %}{{ n.x }}{{ n.x }}{% endset %}"
    "{% set n.x = y %}{% endfor %}",
    "{% set n = namespace(x=9) %}{% for i in range(99) %}{% set n.x = n.x * n.x %}{% endfor %}",
    "{% macro m(n) %}{{ m(n + 1) }}{% endmacro %}{{ m(0) }}",
    "{% macro m(n) %}{% if n %}{{ m(n - 1) }}{{ m(n - 1) }}{% endif %}{% endmacro %}{{ m(60) }}",
    "{% for a in range(99999) %}" + "a" * 300 + "{% endfor %}",
    "{% for a in range(99999) %}{{ value('border-clearance', silent='say') }}{% endfor %}",
    "{% for a in range(99999) %}{% set x = range(99999)|list %}{% endfor %}",
    "{{ " + "(" * 3000 + "1" + ")" * 3000 + " }}",
    "{% if 1 %}" * 3000 + "{% endif %}" * 3000,
    "a" * (LONGEST + 1),
]


@pytest.mark.parametrize("text", BOMBS, ids=lambda text: text[:60])
def test_what_would_not_end_is_stopped(text: str) -> None:
    start = time.process_time()
    assert refused(text)
    assert time.process_time() - start < 20  # it takes less than two; a bomb takes hours or all memory


@pytest.mark.parametrize(
    ("text", "printed"),
    [
        ("{% for n in range(3) %}{{ n }}{{ ', ' if not loop.last }}{% endfor %}", "0, 1, 2"),
        ("{% set n = namespace(x=1) %}{% for i in range(3) %}{% set n.x = n.x * 2 %}{% endfor %}{{ n.x }}", "8"),
        ("{% macro m(x, y='b') %}<{{ x ~ y }}>{% endmacro %}{{ m('a') }}{{ m('c', y=1) }}", "<ab><c1>"),
        ("{% macro m() %}[{{ caller() }}]{% endmacro %}{% call m() %}in{% endcall %}", "[in]"),
        ("{{ ['b', 'a']|sort|join(', ') }} {{ 'a-b'|replace('-', '_')|upper }}", "a, b A_B"),
        ("{{ 'one two'.split()[1] }} {{ {'a': 1}.get('b', 2) }} {{ 7 // 2 }} {{ 'x'|indent(2, true) }}", "two 2 3   x"),
        ("{% for k, v in {'a': 1}.items() %}{{ k }}{{ v }}{% else %}none{% endfor %}", "a1"),
        ("{% if 'a' == 'b' %}x{% elif 1 is odd %}odd{% endif %} {{ missing|default('d') }}", None),
        ("{% filter upper %}a{% endfilter %}{% raw %}{{ x }}{% endraw %}{# note #}", "A{{ x }}"),
        ("{% with a = 2 %}{{ a }}{% endwith %}{% block b %}in{% endblock %}", "2in"),
    ],
)  # fmt: skip
def test_what_an_author_needs_is_there(text: str, printed: str | None) -> None:
    if printed is None:
        assert "missing is not defined" in refused(text)
    else:
        assert render(text, STORE, COMPARISON).text == printed


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("a\n{{ 1 + }}", "text.md.j2:2: "),
        ("a\n\n{% for x in [1] %}", "text.md.j2:3: "),
        ("{{ 'a'|uper }}", "text.md.j2:1: no filter named 'uper'"),
        ("{{ 1 }}\n{{ nothing }}", "text.md.j2:2: nothing is not defined"),
        ("a\n{{ 1 / 0 }}", "text.md.j2:2: division by zero"),
        ("a\n{{ {'a': 1}.b }}", "text.md.j2:2: "),
        ("{{ value('x' }}", "text.md.j2:1: "),
        ("a\n{{ value('x', fit='a', fit='b') }}", "text.md.j2:2: fit is given twice"),
        (f"{{{{ {'9' * 5000} }}}}", "text.md.j2: a number is too long"),
        ("{% nonsense %}", "text.md.j2:1: encountered unknown tag 'nonsense'"),
    ],
)
def test_a_slip_is_told_at_its_line(text: str, told: str) -> None:
    assert refused(text).startswith(told)


def test_latex_has_marks_of_its_own() -> None:
    text = "\\newcommand{\\x}[1]{{#1}} % {% comment\n\\VAR{ 1 + 1 } \\BLOCK{ if true }yes\\BLOCK{ endif }\\#{ note }.\n"
    assert render(text, STORE, COMPARISON, name="a.tex.j2").text == "\\newcommand{\\x}[1]{{#1}} % {% comment\n2 yes.\n"


@given(st.text("{}%#\\ab'\"[]().|~*+-_,:= \n1", max_size=40))
@settings(max_examples=200)
def test_no_text_raises_anything_but_unusable_input(text: str) -> None:
    for around in ("", "{{ ", "{% "):
        try:
            render(around + text, STORE, COMPARISON)
        except UnusableInput as refused:
            assert all(complaint.fix for complaint in refused.complaints)


def test_signs_that_mark_passages_cannot_be_forged() -> None:
    done = render("\ufdd00\ufdd1forged\ufdd2 {{ '\\ufdd00\\ufdd1too\\ufdd2' }}", STORE, COMPARISON)
    assert done.text == "forged too"
    assert done.passages == []
