"""Service record, job and run sheet, agreement, renewal, handover pack, labels: what they say."""

from __future__ import annotations

import datetime as dt
import math

import pytest

from servicing.charts import PRINT, LevelFacts, level_picture
from servicing.charts.level import description
from servicing.documents import (
    AgreementFacts,
    Drawing,
    Duty,
    HandoverPack,
    JobSheetFacts,
    LidLabel,
    PackSystem,
    PlanPoint,
    RenewalFacts,
    RunSheetFacts,
    RunStop,
    ServiceRecord,
    YearPrice,
    agreement,
    handover_pack,
    job_sheet,
    lid_labels,
    renewal_notice,
    run_sheet,
    service_record,
)
from servicing.documents.location_plan import compass, distance_words, location_plan, offsets
from tests.servicing.documents.facts_to_print import ISSUER, STAMP

DAY = dt.date(2026, 5, 4)
LEVEL = LevelFacts(shape="rectangular", working_volume=2800.0, low=600.0, likely=900.0, high=1200.0)
DRAWN = Drawing(svg=level_picture(LEVEL, PRINT), alt=description(LEVEL))


def make_record(**fields):
    told = {
        "issuer": ISSUER,
        "place": "House 1",
        "address": "House 1, ZZ1 1ZZ",
        "system": "Septic tank S-1",
        "visited_on": DAY,
        "cover_back": True,
        "readings": (("Tank 1", "Sludge", "310 mm", "core sampler"),),
        "removed": (("Taken out", "2,800 L"),),
        "level": DRAWN,
        "next_due": "by 4 June 2027",
    }
    return ServiceRecord(**{**told, **fields})


def test_a_service_record_says_what_was_found_done_and_follows(read):
    text = read(service_record(make_record(), STAMP))
    for words in ("4 May 2026", "Tank 1 Sludge 310 mm core sampler", "2,800 L", "by 4 June 2027"):
        assert words in text
    assert "Please do not lift the cover" in text


def test_a_visit_not_carried_out_is_called_that(read):
    text = read(service_record(make_record(abandoned_because="Dog", level=None), STAMP))
    assert "Record of a visit not carried out" in text
    assert "Could not be done Dog" in text


def test_a_record_says_who_signed_and_that_photographs_are_kept(read):
    told = make_record(signed="by Omar, on the screen, on 4 May 2026", photos="2 photographs kept")
    text = read(service_record(told, STAMP))
    assert "Signed by Omar, on the screen, on 4 May 2026" in text
    assert "Photographs 2 photographs kept" in text
    assert "Signed" not in read(service_record(make_record(), STAMP))


def test_a_record_that_puts_another_right_names_it(read):
    stamp = STAMP.__class__(number="2026-00002", issued_on=DAY, replaces="2026-00001")
    assert "replaces number 2026-00001" in read(service_record(make_record(), stamp))


def test_a_job_sheet_warns_before_it_asks(read):
    told = JobSheetFacts(
        issuer=ISSUER, work="Emptying", place="House 1", address="ZZ1 1ZZ", system="S-1",
        parts=("Tank 1",), chambers=("IC1",), is_plant=True, has_field=True,
    )  # fmt: skip
    text = read(job_sheet(told, STAMP))
    assert text.index("Stop. Do not enter.") < text.index("Tank 1: sludge")
    assert text.index("Taken out") < text.index("Cover back on, bolts in")
    assert "IC1: found" in text


def test_a_run_sheet_keeps_the_order_of_the_day_and_says_when_not_to_drive(read):
    stops = (
        RunStop(at="08:00", name="House 1", number=1, details=("Septic tank",)),
        RunStop(at="09:30", name="North Works", is_tip=True),
    )
    told = RunSheetFacts(
        issuer=ISSUER, tanker="Tanker 1", vehicle="TEST 1", crew="Tess", day=DAY, sums="1 job",
        stops=stops, warning="Called off.",
    )  # fmt: skip
    text = read(run_sheet(told, STAMP))
    words = ("Do not drive this round", "Stop. Do not enter.", "08:00 1. House 1", "09:30")
    places = [text.index(word) for word in words]
    assert places == sorted(places)
    assert "Ticket number" in text


PRICE = YearPrice(
    net="£180.00",
    vat=(("0 %", "£120.00", "£0.00"), ("20 %", "£60.00", "£12.00")),
    total="£192.00",
    to_check=True,
)
DEARER = YearPrice(net="£190.00", vat=(("20 %", "£62.00", "£12.40"),), total="£202.40")


