"""The pages for equipment: who opens them, what is entered, what is refused beside its field."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client

from registry.equipment import services as equipment
from registry.equipment.models import Crane, CraneModel, CranePlacement, FamilyDeclaration, Maker, Site
from registry.people import services as people
from registry.people.models import Account, Employer, Worker
from tests.web.conftest import SignedIn
from tests.world import World

LISTS = ("/equipment/", "/equipment/sites/", "/equipment/models/")
ENTERED_BY_THE_REGISTRAR = ("/employers/new/", "/equipment/makers/new/", "/equipment/models/new/")
ENTERED_BY_DISPATCHERS = ("/equipment/sites/new/", "/equipment/cranes/new/")


@pytest.fixture
def registrar(world: World, signed_in: SignedIn) -> Client:
    return signed_in(people.open_account(username="registrar", password=None, kind="registrar"))


@pytest.fixture
def crane(world: World) -> Crane:
    """A crane that stands nowhere yet."""
    return equipment.register_crane(model=world.model, serial_number="QW-77", recorded_at=world.now)


def placed(world: World, crane: Crane, by: Account | None) -> CranePlacement:
    return equipment.place_crane(
        crane=crane, site=world.site, start=world.now - timedelta(days=9), recorded_at=world.now, recorded_by=by
    )


def test_a_new_register_is_entered_from_the_first_maker_to_the_crane_on_its_site(
    world: World, registrar: Client
) -> None:
    home = registrar.get("/").text
    for path in (*LISTS, "/employers/new/"):
        assert f'href="{path}"' in home
    for path, given in (
        ("/employers/new/", {"name": "Rook Lifting", "jurisdiction": "US", "responsible_person": "Ada Ferrow"}),
        ("/equipment/makers/new/", {"name": "Osterly"}),
    ):
        assert "Recorded: " in registrar.post(path, given, follow=True).text
    assert Employer.objects.get(name="Rook Lifting").responsible_person == "Ada Ferrow"
    maker = Maker.objects.get(name="Osterly")
    for designation in ("OC 8", "OC 9"):
        model = {
            "maker": maker.pk,
            "designation": designation,
            "crane_class": "luffing",
            "configurations": "short\nlong",
        }
        assert f"Recorded: Osterly {designation}." in registrar.post("/equipment/models/new/", model, follow=True).text
    models = list(CraneModel.objects.filter(maker=maker))
    assert models[0].configurations == ["short", "long"]
    family = {"models": [each.pk for each in models], "document": "Bulletin 3", "valid_from": "2026-01-01"}
    assert registrar.post(f"/equipment/makers/{maker.pk}/family/", family).status_code == 302
    assert FamilyDeclaration.objects.get().models_declared == [each.pk for each in models]
    site = {
        "name": "Heron Dock",
        "time_zone": "america/new york",
        "jurisdiction": "US",
        "working_language": "French",
    }
    assert "Heron Dock" in registrar.post("/equipment/sites/new/", site, follow=True).text
    dock = Site.objects.get(name="Heron Dock")
    assert (dock.time_zone, dock.working_language) == ("America/New_York", "fr")
    crane = registrar.post("/equipment/cranes/new/", {"model": models[0].pk, "serial_number": "8-001"})
    stay = registrar.post(crane.headers["Location"], {"site": dock.pk, "start": "2026-03-02T07:00"}, follow=True)
    assert "still there" in stay.text
    assert f"{CranePlacement.objects.get(site=dock).start:%H:%M}" == "12:00", "by the clock on the site"
    shown = registrar.get("/equipment/", {"q": "oster 8-001"}).text
    assert "Heron Dock" in shown
    assert "No crane is found" in registrar.get("/equipment/", {"q": "nothing such"}).text


@pytest.mark.parametrize(
    ("path", "given", "sentence"),
    [
        ("/employers/new/", {"name": "skarnholt tower-works"}, "Choose"),
        ("/equipment/makers/new/", {"name": " "}, "This field is required"),
        ("/equipment/models/new/", {"designation": "X 1", "configurations": "x" * 101}, "100 characters at most"),
        ("/equipment/sites/new/", {"name": "Heron Dock", "time_zone": "Mars/Base"}, "This field is required"),
        ("/equipment/cranes/new/", {"model": "0", "serial_number": "kept as typed"}, "Select a valid choice"),
    ],
)
def test_what_is_refused_is_said_beside_its_field_and_stays_typed(
    world: World, registrar: Client, path: str, given: dict[str, str], sentence: str
) -> None:
    answer = registrar.post(path, given)
    assert answer.status_code == 422
    assert sentence in answer.text
    for typed in given.values():
        assert typed.strip() in answer.text


def test_the_services_refusal_stands_beside_the_field(world: World, registrar: Client, crane: Crane) -> None:
    other_spelling = f"{world.model.maker.name.upper()}."
    assert "is registered already" in registrar.post("/equipment/makers/new/", {"name": other_spelling}).text
    employer = {"name": world.employer.name.upper(), "jurisdiction": "US", "responsible_person": "A"}
    assert f"{world.employer.name} is registered already" in registrar.post("/employers/new/", employer).text
    site = {"name": "Heron Dock", "time_zone": "Mars/Base", "jurisdiction": "US"}
    assert "There is no such time zone" in registrar.post("/equipment/sites/new/", site).text
    again = {"model": crane.model_id, "serial_number": "qw 77"}
    assert "is known already" in registrar.post("/equipment/cranes/new/", again).text
    one = {"models": [world.model.pk], "document": "Bulletin 3", "valid_from": "2026-01-01"}
    family = registrar.post(f"/equipment/makers/{world.model.maker_id}/family/", one)
    assert "two or more models" in family.text
    placed(world, crane, None)
    for given, sentence in (
        ({"start": "2026-03-02T07:00", "end": "2026-03-01T07:00"}, "must leave after it came"),
        ({"start": "2026-03-02T07:00"}, "stands on another site at that time"),
        ({"start": "2026-03-08T02:30"}, "put forward then and never shows this time"),
    ):
        answer = registrar.post(f"/equipment/cranes/{crane.pk}/", {"site": world.site.pk, **given})
        assert answer.status_code == 422
        assert sentence in answer.text


def test_a_dispatcher_enters_sites_and_cranes_and_no_models(world: World, dispatcher: Client, crane: Crane) -> None:
    assert 'href="/equipment/"' in dispatcher.get("/jobs/plan/").text
    for path in (*LISTS, *ENTERED_BY_DISPATCHERS, f"/equipment/cranes/{crane.pk}/"):
        assert dispatcher.get(path).status_code == 200
    for path in (*ENTERED_BY_THE_REGISTRAR, f"/equipment/makers/{world.model.maker_id}/family/"):
        for answer in (dispatcher.get(path), dispatcher.post(path, {"name": "Osterly"})):
            assert answer.status_code == 403
            assert "Only the registrar enters" in answer.text
    assert "/equipment/makers/new/" not in dispatcher.get("/equipment/models/").text
    site = {"name": "Heron Dock", "time_zone": "America/New_York", "jurisdiction": "US"}
    assert dispatcher.post("/equipment/sites/new/", site).status_code == 302
    assert not Maker.objects.filter(name="Osterly").exists()


def test_an_inspector_looks_at_the_list_and_enters_nothing(
    world: World, inspector: Client, crane: Crane, as_worker: Callable[[Worker], Client]
) -> None:
    for path in LISTS:
        shown = inspector.get(path)
        assert shown.status_code == 200
        assert "/new/" not in shown.text
    stay = placed(world, crane, None)
    forms = (*ENTERED_BY_THE_REGISTRAR, *ENTERED_BY_DISPATCHERS, f"/equipment/cranes/{crane.pk}/")
    worker = as_worker(world.worker("Mira", "Sandoval"))
    for path in (*forms, f"/equipment/placements/{stay.pk}/"):
        assert inspector.post(path, {"withdraw": "1"}).status_code == 403
        assert worker.post(path, {"withdraw": "1"}).status_code == 403
    for path in LISTS:
        assert worker.get(path).status_code == 403
    assert 'href="/equipment/"' not in worker.get("/own/").text


def test_a_stay_is_ended_and_withdrawn_by_whoever_recorded_it(
    world: World, dispatcher: Client, another_employer: Client, crane: Crane
) -> None:
    stay = placed(world, crane, Account.objects.get(employer=world.employer))
    path = f"/equipment/placements/{stay.pk}/"
    assert path not in another_employer.get(f"/equipment/cranes/{crane.pk}/").text
    assert another_employer.post(path, {"withdraw": "1"}).status_code == 403
    assert path in dispatcher.get(f"/equipment/cranes/{crane.pk}/").text
    shown = dispatcher.get(path).context["form"]
    local = {"site": stay.site_id, "start": shown["start"].value().strftime("%Y-%m-%dT%H:%M")}
    before = dispatcher.post(path, local | {"end": "2020-01-01T00:00"})
    assert before.status_code == 422
    assert "must leave after it came" in before.text
    assert dispatcher.post(path, local | {"end": "2099-01-01T00:00"}).status_code == 302
    ended = CranePlacement.objects.current().get(crane=crane)
    assert (ended.start, ended.supersedes, ended.end is None) == (stay.start, stay, False)
    assert dispatcher.get(path).status_code == 404, "a record is corrected once"
    assert dispatcher.post(f"/equipment/placements/{ended.pk}/", {"withdraw": "1"}).status_code == 302
    assert not CranePlacement.objects.current().filter(crane=crane).exists()


def test_the_list_has_50_cranes_on_a_page(world: World, registrar: Client) -> None:
    for number in range(51):
        equipment.register_crane(model=world.model, serial_number=f"N{number:03}", recorded_at=world.now)
    first, second = registrar.get("/equipment/?q=N0"), registrar.get("/equipment/?q=N0&page=2")
    assert first.text.count("/equipment/cranes/") == 50 + 1, "and the link to register one"
    assert "N050" in second.text
    assert "q=N0" in first.text
