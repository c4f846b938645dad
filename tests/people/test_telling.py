"""Who is told of what, in which language, and that telling fails nothing."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime
from io import StringIO
from typing import Any

import pytest
from django.core import mail
from django.core.management import call_command
from django.db import transaction
from pytest_django import DjangoCaptureOnCommitCallbacks

from registry.people import services, telling
from registry.people.account_events import record_event
from registry.people.addresses import change_address
from registry.people.closing import close_account
from registry.people.identity import check_identity
from registry.people.models import Account, AccountEvent, Employer, Worker
from registry.people.second_factor import enrol_authenticator_app

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 11, 20, 14, 30, tzinfo=UTC)
Committed = Callable[[], list[Any]]


@pytest.fixture
def employer() -> Employer:
    return services.register_employer(name="Northern Hoist", jurisdiction="US", recorded_at=NOW)


@pytest.fixture
def ana() -> Worker:
    return services.register_worker(given_name="Ana", family_name="Lind", recorded_at=NOW, recorded_by=None)


@pytest.fixture
def account(ana: Worker) -> Account:
    return services.open_account(
        username="ana", password=None, kind="worker", worker=ana, email="ana@post.example", language="fr"
    )


def test_one_mail_an_act_after_it_is_committed(
    ana: Worker, account: Account, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        telling.tell_workers([ana.pk] * 3, what="countersigned", at=NOW, by=account)
        assert mail.outbox == []
    (sent,) = mail.outbox
    assert sent.recipients() == ["ana@post.example"]
    assert "3" in str(sent.body)
    assert "14:30" in str(sent.body)


def test_an_import_is_one_act_and_what_is_rolled_back_is_told_to_nobody(
    ana: Worker, account: Account, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        with transaction.atomic(), telling.as_one_act():
            for _row in range(5):
                telling.tell_workers([ana.pk], what="countersigned", at=NOW, by=None)
        with transaction.atomic():
            with telling.as_one_act():
                telling.tell_workers([ana.pk], what="countersigned", at=NOW, by=None)
            transaction.set_rollback(True)
        with suppress(LookupError), telling.as_one_act():
            telling.tell_workers([ana.pk], what="countersigned", at=NOW, by=None)
            raise LookupError
    (sent,) = mail.outbox
    assert "5" in str(sent.body)


def test_a_mail_names_no_third_person_and_speaks_the_accounts_language(
    ana: Worker,
    account: Account,
    employer: Employer,
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
) -> None:
    Account.objects.filter(pk=account.pk).update(language="en")
    registrar = services.open_account(username="planner", password=None, kind="registrar")
    with django_capture_on_commit_callbacks(execute=True):
        services.employ(worker=ana, employer=employer, start=NOW.date(), recorded_at=NOW, recorded_by=registrar)
    (sent,) = mail.outbox
    assert sent.subject == "Employment was recorded for you"
    assert "by somebody else's account" in str(sent.body)
    assert "planner" not in str(sent.body)
    assert "Lind" not in str(sent.body)


def test_whoever_has_no_account_or_no_address_is_told_on_the_page_alone(
    ana: Worker, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        telling.tell_workers([ana.pk], what="countersigned", at=NOW, by=None)
        services.open_account(username="ana", password=None, kind="worker", worker=ana)
        telling.tell_workers([ana.pk], what="countersigned", at=NOW, by=None)
    assert mail.outbox == []


def test_a_mail_that_cannot_be_sent_fails_nothing(
    account: Account,
    settings: Any,
    caplog: pytest.LogCaptureFixture,
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
) -> None:
    settings.EMAIL_BACKEND = "tests.people.refusing_mail.Refusing"
    with django_capture_on_commit_callbacks(execute=True):
        record_event(account=account, what="password_changed", at=NOW, by=account)
    assert AccountEvent.objects.get().what == "password_changed"
    assert "mail_not_sent" in caplog.text
    assert "ana@" not in caplog.text


def test_changes_of_an_account_are_told(
    account: Account,
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
) -> None:
    Account.objects.filter(pk=account.pk).update(language="en")
    account.refresh_from_db()
    registrar = services.open_account(username="registrar", password=None, kind="registrar")
    enrol_authenticator_app(account=account, secret="INVENTEDFORTESTS")
    with django_capture_on_commit_callbacks(execute=True):
        call_command("remove_second_factor", "ana", stdout=StringIO())
        check_identity(account=account, looked_at="passport", checked_at=NOW, checked_by=registrar)
        change_address(account=account, address="ana.lind@post.example", changed_at=NOW)
        close_account(account=account, closed_at=NOW, closed_by=registrar, reason="Lost the phone.")
    assert [(each.recipients()[0], each.subject) for each in mail.outbox] == [
        ("ana@post.example", "The second factor of your account was removed"),
        ("ana@post.example", "Your identity was confirmed"),
        ("ana.lind@post.example", "The e-mail address of your account was changed"),
        ("ana@post.example", "The e-mail address of your account was changed"),
        ("ana.lind@post.example", "Your account was closed"),
    ]
    assert list(AccountEvent.objects.order_by("pk").values_list("what", "recorded_by")) == [
        ("second_factor_removed", None),
        ("address_changed", account.pk),
    ]
