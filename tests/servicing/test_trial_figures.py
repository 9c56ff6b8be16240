"""README, the manager's page and the results a benchmark printed say the same."""

import re
from pathlib import Path

import pytest
from django.urls import reverse

from servicing.forecasts.trial_figures import TRIALS, TRIED_ON
from tests.make import make_organisation, make_user

ROOT = Path(__file__).parents[2]
RESULTS = (ROOT / "tests" / "benchmarks" / "forecasting_results.md").read_text("utf-8")
README = (ROOT / "README.md").read_text("utf-8")


def printed(trial):
    """Coverage in percent and log error after 0-3 dips, as the results file has them."""
    row = rf"\| {trial.called} \| {trial.taught_by} \| \d \| ([\d.]+)% \| [\d.]+% \| ([\d.]+) \|"
    return [(float(held), float(error)) for held, error in re.findall(row, RESULTS)]


@pytest.mark.parametrize("trial", TRIALS, ids=lambda one: f"{one.called}, {one.taught_by}")
def test_the_figures_are_those_the_benchmark_printed(trial):
    rows = printed(trial)
    assert len(rows) == 4
    for (held, error), said, off in zip(rows, trial.held_percent, trial.log_error, strict=True):
        assert said == pytest.approx(held, abs=0.501)
        assert off == pytest.approx(error, abs=0.00501)


@pytest.mark.parametrize("trial", TRIALS, ids=lambda one: f"{one.called}, {one.taught_by}")
def test_the_readme_has_every_row(trial):
    held = " / ".join(map(str, trial.held_percent))
    errors = " / ".join(f"{error:.2f}" for error in trial.log_error)
    row = f"| {trial.world} | {trial.taught_by} | {held} % | {errors} |"
    assert row in README.replace("**", "")


def test_every_world_of_the_report_is_among_them():
    worlds = set(re.findall(r"^\| ([a-z0-9 ]+) \| (?:book|fleet) \| 0 \|", RESULTS, re.MULTILINE))
    assert worlds == {trial.called for trial in TRIALS}
    assert f"{TRIED_ON.day} {TRIED_ON:%B %Y}" in RESULTS
    assert f"{TRIED_ON.day} {TRIED_ON:%B %Y}" in README


@pytest.mark.django_db
def test_the_manager_reads_the_same_rows_misfits_included(client):
    client.force_login(make_user(make_organisation()))
    page = " ".join(client.get(reverse("servicing:track_record")).content.decode().split())
    for trial in TRIALS:
        assert " / ".join(map(str, trial.held_percent)) in page
    assert page.count("falls short") == sum(trial.falls_short for trial in TRIALS) == 1
    assert "No field data exist yet" in page
