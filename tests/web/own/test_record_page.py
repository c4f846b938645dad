"""The record as a page: hours over time, what runs out, days by the site, the latest entries."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from registry.evidence import services as evidence
from registry.evidence.models import Certification
from registry.language.amounts import day
from registry.people.models import Account, Worker
from registry.web.worker_page import MOST_ENTRIES, record_of
from tests.world import World

INSPECTOR = Account(kind="inspector")

AsWorker = Callable[[Worker], Client]


def work(world: World, worker: Worker, start: datetime) -> None:
    new = evidence.NewHours(
        worker=worker,
        model=world.model,
        operation="erection",
        start=start,
        end=start + timedelta(hours=6),
        employer=world.employer,
        site=world.site,
    )
    evidence.record_hours(new=new, recorded_at=world.now, recorded_by=None)


def test_hours_are_drawn_by_quarter_of_the_sites_day_with_their_figures(world: World) -> None:
    worker = world.worker("Mira", "Sandoval")
    year = world.now.year - 1
    # 20:00 on 31 March on the wharf, where UTC counts the next quarter already.
    work(world, worker, datetime(year, 3, 31, 20, tzinfo=ZoneInfo("America/Vancouver")))
    work(world, worker, datetime(year, 5, 2, 8, tzinfo=ZoneInfo("America/Vancouver")))
    over_time = record_of(worker, INSPECTOR, now=world.now).over_time
    assert over_time.periods == [f"{year}, quarter 1", f"{year}, quarter 2"]
    assert over_time.lines == [("Brandvold BT-180", ["6 h", "6 h"])]
    assert f"from {year}, quarter 1 to {year}, quarter 2. Brandvold BT-180: 12 h." in over_time.chart
    assert over_time.chart.count("<rect") == 2


def test_a_longer_time_is_drawn_in_years(world: World) -> None:
    worker = world.worker("Mira", "Sandoval")
    zone = ZoneInfo("America/Vancouver")
    for back in (1, 5):
        work(world, worker, datetime(world.now.year - back, 5, 2, 8, tzinfo=zone))
    over_time = record_of(worker, INSPECTOR, now=world.now).over_time
    assert over_time.periods == [str(world.now.year - 5), str(world.now.year - 1)]
    assert "Hours a year by crane model" in over_time.chart


def test_days_are_those_of_the_site_last_worked_at(world: World, dispatcher: Client) -> None:
    worker = world.worker("Mira", "Sandoval")
    zone = ZoneInfo("America/Vancouver")
    work(world, worker, datetime(world.now.year - 1, 5, 2, 8, tzinfo=zone))
    evening = datetime(world.now.year - 1, 6, 30, 20, tzinfo=zone)
    world.assess(worker, "rigger", at=evening)
    shown = dispatcher.get(f"/workers/{worker.pk}/").text
    assert "Quillon Wharf, the site last worked at" in shown
    assert day(evening.date()) in shown
    assert day(evening.date() + timedelta(days=1)) not in shown


def test_what_runs_out_is_listed_by_number_as_in_the_drawing(world: World, dispatcher: Client) -> None:
    worker = world.worker("Mira", "Sandoval")
    today = world.now.date()
    for number, days in enumerate((200, 40)):
        evidence.record_certification(
            worker=worker,
            scheme="rigging",
            number=f"R-{number}",
            issuer="Norrland Board",
            issued=today - timedelta(days=100),
            expires=today + timedelta(days=days),
            scope=[f"scope {number}"],
            recorded_at=world.now,
            recorded_by=None,
        )
    shown = dispatcher.get(f"/workers/{worker.pk}/").text
    listed = re.search(r'<ol class="runs-out">.*?</ol>', shown, re.S)
    assert listed is not None
    assert listed[0].index("no. R-1") < listed[0].index("no. R-0")
    drawn = shown[shown.index('<div class="chart">') : listed.start()]
    assert re.findall(r">(\d)</text>", drawn) == ["1", "2"]
    assert "2 documents run out from" in drawn


def test_only_the_latest_entries_are_shown_and_a_long_record_takes_as_many_statements(
    world: World, dispatcher: Client
) -> None:
    worker = world.worker("Mira", "Sandoval")

    def statements() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert dispatcher.get(f"/workers/{worker.pk}/").status_code == 200
        return len(captured)

    world.make_erector(worker, days=3)
    before = statements()
    start = (world.now - timedelta(days=600)).replace(hour=15, minute=0)
    evidence.record_hours_in_bulk(
        rows=[
            evidence.NewHours(
                worker=worker,
                model=world.model,
                operation="climbing",
                start=start + timedelta(days=number),
                end=start + timedelta(days=number, hours=4),
                employer=world.employer,
                site=world.site,
            )
            for number in range(MOST_ENTRIES + 5)
        ],
        recorded_at=world.now,
        recorded_by=None,
    )
    assert statements() == before
    record = record_of(worker, INSPECTOR, now=world.now)
    assert len(record.entries) == MOST_ENTRIES
    assert [each.start for each in record.entries] == sorted((each.start for each in record.entries), reverse=True)


def certificate(world: World, worker: Worker, **given: Any) -> Certification:
    said: dict[str, Any] = {
        "worker": worker,
        "scheme": "rigging",
        "number": "R-1",
        "issuer": "Norrland Board",
        "issued": (world.now - timedelta(days=100)).date(),
        "recorded_at": world.now - timedelta(days=90),
    }
    return evidence.record_certification(recorded_by=None, **(said | given))


def change(world: World, certification: Certification, status: str, *, days_ago: int) -> None:
    evidence.change_certification_status(
        certification=certification,
        status=status,
        effective_at=world.now - timedelta(days=days_ago),
        recorded_at=world.now,
        recorded_by=None,
    )


def test_a_certificate_holds_through_its_last_day_by_the_sites_clock(world: World) -> None:
    worker = world.worker("Mira", "Sandoval")
    zone = ZoneInfo("America/Vancouver")
    work(world, worker, datetime(world.now.year - 1, 5, 2, 8, tzinfo=zone))
    last = (world.now + timedelta(days=3)).date()
    certificate(world, worker, expires=last)
    # 20:00 on the wharf, where UTC counts the next day already.
    evening = datetime.combine(last, time(20), zone)
    (held,) = record_of(worker, INSPECTOR, now=evening).certifications
    assert (held.status, held.ran_out, held.runs_out_soon) == ("in_force", False, True)
    (over,) = record_of(worker, INSPECTOR, now=evening + timedelta(hours=5)).certifications
    assert (over.status, over.ran_out, over.runs_out_soon) == ("expired", True, False)


def test_a_corrected_certificate_has_no_state_of_its_own(world: World, dispatcher: Client) -> None:
    worker = world.worker("Mira", "Sandoval")
    first = certificate(world, worker, expires=(world.now + timedelta(days=9)).date())
    change(world, first, "revoked", days_ago=1)
    evidence.correct(first, issuer="Norrland Board of Rigging", recorded_at=world.now, recorded_by=None)
    shown = {each.record.issuer: each for each in record_of(worker, INSPECTOR, now=world.now).certifications}
    assert shown["Norrland Board"].status == ""
    assert not shown["Norrland Board"].runs_out_soon
    assert shown["Norrland Board of Rigging"].status == "revoked"
    assert "expires soon" not in dispatcher.get(f"/workers/{worker.pk}/").text


def test_a_certificate_suspended_when_it_expired_is_said_to_be_both(world: World, dispatcher: Client) -> None:
    worker = world.worker("Mira", "Sandoval")
    over = (world.now - timedelta(days=2)).date()
    held = certificate(world, worker, expires=over)
    change(world, held, "suspended", days_ago=9)
    assert f"expired {day(over)}</strong>; <strong>suspended" in dispatcher.get(f"/workers/{worker.pk}/").text


def test_a_certificate_recorded_meanwhile_is_shown(world: World) -> None:
    worker = world.worker("Mira", "Sandoval")
    certificate(world, worker, recorded_at=world.now)
    (shown,) = record_of(worker, INSPECTOR, now=world.now - timedelta(minutes=1)).certifications
    assert shown.status == ""


def test_an_employer_asks_about_a_role_from_the_record_and_an_inspector_does_not(
    world: World, dispatcher: Client, inspector: Client, as_worker: AsWorker
) -> None:
    worker = world.worker("Mira", "Sandoval")
    way = f"/workers/{worker.pk}/role/"
    assert way in dispatcher.get(f"/workers/{worker.pk}/").text
    assert way in as_worker(worker).get(f"/workers/{worker.pk}/").text
    assert way not in inspector.get(f"/workers/{worker.pk}/").text
