"""Links by which a worker shares their own record: made, looked through, counted, ended, and closed for good."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from runpy import run_path
from typing import Any

import pytest
from django.core.cache import cache
from django.db import DatabaseError, connection, transaction
from django.test import Client

from registry.database.errors import RecordRefused, constraint_of
from registry.ledger.models import Entry
from registry.people import services as people
from registry.people.models import Account, Worker
from registry.transcripts import sharing
from registry.transcripts.models import IssuedTranscript, LinkOpening, SharedLink
from tests.world import World

SignedIn = Callable[[Account], Client]


@pytest.fixture(autouse=True)
def _limits_start_anew(db: None) -> Iterator[None]:
    cache.clear()
    yield
    cache.clear()


@pytest.fixture
def mira(world: World) -> Worker:
    worker = world.worker("Mira", "Sandoval")
    world.make_erector(worker, days=3)
    return worker


@pytest.fixture
def account(mira: Worker) -> Account:
    return people.open_account(username="mira", password=None, kind="worker", worker=mira)


def made(mira: Worker, account: Account, at: datetime, *, days: int = 7) -> sharing.NewLink:
    return sharing.share(worker=mira, days=days, note="Cormorant", at=at, shared_by=account)


def path(link: sharing.NewLink) -> str:
    return f"/shared/{link.token}/"


def test_a_worker_makes_a_link_that_is_shown_once_and_kept_only_as_its_sha256(
    account: Account, signed_in: SignedIn
) -> None:
    client = signed_in(account)
    shown = client.post("/sharing/", {"days": 3, "note": "Cormorant Lift Yard"}).text
    found = re.search(r"http://testserver/shared/([\w-]{43})/", shown)
    assert found is not None
    assert "data:image/svg+xml;base64," in shown
    link = SharedLink.objects.get()
    assert link.expires_at - link.recorded_at == timedelta(days=3)
    assert found[1] not in (link.token_hash, link.note)
    assert found[1] not in client.get("/sharing/").text
    assert "Nobody has looked yet" in client.get("/sharing/").text
    assert Entry.objects.filter(kind="transcripts_sharedlink", record=link.pk).exists()


@pytest.mark.parametrize("days", ["0", "31", "", "seven"])
def test_a_link_lasts_from_1_to_30_days(account: Account, signed_in: SignedIn, days: str) -> None:
    refused = signed_in(account).post("/sharing/", {"days": days, "note": "kept as typed"})
    assert refused.status_code == 422
    assert 'id="id_days_error"' in refused.text
    assert "kept as typed" in refused.text
    assert not SharedLink.objects.exists()


def test_whoever_has_the_link_sees_the_record_without_an_account_and_nobody_keeps_it(
    world: World, mira: Worker, account: Account, client: Client
) -> None:
    answer = client.get(path(made(mira, account, world.now)))
    assert answer.status_code == 200
    for shown in ("Mira Sandoval", "Brandvold BT-180", "24 h", "Norrland Board", "Halvorsby Tower Works"):
        assert shown in answer.text
    assert "by people who sign only for one another, do not count" in answer.text
    assert "Cormorant" not in answer.text, "the note is the worker's own"
    assert "no-store" in answer.headers["Cache-Control"]
    assert answer.headers["Referrer-Policy"] == "same-origin"
    assert "noindex" in answer.headers["X-Robots-Tag"]
    french = client.get(path(made(mira, account, world.now)), headers={"accept-language": "fr"})
    assert '<html lang="fr">' in french.text
    assert client.post(path(made(mira, account, world.now))).status_code == 405


def test_every_look_is_told_to_the_worker_with_the_firm_where_somebody_is_signed_in(
    world: World,
    mira: Worker,
    account: Account,
    signed_in: SignedIn,
    another_employer: Client,
    inspector: Client,
    client: Client,
) -> None:
    link = made(mira, account, world.now)
    for each in (client, another_employer, inspector, signed_in(account)):
        assert each.get(path(link)).status_code == 200
    assert LinkOpening.objects.count() == 3, "nobody's look at themself is recorded"
    own = signed_in(account)
    shown = own.get("/looks/").text
    for by in ("somebody who was not signed in", "Cormorant Lift Yard", "an inspector of the public authority"):
        assert f"{by}, a person&#x27;s record, through the link shared" in shown
    assert "Looked at 3 times" in own.get("/sharing/").text
    assert "you, a person&#x27;s record, through the link shared" in another_employer.get("/looks/").text


def test_what_others_looked_at_through_a_link_is_not_told_to_the_employer(
    world: World, mira: Worker, account: Account, client: Client, dispatcher: Client
) -> None:
    client.get(path(made(mira, account, world.now)))
    assert "through the link shared" not in dispatcher.get("/looks/").text


def test_looks_of_both_kinds_stand_in_one_order_page_by_page(
    world: World, mira: Worker, account: Account, signed_in: SignedIn, client: Client, dispatcher: Client
) -> None:
    link = made(mira, account, world.now)
    for number in range(60):
        at = world.now + timedelta(minutes=number)
        if number % 2:
            sharing.look_through(token=link.token, what=sharing.RECORD, at=at, looked_by=None)
        elif number == 30:
            dispatcher.get(f"/workers/{mira.pk}/")
    own = signed_in(account)
    first = own.get("/looks/").text
    times = re.findall(r'<time datetime="([^"]+)"', first)
    assert times == sorted(times, reverse=True)
    assert len(times) == 31
    assert "Halvorsby Tower Works, a person&#x27;s record" in first


def test_the_transcript_is_given_out_through_the_link_and_that_is_recorded(
    world: World, mira: Worker, account: Account, client: Client
) -> None:
    link = made(mira, account, world.now)
    answer = client.get(f"{path(link)}transcript/", {"language": "fr", "paper": "Letter"})
    assert answer.content.startswith(b"%PDF-")
    assert answer.headers["Content-Disposition"] == f'attachment; filename="transcript-{mira.number}.pdf"'
    assert "no-store" in answer.headers["Cache-Control"]
    issued = IssuedTranscript.objects.get()
    assert (issued.worker_id, issued.recorded_by_id) == (mira.pk, None)
    assert LinkOpening.objects.get().what == "transcript"
    assert client.get(f"{path(link)}transcript/", {"paper": "A0"}).headers["Location"] == path(link)


def test_a_closed_link_says_nothing_about_anybody(
    world: World, mira: Worker, account: Account, signed_in: SignedIn, client: Client
) -> None:
    ran_out = made(mira, account, world.now - timedelta(days=8))
    ended = made(mira, account, world.now)
    own = signed_in(account)
    assert own.post(f"/sharing/{ended.link.pk}/end/").headers["Location"] == "/sharing/"
    answers = [client.get(path(ran_out)), client.get(path(ended)), client.get(f"{path(ended)}transcript/?{PRINT}")]
    answers += [client.get(f"/shared/{'x' * 43}/"), own.get(path(ended))]
    for answer in answers:
        assert answer.status_code == 410
        assert "This link is closed" in answer.text
        assert "no-store" in answer.headers["Cache-Control"]
        assert mira.number not in answer.text
    assert "Sandoval" not in answers[0].text
    assert not LinkOpening.objects.exists()
    assert not IssuedTranscript.objects.exists()
    assert "Ended by you" in own.get("/sharing/").text
    assert own.post(f"/sharing/{ended.link.pk}/end/").status_code == 409


PRINT = "language=en&paper=A4"


def test_too_many_wrong_links_from_one_address_are_refused_before_they_are_looked_up(
    world: World, mira: Worker, account: Account, client: Client
) -> None:
    link = made(mira, account, world.now)
    answers = [client.get(f"/shared/{number:043}/").status_code for number in range(31)]
    assert answers == [410] * 30 + [429]
    refused = client.get(path(link))
    assert refused.status_code == 429
    assert "no-store" in refused.headers["Cache-Control"]
    assert Client(REMOTE_ADDR="198.51.100.7").get(path(link)).status_code == 200


def test_to_whom_a_record_was_shown_is_read_by_its_worker_alone(
    world: World, mira: Worker, account: Account, dispatcher: Client, inspector: Client, signed_in: SignedIn
) -> None:
    link = made(mira, account, world.now)
    assert Client().get(path(link)).status_code == 200
    opening = LinkOpening.objects.get()
    ended = sharing.end_link(link=link.link, at=world.now, ended_by=account)
    own = signed_in(account)
    for record in (link.link, opening, ended):
        address = f"/log/records/{record._meta.db_table}/{record.pk}/"
        assert own.get(address).status_code == 200
        for other in (inspector, dispatcher):
            assert other.get(address).status_code == 404, "the note is the worker's alone"


def test_behind_a_proxy_wrong_links_are_counted_for_whom_it_answers(
    world: World, mira: Worker, account: Account, client: Client, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BEHIND_PROXY", "1")
    behind = run_path(str(settings.PROJECT / "registry" / "settings.py"))
    settings.ALLAUTH_TRUSTED_PROXY_COUNT = behind["ALLAUTH_TRUSTED_PROXY_COUNT"]
    link = made(mira, account, world.now)
    guesser, guest = ({"X-Forwarded-For": f"203.0.113.9, 198.51.100.{each}"} for each in (7, 8))
    answers = [client.get(f"/shared/{number:043}/", headers=guesser).status_code for number in range(31)]
    assert answers[-1] == 429
    assert client.get(path(link), headers=guest).status_code == 200


def test_only_the_worker_shares_and_ends(
    world: World, mira: Worker, account: Account, dispatcher: Client, inspector: Client, signed_in: SignedIn
) -> None:
    link = made(mira, account, world.now)
    other = world.worker("Aurel", "Voskuijlen")
    another = people.open_account(username="aurel", password=None, kind="worker", worker=other)
    for client in (dispatcher, inspector):
        assert client.get("/sharing/").status_code == 403
        assert client.post("/sharing/", {"days": 3}).status_code == 403
        assert client.post(f"/sharing/{link.link.pk}/end/").status_code == 403
    assert signed_in(another).post(f"/sharing/{link.link.pk}/end/").status_code == 404
    with pytest.raises(RecordRefused, match="Only the worker shares"):
        made(mira, another, world.now)
    with pytest.raises(RecordRefused, match="Only the worker shares"):
        sharing.end_link(link=link.link, at=world.now, ended_by=another)


INSERT_LINK = """
    INSERT INTO transcripts_sharedlink (token_hash, worker_id, note, expires_at, recorded_at, recorded_by_id)
    VALUES (%(hash)s, %(worker)s, '', %(at)s::timestamptz + %(lasts)s * interval '1 day', %(at)s, %(by)s)
