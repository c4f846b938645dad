"""What is typed in bad faith, or by a slip, is told beside its field and harms nothing."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from registry.crews.models import AssignmentEvent, Job
from registry.notices.models import JobParty, SentNotice
from registry.people import invitations
from tests.columbia import Columbia
from tests.world import STANDARD, World

pytestmark = pytest.mark.django_db

TOO_LONG = "a" * 250 + "@cobble.example"
AT_THE_CALENDARS_ENDS = ("0001-01-01T00:00", "9999-12-31T23:59")


def plan(world: World, **given: Any) -> dict[str, Any]:
    tomorrow = world.now + timedelta(days=1)
    said = {"site": world.site.pk, "crane": world.crane.pk, "operation": "dismantling", "standard_key": STANDARD}
    said |= {"start": f"{tomorrow:%Y-%m-%dT07:00}", "end": f"{tomorrow:%Y-%m-%dT17:00}", "minutes_per_day": 480}
    return {**said, "places_erector": 1, **given}


@pytest.mark.parametrize("typed", AT_THE_CALENDARS_ENDS)
def test_no_instant_is_recorded_that_has_no_date_everywhere(world: World, dispatcher: Client, typed: str) -> None:
    # Stored, the last minute of the year 9999 is read back by nobody: every page with the job would fail.
    for field in ("start", "end"):
        refused = dispatcher.post("/jobs/plan/", plan(world, **{field: typed}))
        assert refused.status_code == 422
        assert f'id="id_{field}_error"' in refused.text
        assert f'value="{typed}"' in refused.text
    assert not Job.objects.exists()
    worker = world.worker("Mira", "Sandoval")
    world.make_erector(worker)
    assignment = world.assign(world.job(["erector"]).slots.get(), worker).assignment
    assert assignment is not None
    refused = dispatcher.post(f"/assignments/{assignment.pk}/end/", {"ends_at": typed, "reason": "ill"})
    assert (refused.status_code, AssignmentEvent.objects.count()) == (422, 0)
    columbia = Columbia(world)
    columbia.complete()
    said = {"how": "post", "sent_to": "The authority", "seen": columbia.packet().fingerprint, "sent_at": typed}
    refused = dispatcher.post(f"/jobs/{columbia.job.pk}/notice/sent/add/", said)
    assert (refused.status_code, SentNotice.objects.count()) == (422, 0)
    assert 'id="id_sent_at_error"' in refused.text


def test_an_address_for_mail_that_the_register_cannot_hold_is_told_beside_its_field(
    world: World, dispatcher: Client, client: Client
) -> None:
    columbia = Columbia(world, supervised=False)
    party = {"role": "owner", "name": "Spit Holdings", "email": TOO_LONG}
    refused = dispatcher.post(f"/jobs/{columbia.job.pk}/notice/parties/add/", party)
    assert (refused.status_code, JobParty.objects.count()) == (422, 0)
    assert 'id="id_email_error"' in refused.text
    made = invitations.invite(kind="inspector", invited_by=None, invited_at=world.now)
    account = {"username": "mira", "email": TOO_LONG, "password": "long enough to be kept"}
    account["password_again"] = account["password"]
    client.get(f"/invitations/{made.token}/")
    refused = client.post("/invitations/accept/", account)
    assert refused.status_code == 422
    assert 'id="id_email_error"' in refused.text
