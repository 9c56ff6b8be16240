"""The house rules of DEVELOPERS.md that a test can check.

Each rule is a function from a text to the faults it finds, so that a planted fault can show
that the rule bites.
"""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = ("customers", "servicing", "scheduler", "tests")
TOP_LEVEL = {
    *PACKAGES,
    *("templates", "manage.py", "pyproject.toml", "docker-compose.yml"),
    *("README.md", "DEVELOPERS.md", "LICENSE", "requirements.lock", "requirements-dev.lock"),
}
PURE = ("servicing.forecasting", "scheduler.routing", "customers.addresses")
VAGUE_NAMES = {"utils", "util", "helpers", "helper", "services", "manager", "managers", "common"}
VAGUE_NAMES |= {"misc", "tools", "lib", "base_classes"}
LONGEST_FILE = 300
LONGEST_TEST_FILE = 400  # a test file is a list of cases, read one by one
LONGEST_FUNCTION = 40
LONGEST_VIEW = 25
# Each of these leaves only what the asker's organisation may see.
SCOPES: tuple[str, ...] = (
    "visible_to(",
    "for_operator(",
    "organisation=",
    "organisation_of(request)",
)
# What belongs to the person who asks, or to the place that a signed link names.
SCOPES += ("memberships__user=user_of(request)", "premises=link.premises")

# What is longer than the rule, and why. An entry that is no longer needed fails too.
LONG_FILES: dict[str, str] = {}
LONG_FUNCTIONS = {
    "scheduler/demo/fleet.py: add_fleet": "a list of invented tankers, crews and works",
    "scheduler/demo/sheet.py: past_installations": "the rows of an invented list",
    "scheduler/demo/systems.py: add_system": "one keyword for each column of a row",
    "scheduler/messages/compose.py: write_down": "one keyword for each column of a row",
    "servicing/forecasts/rows.py: forecast_row": "one keyword for each column of a row",
    "tests/world.py: make_world": "one of everything, in the order in which rows need each other",
}


def files(*suffixes: str, under: tuple[str, ...] = (*PACKAGES, "templates")) -> list[Path]:
    found = [path for folder in under for path in (ROOT / folder).rglob("*")]
    return sorted(p for p in found if p.suffix in suffixes and "__pycache__" not in p.parts)