"""


@pytest.mark.parametrize(
    ("changes", "rule"),
    [
        ({"lasts": 31}, "shared_link_lasts_at_most_30_days"),
        ({"lasts": 0}, "shared_link_lasts_at_most_30_days"),
        ({"hash": "the-token-itself"}, "shared_link_keeps_only_the_tokens_sha256"),
        ({"by": "dispatcher"}, "a_link_is_made_and_ended_by_its_worker"),
    ],
)
def test_the_database_itself_refuses_a_link_that_breaks_the_rules(
    world: World, mira: Worker, account: Account, changes: dict[str, Any], rule: str
) -> None:
    values = {"hash": "a" * 64, "worker": mira.pk, "lasts": 7, "at": world.now, "by": account.pk, **changes}
    if values["by"] == "dispatcher":
        values["by"] = world.dispatcher().pk
    with pytest.raises(DatabaseError) as refused, transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(INSERT_LINK, values)
    assert constraint_of(refused.value) == rule


@pytest.mark.parametrize(
    ("statement", "rule"),
    [
        (
            "INSERT INTO transcripts_endedlink (link_id, recorded_at, recorded_by_id)"
            " VALUES (%(link)s, %(at)s - interval '1 hour', %(by)s)",
            "a_link_ends_after_it_was_made",
        ),
        (
            "INSERT INTO transcripts_linkopening (link_id, what, recorded_at)"
            " VALUES (%(link)s, 'record', %(at)s + interval '7 days')",
            "only_an_open_link_is_looked_through",
        ),
        ("UPDATE transcripts_sharedlink SET expires_at = now()", None),
        ("DELETE FROM transcripts_linkopening", None),
    ],
)
def test_the_database_itself_refuses_to_change_or_look_through_a_link_out_of_its_time(
    world: World, mira: Worker, account: Account, statement: str, rule: str | None
) -> None:
    link = made(mira, account, world.now).link
    with pytest.raises(DatabaseError) as refused, transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement, {"link": link.pk, "at": world.now, "by": account.pk})
    if rule is None:
        assert "permission denied" in str(refused.value)
    else:
        assert constraint_of(refused.value) == rule
