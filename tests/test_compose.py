"""docker-compose.yml and the image name what exists. No engine runs them here."""

from __future__ import annotations

import importlib
import re
from pathlib import Path
from typing import Any

import pytest
import yaml
from django.core.management import get_commands

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="module")
def compose() -> dict[str, Any]:
    loaded: dict[str, Any] = yaml.safe_load((ROOT / "docker-compose.yml").read_text())
    return loaded


def ours(compose: dict[str, Any]) -> dict[str, Any]:
    return {name: s for name, s in compose["services"].items() if s["image"] == "ebbmark"}


def test_each_service_of_ours_is_built_from_a_file_that_exists(compose: dict[str, Any]):
    assert set(ours(compose)) == {"migrate", "web", "worker", "beat"}
    for service in ours(compose).values():
        assert (ROOT / service["build"]["dockerfile"]).is_file()


def test_each_service_waits_for_services_that_exist(compose: dict[str, Any]):
    for service in ours(compose).values():
        assert set(service["depends_on"]) <= set(compose["services"])


def test_volumes_are_declared(compose: dict[str, Any]):
    used = {v.split(":")[0] for s in compose["services"].values() for v in s.get("volumes", [])}
    assert used == set(compose["volumes"])


def test_the_commands_name_modules_and_commands_that_exist(compose: dict[str, Any]):
    for name in ("worker", "beat"):
        application = compose["services"][name]["command"][1].removeprefix("--app=")
        assert importlib.import_module(application).app.main == "ebbmark"
    assert compose["services"]["migrate"]["command"][:3] == ["python", "manage.py", "migrate"]
    assert "migrate" in get_commands()


def test_there_is_one_beat(compose: dict[str, Any]):
    services = compose["services"].values()
    assert sum("beat" in service.get("command", []) for service in services) == 1


def test_the_image_starts_a_server_that_exists_and_copies_files_that_exist():
    image = (ROOT / ".docker" / "Dockerfile").read_text()
    assert callable(importlib.import_module("scheduler.wsgi").application)
    assert 'CMD ["gunicorn", "scheduler.wsgi"' in image
    for copied in re.findall(r"^COPY (\S+)", image, flags=re.MULTILINE):
        assert (ROOT / copied).exists()
