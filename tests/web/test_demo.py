"""The demonstration loads once, and leaves the register's guards as they were."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.management import call_command
from django.db import connections

from registry.crews.models import AssignmentState, Decision, Job, Refusal
from registry.evidence.models import HoursEntry
from registry.people.models import Worker

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])


def test_loading_the_demonstration_twice_changes_nothing() -> None:
    call_command("load_demo", verbosity=0)
    counted = [each._default_manager for each in (Decision, Job, Worker, HoursEntry)]
    before = [each.count() for each in counted]
    call_command("load_demo", verbosity=0)
    assert [each.count() for each in counted] == before
    refused = {str(each.decision.worker) for each in Refusal.objects.select_related("decision__worker")}
    assert refused == {"Jory Pennavale"}
    standing = sorted(AssignmentState.objects.values_list("standing", flat=True))
    assert standing == ["held", *["standing"] * 7]


def test_the_register_records_the_present_again_afterwards() -> None:
    with connections["owner"].cursor() as owner:
        owner.execute("UPDATE database_policy SET recorded_at_tolerance = interval '10 minutes'")
        try:
            call_command("load_demo", verbosity=0)
            owner.execute("SELECT recorded_at_tolerance FROM database_policy")
            assert owner.fetchone() == (timedelta(minutes=10),)
        finally:
            owner.execute("UPDATE database_policy SET recorded_at_tolerance = NULL")
