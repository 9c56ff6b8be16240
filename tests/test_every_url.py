"""Every address of the site, as each role of each organisation and as nobody.

A new address fails here until somebody says in TABLE who may do what with it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import pytest
from django.core.cache import cache
from django.db import transaction
from django.urls import get_resolver, reverse

from customers.access import MAY_CHANGE
from tests.make import (
    make_organisation,
    make_user,
)
from tests.world import make_world

pytestmark = pytest.mark.django_db

SEE = "see"  # any member may look
ROLES = ("office", "planner", "crew", "reader")


@dataclass(frozen=True)
class Row:
    """Who may open an address: SEE, or one of the actions of customers.access."""

    who: str
    of: str = ""  # which thing of the world stands in the address
    post_only: bool = False
    own_way: str = ""  # why the general rules do not hold here: checked in another test
    extra: tuple = ()


def page(of: str = "", who: str = SEE, **extra) -> Row:
    return Row(who, of, extra=tuple(extra.items()))


def action(who: str, of: str = "", **extra) -> Row:
    return Row(who, of, post_only=True, extra=tuple(extra.items()))


def elsewhere(why: str) -> Row:
    return Row(SEE, own_way=why)


TABLE = {
    "health": elsewhere("for machines: tests/scheduler/test_health.py"),
    "metrics": elsewhere("for machines, by token: tests/scheduler/test_metrics.py"),
    "scheduler:desk": elsewhere("who has no organisation is told so: test_desk below"),
    "scheduler:due": page(),
    "scheduler:find_due_work": action("plan"),
    "scheduler:feed": elsewhere("by secret token: tests/scheduler/test_feeds.py"),
    "scheduler:leave": elsewhere("by signed token: tests/scheduler/messages"),
    "scheduler:feeds": page(),
    "scheduler:feed_new": action("tell", "crew", kind="crew"),
    "scheduler:feed_revoke": action("tell", "feed"),
    "scheduler:job": page("job"),
    "scheduler:job_time": action("plan", "job", verb="offer"),
    "scheduler:job_off": action("plan", "job", verb="cancel"),
    "scheduler:job_hand_over": action("plan", "job"),
    "scheduler:job_want": page("system", "plan"),
    "scheduler:rounds": page(),
    "scheduler:round": page("round"),
    "scheduler:run_sheet": page("round"),
    "scheduler:job_sheet_issue": action("visit", "job"),
    "scheduler:run_sheet_issue": action("visit", "round"),
    "servicing:paper_list": page(),
    "scheduler:loads": page(),
    "scheduler:loads_file": page(),
    "scheduler:tip": page("ticket", "visit"),
    "scheduler:round_crew": action("plan", "round"),
    "scheduler:round_withdraw": action("plan", "round"),
    "scheduler:round_move": page("round", "plan", job_id="@job"),
    "scheduler:day_again": page(who="plan"),
    "scheduler:day_again_settle": action("plan", "run"),
    "scheduler:round_file": page("round", kind="gpx"),
    "scheduler:operator": page(who="manage"),
    "scheduler:due_hand_over": action("plan"),
    "scheduler:plan_new": page(who="plan"),
    "scheduler:plan_run": page("run"),
    "scheduler:plan_progress": page("run"),
    "scheduler:plan_stop": action("plan", "run"),
    "scheduler:plan_again": action("plan", "run"),
    "scheduler:plan_anew": action("plan", "run"),
    "scheduler:plan_accept": action("plan", "run"),
    "scheduler:plan_discard": action("plan", "run"),
    "scheduler:stop_lock": action("plan", "stop"),
    "scheduler:plan_move": page("run", "plan", job_id="@job"),
    "scheduler:plan_take_off": action("plan", "run", job_id="@job"),
    "scheduler:fleet": page(),
    "scheduler:fleet_new": page(who="plan", kind="tanker"),
    "scheduler:fleet_edit": page("tanker", "plan", kind="tanker"),
    "scheduler:messages": page(),
    "scheduler:message": page("message"),
    "scheduler:message_file": page("message"),
    "scheduler:message_again": action("tell", "message"),
    "scheduler:message_posted": action("tell", "message"),
    "scheduler:replies": page(),
    "scheduler:calls": page(),
    "scheduler:call_rung": action("tell", "job"),
    "scheduler:ladder": page(),
    "scheduler:ladder_step": page(who="manage", name="offer"),
    "scheduler:telling_rules": page(who="manage"),
    "scheduler:told": page("person", kind="person"),
    "scheduler:reply_settle": action("tell", "reply", verb="seen"),
    "scheduler:job_sheet": page("job"),
    "scheduler:job_sheet_file": page("job", "visit"),
    "scheduler:job_paper": action("visit", "done_job", kind="service_record"),
    "scheduler:letters": page(),
    "scheduler:letters_gather": action("tell"),
    "scheduler:letter_batch": page("batch"),
    "scheduler:letter_progress": page("batch"),
    "scheduler:letter_file": page("batch"),
    "scheduler:letters_posted": action("tell", "batch"),
    "scheduler:letters_dropped": action("tell", "batch"),
    "scheduler:letters_again": action("tell", "batch"),
    "scheduler:lid": elsewhere("whoever stands at the cover: tests/scheduler/test_papers.py"),
    "scheduler:job_sheet_abandon": action("visit", "job"),
    "scheduler:job_recorded": page("done_job"),
    "scheduler:job_sheet_correct": page("done_job", "visit"),
    "scheduler:today": page(),
    "scheduler:stop_arrived": elsewhere(
        "the crew of the round alone: tests/scheduler/test_today.py"
    ),
    "scheduler:stop_load": elsewhere("the crew alone: tests/scheduler/test_job_visits.py"),
    "scheduler:stop_left": elsewhere("the crew of the round alone: tests/scheduler/test_today.py"),
    "scheduler:stop_tipped": elsewhere(
        "the crew of the round alone: tests/scheduler/test_today.py"
    ),
    "scheduler:crew_worker": elsewhere("holds nothing: tests/scheduler/test_crew_app.py"),
    "scheduler:crew_manifest": elsewhere("holds nothing: tests/scheduler/test_crew_app.py"),
    "scheduler:crew_offline": elsewhere("holds nothing: tests/scheduler/test_crew_app.py"),
    "scheduler:crew_token": page(),
    "scheduler:crew_take": page(),
    "scheduler:crew_deliver": elsewhere("by entry: tests/scheduler/test_crew_app.py"),
    "scheduler:crew_photo": elsewhere("by photo: tests/scheduler/test_crew_app.py"),
    "scheduler:crew_note": action("visit", "job"),
    "scheduler:photo": page("photo"),
    "scheduler:deliveries": page(),
    "scheduler:delivery": page("delivery"),
    "scheduler:delivery_settle": action("plan", "delivery"),
    "scheduler:owner_requests": page(),
    "scheduler:owner_link_new": action("register", "premises", person_id="@person"),
    "scheduler:owner_link_end": action("register", "link"),
    "scheduler:sales": page(),
    "scheduler:sale": page("sale"),
    "scheduler:sale_edit": page("sale", "register"),
    "scheduler:sale_step": action("register", "sale", verb="confirm"),
    "scheduler:sale_new": page("premises", "register"),
    "scheduler:past_years": page(),
    "scheduler:history": page(),
    "scheduler:thing_history": page("job", kind="job"),
    "servicing:compliance": page(),
    "scheduler:person_data": page("person", "register"),
    "scheduler:person_data_file": page("person", "register"),
    "scheduler:person_erase": page("person", "manage"),
    "scheduler:report_seen": action("plan", "report"),
    "scheduler:wish_offer": action("plan", "job"),
    "scheduler:wish_settled": action("plan", "job"),
    "scheduler:agreement_offer": action("register", "agreement"),
    "scheduler:agreement_not_wanted": action("register", "offer"),
    "scheduler:agreement_signed": page("offer", "register"),
    "scheduler:agreement_cancel": page("agreement", "register"),
    "scheduler:charges": page(),
    "scheduler:charges_find": action("register"),
    "scheduler:charges_batch": action("register"),
    "scheduler:charges_file": page("charge_batch", "register"),
    "scheduler:charge_void": page("charge", "register"),
    "scheduler:aftercare_year": page(),
    "scheduler:aftercare_costs": page(),
    "servicing:systems": page(),
    "servicing:system": page("system"),
    "servicing:system_history": page("system"),
    "servicing:system_add": page(who="register"),
    "servicing:system_add_at": page("premises", "register"),
    "servicing:system_edit": page("system", "register"),
    "servicing:tank_edit": page("system", "register", position=1),
    "servicing:occupancy_edit": page("system", "register"),
    "servicing:chamber_add": page("system", "register"),
    "servicing:chamber_edit": page("system", "register", chamber_id="@chamber"),
    "servicing:field_edit": page("system", "register"),
    "servicing:ceiling_edit": page("system", "register"),
    "servicing:questions": page(),
    "servicing:question": page("question", "visit"),
    "servicing:worth_dipping": page(),
    "servicing:learning": page(),
    "servicing:track_record": page(),
    "servicing:papers": page("premises"),
    "servicing:paper": page("paper"),
    "servicing:paper_file": page("paper"),
    "servicing:paper_again": page("paper", "visit"),
    "servicing:paper_check": elsewhere(
        "by token on the paper: tests/servicing/test_paper_pages.py"
    ),
    "servicing:handover_pack": action("register", "premises"),
    "servicing:service_record": action("visit", "visit"),
    "servicing:season_ticket": page("system", "register"),
    "servicing:agreement_paper": action("register", "agreement"),
    "servicing:renewal_notice": page("agreement", "register"),
    "servicing:system_label": page("system"),
    "servicing:labels": page(),
    "servicing:map": page(),
    "servicing:lids": page(),
    "servicing:import": page(who="register"),
    "servicing:register_export": page(who="register"),
    "customers:premises_list": page(),
    "customers:premises_add": page(who="register"),
    "customers:premises": page("premises"),
    "customers:premises_edit": page("premises", "register"),
    "customers:premises_history": page("premises"),
    "customers:party_add": page("premises", "register"),
    "customers:party_end": page("premises", "register", party_id="@party"),
    "customers:people": page(),
    "customers:person_add": page(who="register"),
    "customers:person": page("person"),
    "customers:person_edit": page("person", "register"),
    "customers:preference_add": page("person", "register"),
    "customers:person_history": page("person"),
    "customers:agreements": page(),
    "customers:agreement": page("agreement"),
    "customers:agreement_add": page("premises", "register"),
    "customers:agreement_edit": page("offer", "register"),
    "customers:agreement_price": page("agreement", "register"),
    "customers:agreement_notice": page("agreement", "register"),
    "customers:agreement_stop": action("register", "agreement"),
    "customers:agreement_renew": page("agreement", "register"),
    "customers:agreement_end": page("agreement", "register"),
    "customers:plans": page(),
    "customers:plan_add": page(who="register"),
    "customers:plan_edit": page("plan", "register"),
    "customers:plan_price": page("plan", "register"),
    "customers:prices": page(),
    "customers:price_set": page(who="register"),
    "customers:organisation": page(),
    "customers:organisation_edit": page(who="manage"),
    "customers:organisation_history": page(),
    "customers:members": page(),
    "customers:member_add": page(who="manage"),
    "customers:member_edit": elsewhere("by membership: tests/customers/test_members.py"),
    "customers:member_remove": elsewhere("by membership: tests/customers/test_members.py"),
    "customers:organisation_choose": elsewhere("changes the session only: test_choosing below"),
}
for name in ("columns", "check", "bring_in", "result", "progress", "refused", "discard"):
    TABLE[f"servicing:import_{name}"] = elsewhere("by upload: tests/servicing/test_import_pages.py")
for name in ("", "_agree", "_language", "_other_day", "_people", "_trouble", "_advice", "_paper"):
    TABLE[f"scheduler:owner{name}"] = elsewhere(
        "by signed link: tests/scheduler/test_owner_page.py"
    )
for name in ("check", "remind", "mine", "mine_file"):
    TABLE[f"scheduler:owner_{name}"] = elsewhere(
        "by signed link: tests/scheduler/test_owner_more.py"
    )
TABLE["scheduler:owner_photo"] = elsewhere("by signed link: tests/scheduler/test_owner_proofs.py")
for name in ("owner_sale", "owner_sale_back"):
    TABLE[f"scheduler:{name}"] = elsewhere("by signed link: tests/scheduler/test_sales.py")
for name in ("", "agree_", "decline_", "cancel_", "stop_"):
    TABLE[f"scheduler:owner_{name}agreement"] = elsewhere(
        "by signed link: tests/scheduler/aftercare/test_owner_agreement.py"
    )
for name in [
    "login",
    "logout",
    "password_change",
    "password_change_done",
    "password_reset",
    "password_reset_done",
    "password_reset_confirm",
    "password_reset_complete",
]:
    TABLE[name] = elsewhere("Django's own sign-in: tests/customers/test_sign_in.py")


def addresses(patterns=None, space=""):
    """Qualified name of every address outside the admin site."""
    for pattern in patterns or get_resolver().url_patterns:
        if hasattr(pattern, "url_patterns"):
            inner = f"{space}{pattern.namespace}:" if pattern.namespace else space
            if pattern.namespace != "admin":
                yield from addresses(pattern.url_patterns, inner)
        else:
            yield f"{space}{pattern.name}"


@pytest.fixture
def world():
    return make_world()


def address(name: str, row: Row, world) -> str:
    kwargs = dict(row.extra)
    for key, value in row.extra:
        if str(value).startswith("@"):  # a thing of the world
            thing = world[value[1:]]
            kwargs[key] = thing.public_id if key == "job_id" else thing.pk
    if row.of:
        thing = world[row.of]
        kwargs["public_id"] = getattr(thing, "public_id", thing.pk)
    return reverse(name, kwargs=kwargs)


def walk(client, world, rows):
    """Status of each address; nothing that a visit changes outlasts it."""
    found = {}
    for name, row in rows.items():
        cache.clear()
        before = transaction.savepoint()
        where = address(name, row, world)
        response = client.post(where) if row.post_only else client.get(where)
        found[name] = response.status_code
        if response.status_code == 302 and response["Location"].startswith(reverse("login")):
            found[name] = "sign in"
        transaction.savepoint_rollback(before)
    return found


GENERAL = {name: row for name, row in TABLE.items() if not row.own_way}
OF_A_THING = {name: row for name, row in GENERAL.items() if row.of}
POST_ONLY = {name: row for name, row in GENERAL.items() if row.post_only}
# What a form that was sent empty may answer: shown again, done, or refused in words.
ANSWERED = {200, 204, 302, 400, 409, 422}


def test_every_address_is_in_the_table_and_the_table_names_no_other():
    assert set(addresses()) == set(TABLE)


def test_nobody_is_sent_to_sign_in(client, world):
    assert set(walk(client, world, GENERAL).values()) == {"sign in"}


def test_who_belongs_nowhere_finds_nothing(client, world):
    client.force_login(make_user())
    assert not {name for name, status in walk(client, world, GENERAL).items() if status != 404}


def test_the_office_of_another_firm_finds_nothing_of_ours(client, world):
    client.force_login(make_user(make_organisation()))
    assert not {name for name, status in walk(client, world, OF_A_THING).items() if status != 404}


@pytest.mark.parametrize("role", ROLES)
def test_a_member_may_do_what_the_role_says(client, world, role):
    client.force_login(make_user(world["organisation"], role))
    wrong = {}
    for name, status in walk(client, world, GENERAL).items():
        row = GENERAL[name]
        allowed = row.who == SEE or row.who in MAY_CHANGE[role]
        right = {403} if not allowed else ANSWERED if row.post_only else {200}
        if status not in right:
            wrong[name] = status
    assert not wrong


def test_what_changes_something_is_not_done_by_opening_it(client, world):
    client.force_login(make_user(world["organisation"]))
    opened = {name: client.get(address(name, row, world)) for name, row in POST_ONLY.items()}
    assert {response.status_code for response in opened.values()} == {405}


def test_an_operator_sees_a_job_handed_to_it_and_not_the_system(client, world):
    operator = make_organisation()
    client.force_login(make_user(operator, "planner"))
    job = reverse("scheduler:job", args=[world["job"].public_id])
    assert client.get(job).status_code == 404
    world["job"].handed_to = operator
    world["job"].save(update_fields=["handed_to"])
    assert client.get(job).status_code == 200
    system = reverse("servicing:system", args=[world["system"].public_id])
    assert client.get(system).status_code == 404


def test_desk_tells_who_belongs_nowhere_so(client):
    client.force_login(make_user())
    assert b"belong to no organisation" in client.get(reverse("scheduler:desk")).content


def test_choosing_an_organisation_one_is_not_in_changes_nothing(client, world):
    client.force_login(make_user(make_organisation()))
    where = reverse("customers:organisation_choose")
    response = client.post(where, {"organisation": str(world["organisation"].public_id)})
    assert response.status_code in {302, 404}
    page = client.get(reverse("customers:organisation"))
    assert not re.search(rf"{world['organisation'].name}\b", page.content.decode())