def named(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


PYTHON = [path for path in files(".py") if "migrations" not in path.parts]
# Django names the plain text of its password mail .html.
PAGES = [p for p in files(".html", under=("templates",)) if not p.name.endswith("_email.html")]
WRITTEN = files(".py", ".html", ".txt", ".css", ".js", ".typ")
WRITTEN += [ROOT / "manage.py", ROOT / "pyproject.toml", ROOT / "README.md", ROOT / "DEVELOPERS.md"]


# --- Rules: text in, faults out ---


def functions(code: str) -> Iterator[tuple[str, ast.FunctionDef | ast.AsyncFunctionDef]]:
    for node in ast.walk(ast.parse(code)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node.name, node


def length(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Count the lines from the signature to the end, without the docstring."""
    lines = (function.end_lineno or function.lineno) - function.lineno + 1
    first = function.body[0]
    if ast.get_docstring(function) is not None:
        lines -= (first.end_lineno or first.lineno) - first.lineno + 1
    return lines


def long_functions(code: str) -> list[str]:
    return [name for name, node in functions(code) if length(node) > LONGEST_FUNCTION]


def long_views(code: str) -> list[str]:
    """Find the views (functions of a request) that do more than fetch, call and render."""
    lines = code.splitlines()
    return [
        name
        for name, view in functions(code)
        if view.args.args
        and view.args.args[0].arg == "request"
        and not name.startswith("_")
        and len(body_lines(view, lines)) > LONGEST_VIEW
    ]


def body_lines(view: ast.FunctionDef | ast.AsyncFunctionDef, lines: list[str]) -> list[str]:
    """Return the lines after the signature and the docstring that are not blank."""
    body = view.body[1:] if ast.get_docstring(view) is not None else view.body
    first = body[0].lineno - 1 if body else view.end_lineno
    return [line for line in lines[first : view.end_lineno] if line.strip()]


def inline_code(page: str) -> list[str]:
    """Find what a strict content security policy would block, or would have to allow."""
    scripts = re.findall(r"<script\b(?![^>]*\bsrc=)[^>]*>", page)
    return scripts + re.findall(r"<style\b|\sstyle\s*=|\son[a-z]+\s*=\s*[\"']|javascript:", page)


def unguarded_forms(page: str) -> list[str]:
    """Find forms that post without the token that proves they are ours."""
    forms = re.findall(
        r"<form\b[^>]*\bmethod=[\"']post[\"'].*?</form>", page, re.DOTALL | re.IGNORECASE
    )
    return [form[:60] for form in forms if not re.search(r"csrf_token|{% crispy ", form)]


def unescaped(page: str) -> list[str]:
    return re.findall(r"\|\s*safe\b|autoescape\s+off", page)


def reminders(text: str) -> list[str]:
    return re.findall(r"\b(?:TO" + r"DO|FIX" + r"ME|X" + r"XX|HA" + r"CK)\b", text)


def machine_paths(text: str) -> list[str]:
    return re.findall(r"(?<![\w.<>:/])/(?:home|root|Users|work|mnt)/\w+", text)


def lookups_past_the_viewer(code: str) -> list[str]:
    """Find rows that a view takes from a whole table by their id, whoever asks."""
    return [
        f"{name}: {asked}"
        for name, function in functions(code)
        for asked in calls_with_names_resolved(function)
        if takes_by_id(asked) and not any(scope in asked for scope in SCOPES)
    ]


def calls_with_names_resolved(function: ast.FunctionDef | ast.AsyncFunctionDef) -> list[str]:
    """Write out each call; a variable stands for what the function last put into it."""
    nodes = list(ast.walk(function))
    put = {
        target.id: ast.unparse(node.value)
        for node in nodes
        if isinstance(node, ast.Assign)
        for target in node.targets
        if isinstance(target, ast.Name)
    }
    calls = [node for node in nodes if isinstance(node, ast.Call)]
    return [
        re.sub(r"(?<![.\w])[a-z_]+(?=[.,])", lambda n: put.get(n[0], n[0]), ast.unparse(call))
        for call in calls
    ]


def takes_by_id(asked: str) -> bool:
    whole_table = re.search(r"\b[A-Z]\w+\.(?:objects|_default_manager)\b", asked)
    if asked.startswith("get_object_or_404("):
        return bool(whole_table or re.match(r"get_object_or_404\([A-Z]\w+,", asked))
    return bool(whole_table and re.search(r"\b(?:pk|id|public_id)(?:__\w+)?=", asked))


# --- The rules hold ---


def too_long_files() -> set[str]:
    """Find long code; a style sheet is a list of rules and may be as long as it needs."""
    lengths = {
        named(path): len(path.read_text("utf-8").splitlines())
        for path in files(".py", ".html", ".js")
        if "migrations" not in path.parts
    }
    limits = {
        name: LONGEST_TEST_FILE if name.startswith("tests/") else LONGEST_FILE for name in lengths
    }
    return {name for name, lines in lengths.items() if lines > limits[name]}


def test_no_file_is_too_long():
    assert too_long_files() == set(LONG_FILES)


def test_no_function_is_too_long():
    found = {f"{named(p)}: {name}" for p in PYTHON for name in long_functions(p.read_text("utf-8"))}
    assert found == set(LONG_FUNCTIONS)


def in_views() -> list[Path]:
    return [path for path in PYTHON if "views" in path.parts]


@pytest.mark.parametrize("path", in_views(), ids=named)
def test_a_view_fetches_through_the_viewer_and_is_short(path: Path):
    code = path.read_text("utf-8")
    assert (long_views(code), lookups_past_the_viewer(code)) == ([], [])


@pytest.mark.parametrize("path", PAGES, ids=named)
def test_a_page_holds_no_code_and_guards_its_forms(path: Path):
    page = path.read_text("utf-8")
    assert (inline_code(page), unguarded_forms(page), unescaped(page)) == ([], [], [])


@pytest.mark.parametrize("rule", [reminders, machine_paths])
def test_nothing_is_left_behind(rule: Callable[[str], list[str]]):
    texts = {named(path): path.read_text("utf-8") for path in WRITTEN if path.exists()}
    assert {name: rule(text) for name, text in texts.items() if rule(text)} == {}


def test_no_module_has_a_vague_name():
    parts = {part for path in PYTHON for part in (*path.relative_to(ROOT).parts[:-1], path.stem)}
    assert parts & VAGUE_NAMES == set()


def test_the_top_level_holds_what_was_agreed():
    found = {p.name for p in ROOT.iterdir() if not p.name.startswith(".")}
    assert found - TOP_LEVEL - {"__pycache__"} == set()


def test_packages_load_nothing_by_themselves():
    texts = [(ROOT / package / "__init__.py").read_text("utf-8") for package in PACKAGES]
    assert "".join(texts).strip() == ""


@pytest.mark.parametrize("package", PURE)
def test_the_mathematics_runs_without_django(package: str):
    """Import every module of the package with Django and Celery made unimportable."""
    script = (
        "import importlib, pkgutil, sys\n"
        "sys.modules.update(django=None, celery=None)\n"
        f"package = importlib.import_module({package!r})\n"
        "for found in pkgutil.walk_packages(package.__path__, package.__name__ + '.'):\n"
        "    importlib.import_module(found.name)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.stderr == ""
    assert done.returncode == 0


def forgetful_marks(code: str) -> list[str]:
    """Find transactional tests that would leave the next one without what migrations laid down."""
    marks = re.findall(r"django_db\([^)]*transaction=True[^)]*\)", code)
    return [mark for mark in marks if "serialized_rollback=True" not in mark]


def test_tests_that_commit_put_the_laid_down_rows_back():
    texts = {named(p): p.read_text("utf-8") for p in PYTHON if "tests" in p.parts}
    assert {name: forgetful_marks(t) for name, t in texts.items() if forgetful_marks(t)} == {}


# --- Locks ---


def pins(lock: str) -> dict[str, list[str]]:
    """Return each pinned line of a lock with its hashes."""
    entries = re.split(r"\n(?=\S)", (ROOT / lock).read_text("utf-8"))
    return {e.split(" \\")[0].strip(): re.findall("--hash=sha256:", e) for e in entries}


@pytest.mark.parametrize("lock", ["requirements.lock", "requirements-dev.lock"])
def test_a_lock_has_a_hash_for_each_pin_and_no_addresses(lock: str):
    text = (ROOT / lock).read_text("utf-8")
    assert re.findall(r"://|--index|--extra|--find", text) == []
    assert [pin for pin, hashes in pins(lock).items() if "==" not in pin or not hashes] == []


def test_the_development_lock_holds_the_runtime_lock():
    assert pins("requirements.lock").items() <= pins("requirements-dev.lock").items()


# --- Each rule finds a planted fault ---

PLANTED: dict[str, tuple[Callable[[str], list[str]], str]] = {
    "long function": (long_functions, "def f():\n" + "    pass\n" * 41),
    "long view": (long_views, "def page(request):\n" + "    pass\n" * 26),
    "inline script": (inline_code, "<script>alert(1)</script>"),
    "handler": (inline_code, '<button onclick="go()">'),
    "inline style": (inline_code, '<p style="color: red">'),
    "form without token": (unguarded_forms, '<form method="post"><button></form>'),
    "unescaped": (unescaped, "{{ note|safe }}"),
    "reminder": (reminders, "# TO" + "DO: later"),
    "forgetful mark": (forgetful_marks, "mark.django_db(transaction" + "=True)"),
    "machine path": (machine_paths, "open('/ho" + "me/someone/file')"),
    "lookup past the viewer": (lookups_past_the_viewer, "def f():\n Job.objects.get(pk=1)"),
    "lookup in two steps": (
        lookups_past_the_viewer,
        "def f():\n jobs = Job.objects.all()\n get_object_or_404(jobs, public_id=1)",
    ),
    "lookup by shortcut": (lookups_past_the_viewer, "def f():\n get_object_or_404(Job, pk=1)"),
}


@pytest.mark.parametrize("planted", PLANTED)
def test_each_rule_finds_a_planted_fault(planted: str):
    rule, fault = PLANTED[planted]
    assert rule(fault)


def test_what_is_right_is_not_called_a_fault():
    page = '<form method="post">{% csrf_token %}</form><script src="a.js" defer></script>'
    assert inline_code(page) + unguarded_forms(page) + unescaped(page) == []
    seen = "def f(user):\n rows = Job.objects.visible_to(user)\n get_object_or_404(rows, pk=1)"
    assert lookups_past_the_viewer(seen) == []
