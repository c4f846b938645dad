"""The French catalogue is whole, and French pages are French."""

from __future__ import annotations

import ast
import re
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from django.conf import settings
from django.test import Client
from django.utils import translation
from django.utils.formats import number_format
from django.utils.translation import ngettext

from registry.crews.models import Decision, Job
from registry.language import amounts
from registry.people.models import Worker
from registry.workshop import catalogue
from tests.transcripts.reading import text_of
from tests.world import World

PO = settings.PROJECT / "locale" / "fr" / "LC_MESSAGES" / "django.po"
PLACEHOLDER = re.compile(r"%\((\w+)\)\d*([sd])|\{(\w*)\}")


@pytest.fixture(scope="module")
def french() -> catalogue.SteadyCatalogue:
    return catalogue.kept(PO)


class TestTheCatalogue:
    def test_has_every_message_of_the_sources_and_no_other(self, french: catalogue.SteadyCatalogue) -> None:
        in_the_sources = {each.id for each in catalogue.messages_of(settings.PROJECT).translations}
        kept = {each.id for each in french.translations}
        assert in_the_sources - kept == set(), "run: python3 manage.py catalogue"
        assert kept - in_the_sources == set(), "run: python3 manage.py catalogue"

    def test_knows_every_name_under_which_the_sources_mark_messages(self) -> None:
        imported = {
            alias.asname or alias.name
            for folder in ("api", "registry")
            for path in (settings.PROJECT / folder).rglob("*.py")
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.ImportFrom) and node.module == "django.utils.translation"
            for alias in node.names
            if "gettext" in alias.name
        }
        assert imported <= catalogue.MARKERS.keys()

    def test_says_each_in_french(self, french: catalogue.SteadyCatalogue) -> None:
        assert catalogue.untranslated(french) == []

    def test_never_guesses(self, french: catalogue.SteadyCatalogue) -> None:
        assert [each.id for each in french.translations if each.fuzzy] == []

    def test_puts_in_what_the_english_puts_in(self, french: catalogue.SteadyCatalogue) -> None:
        for each in french.translations:
            # Of a plural, the second form has all: the first may say "one" in words.
            english, said = catalogue.forms(each.id), catalogue.forms(each.string)
            assert placeholders(said[-1]) == placeholders(english[-1]), english
            assert placeholders(said[0]) <= placeholders(english[-1]), english

    def test_sets_french_punctuation_apart_with_a_narrow_space(self, french: catalogue.SteadyCatalogue) -> None:
        said = [form for each in french.translations for form in catalogue.forms(each.string)]
        assert [
            form for form in said if re.search(r"(?<![\u202f\d?=/])[:;?!](?=\s|$)|[^\u202f]»|«[^\u202f]", form)
        ] == []
        assert [form for form in said if re.search(r"[a-zé]'[a-zéèêàh]", form)] == [], "an apostrophe is ’"

    def test_is_compiled(self, french: catalogue.SteadyCatalogue) -> None:
        assert PO.with_suffix(".mo").read_bytes() == catalogue.compiled(french)

    def test_is_written_the_same_way_each_time(self, french: catalogue.SteadyCatalogue) -> None:
        again = catalogue.brought_up_to_date(catalogue.kept(PO), catalogue.messages_of(settings.PROJECT))
        assert catalogue.text_of(again) == PO.read_bytes()


class TestFindingMessages:
    @pytest.mark.parametrize(
        ("name", "source", "found"),
        [
            ("a.py", '_("one")', {"one"}),
            ("a.py", 'say("%(n)s of " "them", n=name("key"))', {"%(n)s of them"}),
            ("a.py", 'ngettext("one %(n)s", "many %(n)s", n)', {("one %(n)s", "many %(n)s")}),
            ("a.py", '_(said["key"])', set()),
            ("a.html", '<p>\n  {% trans "one" %}\n{% if x %}it\'s{% endif %}', {"one"}),
            (
                "a.html",
                "{% blocktrans count n=n %}{{ n }} a{% plural %}{{ n }} b{% endblocktrans %}",
                {("%(n)s a", "%(n)s b")},
            ),
            ("a.html", '{{ _("one")|capfirst }}', {"one"}),
            (
                "a.yaml",
                "key: no\nroles: [{hours: {key: k, sentence: one}}]\nrole_titles: {rigger: two}",
                {"one", "two"},
            ),
        ],
    )
    def test_reads_code_templates_and_standards(
        self, tmp_path: Path, name: str, source: str, found: set[catalogue.Message]
    ) -> None:
        (tmp_path / "registry").mkdir()
        (tmp_path / "registry" / name).write_text(source, encoding="utf-8")
        assert {each.id for each in catalogue.messages_of(tmp_path).translations} == found


