"""README.md and DEVELOPERS.md name files, functions, commands and variables that exist."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.core.management import get_commands

ROOT = Path(__file__).resolve().parent.parent
GUIDES = ("README.md", "DEVELOPERS.md")
# Made by running the project, or in every package.
NOT_ONE_FILE = {".venv", ".ebbmark/", ".ebbmark/mail/", "__init__.py"}


def code_in(guide: str) -> list[str]:
    """Return what a guide sets as code inside a line."""
    text = re.sub(
        r"^```.*?^```", "", (ROOT / guide).read_text("utf-8"), flags=re.MULTILINE | re.DOTALL
    )
    return re.findall(r"`([^`\n]+)`", text)


def paths_in(guide: str) -> list[str]:
    """Return what looks like a file or a folder of the project, `file: function` included."""
    looks = re.compile(r"[\w.-]+(?:/[\w.-]+)*(?:/|\.(?:py|md|html|yml|toml|json|lock))")
    found = [code.split(": ")[0] for code in code_in(guide)]
    return [path for path in found if looks.fullmatch(path) and path not in NOT_ONE_FILE]


@pytest.mark.parametrize("guide", GUIDES)
def test_every_file_that_is_named_exists(guide: str):
    missing = [path for path in paths_in(guide) if not (ROOT / path).exists()]
    assert paths_in(guide)
    assert missing == []


def test_every_name_in_a_file_that_is_named_exists():
    pairs = [code.split(": ") for code in code_in("DEVELOPERS.md") if ".py: " in code]
    assert pairs
    for path, name in pairs:
        assert re.search(rf"\b(?:def|class) {name}\b", (ROOT / path).read_text("utf-8")), name


@pytest.mark.parametrize("guide", GUIDES)
def test_every_command_that_is_named_exists(guide: str):
    text = (ROOT / guide).read_text("utf-8")
    named = set(re.findall(r"manage\.py ([a-z_]+)", text)) - {"test", "makes"}
    assert named <= set(get_commands())


def test_every_setting_in_the_readme_is_in_the_example():
    table = (ROOT / "README.md").read_text("utf-8").split("## Settings")[1].split("## ")[0]
    named = set(re.findall(r"`([A-Z][A-Z_]+)`", table))
    example = (ROOT / ".env.example").read_text("utf-8")
    listed = set(re.findall(r"^#?([A-Z_]+)=", example, flags=re.MULTILINE))
    assert named <= listed


def test_the_top_folders_are_all_on_the_map():
    named = set(paths_in("DEVELOPERS.md"))
    packages = [p.parent for p in ROOT.glob("[cst]*/**/__init__.py") if "tests" not in p.parts]
    shown = [p for p in packages if len(p.relative_to(ROOT).parts) == 1]
    assert {f"{path.relative_to(ROOT).as_posix()}/" for path in shown} <= named
