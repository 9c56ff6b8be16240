"""Numbers for a Prometheus server: read from the database, so any process may be asked.

Nothing here names a customer or an organisation. The page exists only when METRICS_TOKEN is
set, and for those who send it.
"""

from collections.abc import Iterator

from django.conf import settings
from django.db.models import Count, Min
from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.crypto import constant_time_compare
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.registry import Collector

from scheduler import sweeps
from scheduler.models import Job, Message

PLAIN_TEXT = "text/plain; version=0.0.4; charset=utf-8"


@require_safe
@never_cache
def metrics(request: HttpRequest) -> HttpResponse:
    """Show the numbers to whoever sends `Authorization: Bearer <METRICS_TOKEN>`."""
    expected = f"Bearer {settings.METRICS_TOKEN}"
    sent = request.headers.get("Authorization", "")
    if not settings.METRICS_TOKEN or not constant_time_compare(sent, expected):
        raise Http404
    registry = CollectorRegistry()
    registry.register(StateOfWork())
    return HttpResponse(generate_latest(registry), content_type=PLAIN_TEXT)


class StateOfWork(Collector):
    """How much work there is in each state, and how late the background work is."""

    def describe(self) -> list[GaugeMetricFamily]:
        """Return nothing: registering must not query the database."""
        return []

    def collect(self) -> Iterator[GaugeMetricFamily]:
        """Read the numbers afresh."""
        yield jobs_by_state()
        yield messages_by_state()
        yield oldest_waiting_message()
        yield seconds_since_sweeps()


def jobs_by_state() -> GaugeMetricFamily:
    family = GaugeMetricFamily("ebbmark_jobs", "Jobs in each state", labels=["kind", "state"])
    counted = Job.objects.order_by().values_list("kind", "state").annotate(jobs=Count("pk"))
    for kind, state, jobs in counted:
        family.add_metric([kind, state], jobs)
    return family


def messages_by_state() -> GaugeMetricFamily:
    family = GaugeMetricFamily("ebbmark_messages", "Messages in each state", labels=["state"])
    counted = Message.objects.order_by().values_list("state").annotate(messages=Count("pk"))
    for state, messages in counted:
        family.add_metric([state], messages)
    return family


def oldest_waiting_message() -> GaugeMetricFamily:
    now = timezone.now()
    waiting = Message.objects.filter(state=Message.State.WAITING, next_try_at__lte=now)
    oldest = waiting.aggregate(oldest=Min("next_try_at"))["oldest"]
    return GaugeMetricFamily(
        "ebbmark_oldest_waiting_message_seconds",
        "How long the oldest message that could go has been waiting",
        value=(now - oldest).total_seconds() if oldest else 0,
    )


def seconds_since_sweeps() -> GaugeMetricFamily:
    family = GaugeMetricFamily(
        "ebbmark_sweep_age_seconds", "Since recurring work last ended well", labels=["sweep"]
    )
    for name, age in sweeps.ages(timezone.now()).items():
        if age is not None:
            family.add_metric([name], age)
    return family
