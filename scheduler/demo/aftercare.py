"""Aftercare of the invented valley: plans, a price list, agreements in every state, charges."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.utils import timezone

from customers import agreement_sales, agreements, renewing
from customers.agreement_sales import fingerprint
from customers.local_days import at_local, zone_of
from customers.models import AftercarePlan, Agreement, Premises, ServicePrice, User
from customers.money import months_after
from scheduler.aftercare.batches import make_batch
from scheduler.aftercare.fees import charge_fees_of
from scheduler.aftercare.reckoning import reckon_visits_of
from scheduler.demo.names import INVENTED_REASONS
from servicing.models import System

if TYPE_CHECKING:
    from customers.models import Organisation
    from scheduler.demo.systems import Made

ONE_DAY = dt.timedelta(days=1)
CHARGED_SINCE_DAYS = 45
# Pounds and pence of an example; every firm sets its own.
PRICES = {
    "emptying": 195_00,
    "extra_litres": 28_00,
    "service": 120_00,
    "inspection": 65_00,
    "jetting": 140_00,
    "call_out": 95_00,
    "abortive": 60_00,
}
# Which of those who want aftercare stand where; everybody after these has a running agreement.
DRAFTS, OFFERS, FRESH, CANCELLED, DECLINED, ENDED, NEAR, HELD = 5, 5, 4, 2, 3, 4, 9, 3
AGREEMENTS = 92


def add_aftercare(organisation: Organisation, made: list[Made], *, today: dt.date) -> None:
    """Plans, prices, and agreements of those who want one."""
    plans = add_plans(organisation)
    for service, pence in PRICES.items():
        ServicePrice.objects.create(
            organisation=organisation,
            service=service,
            price_pence=pence,
            valid_from=today - dt.timedelta(days=CHARGED_SINCE_DAYS),
            litres_included=3000 if service == "emptying" else None,
        )
    wishes = [one for one in made if one.wish is not None][:AGREEMENTS]
    Premises.objects.filter(organisation=organisation).exclude(name="The Drowned Lantern").update(
        activity=Premises.Activity.HOUSEHOLD, activity_declared="By the register"
    )
    Premises.objects.filter(organisation=organisation, name="The Drowned Lantern").update(
        activity=Premises.Activity.HOSPITALITY, activity_declared="By the landlord"
    )
    office = User.objects.filter(
        memberships__organisation=organisation, memberships__role="office"
    ).earliest("pk")
    Seller(organisation, office, plans, today).sell_all(wishes)


def add_plans(organisation: Organisation) -> dict[str, AftercarePlan]:
    """What the installer sells; the prices are examples."""
    rows = {
        "watched": AftercarePlan(
            name="Tank watch",
            includes="A dip and a look into the chambers every year, emptying when it is due.",
            price_pence=145_00,
            inspections_per_year=1,
        ),
        "serviced": AftercarePlan(
            name="Plant care",
            includes="A service of the plant every year, emptying when it is due.",
            price_pence=210_00,
            service_visits_per_year=1,
            emptying_interval_months=24,
            charged_every_months=AftercarePlan.ChargedEvery.MONTH,
        ),
        "full": AftercarePlan(
            name="Full care",
            includes="One emptying, one look into the chambers and one call-out a year.",
            price_pence=330_00,
            emptyings_per_year=1,
            inspections_per_year=1,
            call_outs_per_year=1,
            emptying_litres_included=4500,
            response_hours=24,
            charged_every_months=AftercarePlan.ChargedEvery.QUARTER,
        ),
    }
    for plan in rows.values():
        plan.organisation = organisation
        plan.save()
    return rows


class Seller:
    """Sells aftercare through the verbs, so that every state comes with its evidence."""

    def __init__(
        self,
        organisation: Organisation,
        office: User,
        plans: dict[str, AftercarePlan],
        today: dt.date,
    ) -> None:
        """One firm's office on one day."""
        self.organisation, self.office, self.plans = organisation, office, plans
        self.today = today
        self.now = timezone.now()

    def sell_all(self, wishes: list[Made]) -> None:
        """The first few stand in every other state; a small register has only running ones."""
        acts = [self.draw_up] * DRAFTS + [self.offer] * OFFERS + [self.agree] * FRESH
        acts += [self.cancel] * CANCELLED + [self.decline] * DECLINED
        acts += [self.end] * ENDED + [self.near] * NEAR + [self.hold] * HELD
        if len(wishes) < AGREEMENTS:
            acts = []
        for place, one in enumerate(wishes):
            (acts[place] if place < len(acts) else self.run)(one)

    def at(self, day: dt.date) -> dt.datetime:
        """Ten in the morning of a day, and never later than now."""
        return min(self.now, at_local(day, dt.time(10), zone_of(self.organisation)))

    def facts(self, one: Made, first: dt.date, *, renews: bool) -> dict[str, object]:
        """Terms of a year from a day; every fifth has the full care."""
        kind = "serviced" if one.system.kind == System.Kind.PACKAGE_PLANT else "watched"
        plan = self.plans["full" if kind == "watched" and one.system.pk % 5 == 0 else kind]
        party = one.system.premises.parties.filter(role="owner").select_related("person").first()
        return {
            "plan": plan,
            "payer": party.person if party else None,
            "customer_is": Agreement.CustomerIs.CONSUMER,
            "sold_how": Agreement.SoldHow.DISTANCE,
            "starts_on": first,
            "ends_on": months_after(first, 12) - ONE_DAY,
            "price_pence": plan.price_pence,
            "charged_every_months": plan.charged_every_months,
            "renews_itself": renews,
        }

    def run(
        self, one: Made, first: dt.date | None = None, *, renews: bool | None = None
    ) -> Agreement:
        """An agreement in its year, a few of them run out."""
        days, wished = one.wish or (100, True)
        renews = wished if renews is None else renews
        first = first or self.today - dt.timedelta(days=days)
        return agreements.start_agreement(
            premises=one.system.premises,
            by=self.office,
            now=self.at(first),
            **self.facts(one, first, renews=renews and days < 320),  # type: ignore[arg-type]
        )

    def draw_up(self, one: Made) -> Agreement:
        """To be offered."""
        first = self.today + dt.timedelta(days=20)
        return agreement_sales.draw_up(
            premises=one.system.premises, by=self.office, facts=self.facts(one, first, renews=True)
        )

    def offer(self, one: Made) -> Agreement:
        """Offered a few days ago."""
        when = self.at(self.today - dt.timedelta(days=one.system.pk % 6))
        return agreement_sales.offer(agreement=self.draw_up(one), by=self.office, now=when)

    def agree(self, one: Made) -> Agreement:
        """Agreed within the last fortnight."""
        offered = self.offer(one)
        payer = offered.payer
        return agreement_sales.agree(
            agreement=offered,
            name=payer.name if payer else "",
            seen=fingerprint(offered.offered_text),
            early_start=bool(one.system.pk % 2),
            person=payer,
            now=self.now,
        )

    def cancel(self, one: Made) -> Agreement:
        """Agreed, and cancelled in time."""
        agreed = self.agree(one)
        return agreement_sales.cancel(agreement=agreed, now=self.now, person=agreed.payer)

    def decline(self, one: Made) -> Agreement:
        """Offered, and not wanted."""
        offered = self.offer(one)
        return agreement_sales.decline(
            agreement=offered, words="We do it ourselves.", now=self.now, person=offered.payer
        )

    def end(self, one: Made) -> Agreement:
        """Ended early."""
        first = self.today - dt.timedelta(days=200 + one.system.pk % 40)
        reason = INVENTED_REASONS[one.system.pk % len(INVENTED_REASONS)]
        return agreements.end_agreement(
            agreement=self.run(one, first, renews=False),
            ended_on=self.today - dt.timedelta(days=30),
            reason=reason,
            by=self.office,
        )

    def near(self, one: Made) -> Agreement:
        """Soon to renew itself: some told, some with a new price, some not told yet."""
        left = 12 + one.system.pk % 40
        running = self.run(one, self.first_of_term(left), renews=True)
        running.renews_itself = True
        running.save(update_fields=["renews_itself"])
        if left > 32 and one.system.pk % 2:
            running = renewing.set_next_price(
                agreement=running,
                price_pence=running.price_pence + 12_00,
                reason="The works charges more for what we tip.",
                by=self.office,
            )
        return running

    def first_of_term(self, left: int) -> dt.date:
        """First day of a year that has so many days left."""
        return months_after(self.today + dt.timedelta(days=left), -12) + ONE_DAY

    def hold(self, one: Made) -> Agreement:
        """Held: no notice reached the customer."""
        running = self.run(one, self.first_of_term(3), renews=True)
        because = "No renewal notice got out. Tell the customer, or let it end."
        renewing.hold(agreement=running, because=because, now=self.now)
        return running


def add_charges(organisation: Organisation, *, today: dt.date) -> None:
    """Charges since the price list began; the older ones were handed over a month ago."""
    office = User.objects.filter(
        memberships__organisation=organisation, memberships__role="office"
    ).earliest("pk")
    reckon_visits_of(organisation)
    charge_fees_of(organisation, today=today)
    month_ago = at_local(today - dt.timedelta(days=30), dt.time(16), zone_of(organisation))
    make_batch(organisation=organisation, by=office, now=month_ago)