@pytest.mark.parametrize(
    ("english", "french"),
    [
        pytest.param("This password is too common.", "Ce mot de passe est trop courant.", id="Django"),
        pytest.param("Incorrect code.", "Code incorrect.", id="allauth"),
    ],
)
def test_libraries_bring_their_own_french(english: str, french: str) -> None:
    with translation.override("fr"):
        assert translation.gettext(english) == french


def placeholders(text: str) -> set[str]:
    return {found[0] for found in PLACEHOLDER.finditer(text)}


class TestFiguresInFrench:
    def test_days_and_times(self) -> None:
        with translation.override("fr"):
            instant = datetime(2026, 11, 28, 7, tzinfo=UTC)
            assert amounts.instant(instant, ZoneInfo("UTC")) == "28 novembre 2026, 07:00"
            assert amounts.day(date(2026, 8, 1)) == "1er août 2026"
            assert amounts.weekday(date(2026, 12, 1)) == "mar 1er déc."
            assert [amounts.short_month(date(2026, month, 1)) for month in (5, 6, 7)] == ["mai", "juin", "juil."]
            assert amounts.day_of_year(datetime(2026, 6, 2, tzinfo=UTC), ZoneInfo("UTC")) == "2 juin"

    def test_hours_and_numbers(self) -> None:
        with translation.override("fr"):
            assert amounts.hours_and_minutes(75_615) == "1\xa0260\xa0h 15\xa0min"
            assert amounts.duration(7200) == "120\xa0h"
            assert number_format(1.5) == "1,5"

    @pytest.mark.parametrize(("count", "said"), [(0, "0 règle"), (1, "1 règle"), (2, "2 règles")])
    def test_nothing_is_singular(self, count: int, said: str) -> None:
        with translation.override("fr"):
            met = ngettext("%(met)s rule is met", "%(met)s rules are met", count) % {"met": count}
        assert met.startswith(f"{said} ")


class TestChoosingFrench:
    def test_by_the_browsers_languages(self, client: Client, db: None) -> None:
        shown = client.get("/sign-in/", headers={"Accept-Language": "fr-CA, fr;q=0.9, en;q=0.8"})
        assert '<html lang="fr">' in shown.text
        assert "Se connecter" in shown.text

    def test_at_the_foot_of_a_page_before_signing_in_and_for_good(self, client: Client, db: None) -> None:
        page = client.get("/sign-in/?next=/jobs/1/").text
        assert 'value="/sign-in/?next=/jobs/1/"' in page, "it leads back to the same page"
        assert re.search(r'<button [^>]*value="fr" lang="fr">Français</button>', page)
        chosen = client.post("/language/", {"language": "fr", "next": "/sign-in/?next=/jobs/1/"})
        assert chosen.headers["Location"] == "/sign-in/?next=/jobs/1/"
        assert chosen.cookies[settings.LANGUAGE_COOKIE_NAME]["max-age"] == 365 * 24 * 60 * 60
        shown = client.get("/sign-in/", headers={"Accept-Language": "en"}).text
        assert '<html lang="fr">' in shown
        assert re.search(r'value="fr" lang="fr" aria-current="true"', shown)

    def test_a_choice_leads_nowhere_else(self, client: Client, db: None) -> None:
        chosen = client.post("/language/", {"language": "fr", "next": "https://elsewhere.example/"})
        assert chosen.headers["Location"] == "/"


ENGLISH = re.compile(
    r"\b(the|and|this|with|from|until|hours|worker|employer|crane|model|erector|rigger|dismantling|trainee|held|open"
    r"|recorded|missing|required|found|who|of|is|are|by|to|for|Jan|Feb|Mar|Apr|Jun|Jul|Aug|Sep|Oct|Nov|Dec)\b"
)
INVENTED = ("Halvorsby Tower Works", "tower crane erection")


