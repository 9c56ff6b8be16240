"""Celery tasks: each wakes one function up. All may run twice or late without harm."""

from __future__ import annotations

from celery import shared_task
from django.utils import timezone

from customers.local_days import local_today
from customers.models import Organisation
from scheduler import due_work, letters, round_plans, round_upkeep, sale_completion
from scheduler.aftercare import fees, reckoning, renewals
from scheduler.messages import ladder, mailbox, outbox, retention
from servicing.forecasts import check_forecasts, learn_fleet_of, value_dips
from servicing.forecasts import refresh_forecasts as refresh
from servicing.models import System

FORECAST_SHARD = 5000


@shared_task
def drain_outbox() -> None:
    """Send what waits in the outbox."""
    outbox.drain()


@shared_task
def write_reminders() -> None:
    """Put the reminders of the ladder into the outbox."""
    ladder.plan_reminders()


@shared_task
def poll_replies() -> None:
    """Take in the answers that wait in the mailbox, if one is set up."""
    mailbox.poll_replies()


@shared_task
def forget_raw_replies() -> None:
    """Forget what old answers said word by word."""
    retention.forget_raw_replies(now=timezone.now())


@shared_task
def refresh_forecasts() -> None:
    """Hand out the forecasts of every organisation in shards of ids that workers share."""
    ids = list(System.objects.in_use().order_by("pk").values_list("pk", flat=True))
    for start in range(0, len(ids), FORECAST_SHARD):
        shard = ids[start : start + FORECAST_SHARD]
        refresh_forecast_shard.delay(shard[0], shard[-1])


@shared_task
def refresh_forecast_shard(first: int, last: int) -> None:
    """Forecast the systems with these ids, each organisation on its own local day."""
    shard = System.objects.filter(pk__range=(first, last))
    ids = shard.values_list("organisation", flat=True).distinct()
    for organisation in Organisation.objects.filter(pk__in=list(ids)):
        refresh(systems=shard.filter(organisation=organisation), today=local_today(organisation))


@shared_task
def learn_from_fleets() -> None:
    """Learn from each organisation's new measurements, hold forecasts against them, value dips."""
    for pk in Organisation.objects.order_by("pk").values_list("pk", flat=True):
        learn_from_fleet.delay(pk)


@shared_task
def learn_from_fleet(organisation_id: int) -> None:
    """What one organisation's measurements teach and show."""
    organisation = Organisation.objects.select_related("profile").get(pk=organisation_id)
    today = local_today(organisation)
    learn_fleet_of(organisation, today=today)
    check_forecasts(organisation, today=today)
    value_dips(organisation, today=today)


@shared_task
def make_due_jobs() -> None:
    """Turn what falls due into jobs."""
    for organisation in Organisation.objects.all():
        due_work.make_due_jobs(organisation=organisation, today=local_today(organisation))


@shared_task
def complete_due_sales() -> None:
    """Hand over the places whose day of completion has come."""
    sale_completion.complete_due_sales(now=timezone.now())


@shared_task
def renew_agreements() -> None:
    """Write renewal notices, see that they got out, and renew or hold what has come to its end."""
    renewals.run_renewals(now=timezone.now())


@shared_task
def reckon_charges() -> None:
    """Reckon visits, and write the fees that have fallen due."""
    for organisation in Organisation.objects.select_related("profile"):
        reckoning.reckon_visits_of(organisation)
        fees.charge_fees_of(organisation, today=local_today(organisation))


@shared_task
def run_plan(run_id: int) -> None:
    """Work one run of the planner to its end."""
    round_plans.run_plan(run_id)


@shared_task
def wake_waiting_plans() -> None:
    """Start plans whose own waking was lost with a queue."""
    for run_id in round_plans.waiting_runs():
        run_plan.delay(run_id)


@shared_task
def tidy_rounds() -> None:
    """Take visits that no longer stand off the accepted rounds."""
    round_upkeep.tidy_rounds()


@shared_task
def lay_out_letters(batch_id: int) -> None:
    """Lay a batch of letters out for the printer."""
    letters.lay_out(batch_id)