def test_an_agreement_marks_what_is_to_be_checked_and_brings_a_form_to_cancel_with(read):
    told = AgreementFacts(
        issuer=ISSUER, payer="Omar", payer_address="House 1", place="House 1", address="ZZ1",
        systems=("S-1",), plan="Watch", includes=("One emptying",), visits=(("Emptyings", "1"),),
        begins_on=DAY, ends_on=dt.date(2027, 5, 3), price=PRICE, renews_itself=True,
    )  # fmt: skip
    text = read(agreement(told, STAMP))
    # Consumer Contracts Regulations 2013 (SI 2013/3134): 14 days, from the day after.
    assert "Check: Sold at a distance" in text
    assert "14 days from the day after" in text
    # What is paid in all, and how it is made up.
    for words in ("Before VAT £180.00", "VAT 0 % on £120.00 £0.00", "VAT 20 % on £60.00 £12.00",
                  "Together, with VAT £192.00", "Check: VAT is worked out"):  # fmt: skip
        assert words in text
    assert "I cancel the aftercare agreement number 2026-00001" in text


def test_a_renewal_notice_shows_both_prices_and_the_reason(read):
    told = RenewalFacts(
        issuer=ISSUER, payer="Omar", payer_address="House 1", place="House 1", plan="Watch",
        ends_on=DAY, new_ends_on=dt.date(2027, 5, 4), old_price=PRICE, new_price=DEARER,
        reason="Tipping costs more.",
    )  # fmt: skip
    text = read(renewal_notice(told, STAMP))
    for words in (
        "now £192.00 with VAT",
        "from then £202.40 with VAT",
        "Before VAT £180.00",
        "Tipping costs more.",
        "If you do not want",
    ):
        assert words in text


def make_pack(**fields):
    points = (
        PlanPoint(label="Cover", latitude=52.5, longitude=-2.9),
        PlanPoint(label="IC1", latitude=52.5001, longitude=-2.9),
    )
    system = PackSystem(
        name="Septic tank S-1",
        description=(("Kind", "Septic tank"), ("Discharges to", "Drainage field")),
        points=points,
        duties=(Duty(what="Emptying", how_often="12 months", source="Guidance", confirmed=False),),
        history=(("4 May 2026", "Emptied, 2,800 L", "Aftercare Firm"),),
        level=DRAWN,
    )
    told = {
        "issuer": ISSUER, "place": "House 1", "address": "House 1, ZZ1 1ZZ", "compiled_on": DAY,
        "systems": (system,), "notice_law": "General binding rules, rule 13",
    }  # fmt: skip
    return HandoverPack(**{**told, **fields})


def test_a_handover_pack_holds_what_rule_13_asks_for(read):
    # General binding rules for small sewage discharges (England), rule 13: notice that a discharge
    # exists, description of the system, maintenance it needs.
    text = read(handover_pack(make_pack(), STAMP))
    for words in (
        "Notice to the next owner",
        "rule 13",
        "Discharges to Drainage field",
        "Emptying 12 months Check: Guidance",
        "4 May 2026 Emptied, 2,800 L",
        "IC1: 11 m north of cover",
        "Received by (next operator)",
    ):
        assert words in text


def test_a_pack_without_positions_says_so(read):
    bare = PackSystem(name="S-1", description=(("Kind", "Septic tank"),))
    text = read(handover_pack(make_pack(systems=(bare,)), STAMP))
    assert "No position is recorded." in text
    assert "No visit is recorded." in text


def test_distances_on_a_plan_are_those_on_the_ground():
    # Ordnance Survey, A guide to coordinate systems in Great Britain: a second of latitude is about
    # 31 m; one of longitude is that times the cosine of the latitude.
    second = 1 / 3600
    here = PlanPoint(label="a", latitude=52.0, longitude=-2.0)
    there = PlanPoint(label="b", latitude=52.0 + second, longitude=-2.0 + second)
    east, north = offsets((here, there))[1]
    assert north == pytest.approx(31, abs=0.5)
    assert east == pytest.approx(31 * math.cos(math.radians(52)), abs=0.5)


@pytest.mark.parametrize(
    ("east", "north", "where"),
    [
        (0, 1, "north"),
        (1, 1, "north-east"),
        (0, -1, "south"),
        (-1, 0, "west"),
        (-1, 1, "north-west"),
    ],
)
def test_directions_are_named_as_on_a_compass(east, north, where):
    assert compass(east, north) == where


def test_a_plan_of_one_point_can_be_drawn_and_of_none_cannot():
    point = PlanPoint(label="<Cover>", latitude=52.0, longitude=-2.0)
    assert "<Cover>" not in location_plan((point,))
    assert distance_words((point,)) == []
    with pytest.raises(ValueError, match="no position"):
        location_plan(())


def test_every_label_is_read_by_a_scanner_and_names_nobody(scan, read):
    places = [f"https://ebbmark.example/lid/{n}/" for n in range(11)]
    labels = tuple(
        LidLabel(reference=f"S-{n}", what="Septic tank", address=a) for n, a in enumerate(places)
    )
    pdf = lid_labels(labels, issuer=ISSUER, made_on=DAY)
    assert sorted(scan(pdf)) == sorted(places)
    assert "Keep shut" in read(pdf)