def english_in(page: str) -> list[str]:
    """What a page says that has an English word in it, names given in the world of the tests aside."""
    body = re.sub(r"<(style|script)\b.*?</\1>", "", page.partition("<body")[2], flags=re.DOTALL)
    body = re.sub("|".join(INVENTED), "", body, flags=re.IGNORECASE)
    labels = re.findall(r'(?:aria-label|placeholder|alt|title)="([^"]*)"', body)
    said = [" ".join(each.split()) for each in [*re.split(r"<[^>]*>", body), *labels]]
    return [each for each in said if ENGLISH.search(each)]


def in_french(client: Client) -> Client:
    client.cookies[settings.LANGUAGE_COOKIE_NAME] = "fr"
    return client


@pytest.fixture
def job(world: World) -> Job:
    return world.job(["erection_supervisor", "erector", "erector", "trainee"])


@pytest.fixture
def erector(world: World, job: Job) -> Worker:
    worker = world.worker("Mira", "Sandoval")
    world.make_erector(worker)
    assert world.assign(job.slots.get(role="erector", position=1), worker).assignment is not None
    return worker


@pytest.fixture
def refusal(world: World, job: Job, erector: Worker) -> Decision:
    """The refusal of a newcomer who has a few hours."""
    newcomer = world.worker("Jory", "Pennavale")
    world.hours(newcomer, days=2)
    return world.assign(job.slots.get(role="erector", position=2), newcomer).decision


class TestFrenchPages:
    def test_the_pages_before_signing_in(self, client: Client, db: None) -> None:
        for path, sentence in [
            ("/sign-in/", "Mot de passe oublié\u202f?"),
            ("/check/", "Rien n’est dit de la personne."),
            ("/nothing-here/", "Il n’y a rien ici pour vous"),
        ]:
            shown = in_french(client).get(path).text
            assert sentence in shown
            assert english_in(shown) == []

    def test_the_job_and_its_decisions_for_a_dispatcher(
        self, dispatcher: Client, job: Job, erector: Worker, refusal: Decision
    ) -> None:
        client = in_french(dispatcher)
        crew = client.get(f"/jobs/{job.pk}/").text
        assert "Pourvoir ce poste" in crew
        assert "Le registre vérifie des documents\u202f; il ne rend pas un levage sûr." in crew
        assert "personne à ce poste à partir du" in crew
        refused = client.get(f"/decisions/{refusal.pk}/").text
        assert "REFUS" in refused
        assert "il manque 80\xa0h" in refused
        assert "120\xa0h de pratique" in refused
        assert "des heures de pratique sur le modèle même" in refused.lower()
        assert "une évaluation pratique comme monteur en démontage" in refused.lower()
        candidates = client.get(f"/slots/{job.slots.get(role='erector', position=2).pk}/fill/").text
        for shown in (crew, refused, client.get("/").text, candidates):
            assert english_in(shown) == []

    def test_the_record_and_the_transcript_for_a_worker(
        self, as_worker: Callable[[Worker], Client], erector: Worker
    ) -> None:
        client = in_french(as_worker(erector))
        record = client.get(f"/workers/{erector.pk}/").text
        assert "Heures de pratique" in record
        assert "compétence acquise" in record.lower()
        for shown in (record, client.get(f"/workers/{erector.pk}/transcript/").text, client.get("/").text):
            assert english_in(shown) == []

    def test_the_job_as_known_and_the_trace_for_an_inspector(
        self, inspector: Client, job: Job, erector: Worker
    ) -> None:
        client = in_french(inspector)
        known = client.get(f"/jobs/{job.pk}/as-known/", {"known_at": f"{job.start:%Y}-01-01T07:00"}).text
        assert "d’après ce que le registre savait" in known
        for shown in (known, client.get("/inspection/").text, client.get("/looks/").text):
            assert english_in(shown) == []


@pytest.mark.prints
def test_a_refusal_notice_is_printed_in_french(dispatcher: Client, refusal: Decision) -> None:
    printed = in_french(dispatcher).get(f"/decisions/{refusal.pk}/refusal-notice.pdf").content
    said = " ".join(text_of(printed))
    assert "Avis de refus" in said
    assert "il manque 80 h" in said.replace("\xa0", " ")
    assert "Comment y remédier" in said
