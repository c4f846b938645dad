"""The demonstration: invented people, firms, makers, models and places.

It is built through the same services as everything else, so every assignment
in it passed the guard and every refusal in it was given by the engine.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from allauth.mfa.models import Authenticator
from allauth.mfa.totp.internal import auth as totp
from django.core.cache import cache
from django.utils.functional import Promise
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from registry.crews import services as crews
from registry.crews.models import Assignment, Job, Slot
from registry.equipment import services as equipment
from registry.equipment.models import Crane, CraneModel, Site
from registry.evidence import services as evidence
from registry.notices import services as notices
from registry.notices.packet import packet_of
from registry.people import services as people
from registry.people.models import Account, Employer, Worker
from registry.people.second_factor import enrol_authenticator_app

EMPLOYER = "Skarnholt Tower Works"
OTHER_EMPLOYER = "Pellavine Hoist & Mast"
STANDARD = "makers-practice-us"
ZONE = ZoneInfo("America/Los_Angeles")
CRANE_CLASS = "tower crane, slewing at the top"
DAY = timedelta(days=1)
ALL_OPERATIONS = ("erection", "climbing", "repositioning", "dismantling")


@dataclass(frozen=True, slots=True)
class DemoAccount:
    """An account anybody may sign in with while the demonstration runs: password and app secret are public."""

    username: str
    password: str
    what: Promise | str
    app_secret: str


def _plans_for(employer: str) -> Promise | str:
    return format_lazy(_("plans crews for {employer}"), employer=employer)


DISPATCHER = DemoAccount("dispatcher", "level-the-mast-41", _plans_for(EMPLOYER), "MASTSECTIONDEMOA")
INSPECTOR = DemoAccount(
    "inspector", "look-and-leave-a-trace-7", _("sees everything, changes nothing"), "MASTSECTIONDEMOB"
)
WORKER = DemoAccount("jory", "first-season-on-the-mast-3", _("Jory Pennavale, sees his own record"), "MASTSECTIONDEMOC")
OTHER_DISPATCHER = DemoAccount("pellavine", "another-yard-entirely-9", _plans_for(OTHER_EMPLOYER), "MASTSECTIONDEMOD")
ACCOUNTS = (DISPATCHER, INSPECTOR, WORKER, OTHER_DISPATCHER)


def load(*, now: datetime) -> Job:
    """Build the whole scenario as seen from ``now``; returns the dismantling it is about."""
    return _Scenario(now).build()


def enrol_accounts() -> None:
    """Give each of the demonstration's accounts its authenticator app, unless it has one."""
    known = {each.username: each for each in ACCOUNTS}
    for account in Account.objects.filter(username__in=known):
        enrol_authenticator_app(account=account, secret=known[account.username].app_secret)


def shown_by_app(secret: str) -> list[str]:
    """What an authenticator app with ``secret`` (base32) showed before, shows now and shows next."""
    counters = totp.yield_hotp_counters_from_time()
    return [totp.format_hotp_value(totp.hotp_value(secret, each)) for each in counters]


def code_of(account: Account) -> str | None:
    """The code in the account's authenticator app, one that is not used up; ``None`` for accounts not of ours."""
    known = {each.username: each for each in ACCOUNTS}
    found = Authenticator.objects.filter(user=account, type=Authenticator.Type.TOTP).first()
    if account.username not in known or found is None:
        return None
    app = totp.TOTP(found)
    before, now, after = shown_by_app(known[account.username].app_secret)
    fresh = (each for each in (now, after, before) if cache.get(app._get_used_cache_key(each)) is None)
    return next(fresh, now)


@dataclass
class _Scenario:
    now: datetime
    weeks: dict[datetime, list[evidence.NewHours]] = field(default_factory=lambda: defaultdict(list))

    def build(self) -> Job:
        self._firms_and_cranes()
        self._signers()
        self._crew()
        self._people_who_fall_short()
        self._record_weeks()
        self._accounts()
        job = self._job()
        self._other_jobs()
        self._job_with_a_notice()
        return job

    # The frame: firms, models, sites

    def _firms_and_cranes(self) -> None:
        long_ago = self._ago(1600)
        self.employer = people.register_employer(
            name=EMPLOYER,
            jurisdiction="US",
            responsible_person="Hedda Skarnholt",
            address="4 Ballast Row, Port Tessaly",
            recorded_at=long_ago,
        )
        self.other = people.register_employer(
            name=OTHER_EMPLOYER, jurisdiction="US", responsible_person="Anselm Pellavine", recorded_at=long_ago
        )
        self.maker = equipment.register_maker(name="Ulvarra", recorded_at=long_ago)
        self.mast, self.sister, self.namesake = (
            equipment.register_model(
                maker=self.maker, designation=designation, crane_class=CRANE_CLASS, recorded_at=long_ago
            )
            for designation in ("UV 210", "UV 215", "UV 210 S")
        )
        equipment.declare_family(
            maker=self.maker,
            models=[self.mast, self.sister],
            document="Ulvarra training bulletin 14: UV 210 and UV 215 are taught as one",
            valid_from=self._ago(1500).date(),
            recorded_at=self._ago(1490),
            recorded_by=None,
        )
        self.site = self._site("Marrow Quay, Port Tessaly", long_ago)
        self.old_site = self._site("Tallow Hill, Port Tessaly", long_ago)
        self.other_site = self._site("Sable Reach, East Orrin", long_ago)
        self.crane = self._crane(self.mast, "210-0417", self.site, 700)
        self.old_crane = self._crane(self.mast, "210-0388", self.old_site, 1550)
        self.namesake_crane = self._crane(self.namesake, "210S-0021", self.old_site, 1000)
        self.other_crane = self._crane(self.mast, "210-0502", self.other_site, 900)

    def _site(self, name: str, recorded_at: datetime, *, jurisdiction: str = "US", zone: str = ZONE.key) -> Site:
        return equipment.register_site(
            name=name, time_zone=zone, jurisdiction=jurisdiction, working_language="en", recorded_at=recorded_at
        )

    def _crane(self, model: CraneModel, serial_number: str, site: Site, days_ago: int) -> Crane:
        when = self._ago(days_ago)
        crane = equipment.register_crane(model=model, serial_number=serial_number, recorded_at=when)
        equipment.place_crane(crane=crane, site=site, start=when, recorded_at=when, recorded_by=None)
        return crane

    # People

    def _signers(self) -> None:
        """The roots: an assessor by founding appointment, and the maker's own instructor."""
        self.assessor = self._founder("Ottilie", "Brandvoll", self.employer)
        self.other_assessor = self._founder("Cosmo", "Terrazin", self.other)
        self.director = director = self._person("Marguerite", "Oyelara", date(1984, 3, 2))
        self._taught(director, "assembly_procedures", days_ago=1300)
        self._appointed(director, "erection_supervisor", days_ago=1290, stop_work_authority=True)
        self._certified(director, "tower crane erection", "TE-20811", issued=1200, expires_in=500)
        self._worked(director, self.old_crane, "erection", days_ago=900, days=24, capacity="erection_supervisor")
        self._worked(director, self.crane, "climbing", days_ago=560, days=10, capacity="erection_supervisor")
        self._worked(director, self.crane, "dismantling", days_ago=270, days=8, capacity="erection_supervisor")
        self._worked(director, self.crane, "climbing", days_ago=70, days=6, capacity="erection_supervisor")
        self._assessed(director, "erection_supervisor", days_ago=540, operations=ALL_OPERATIONS)

    def _crew(self) -> None:
        self.erector = self._erector("Tobiasz", "Lindqvar", date(1990, 7, 19), days=12)
        self.second_erector = self._erector("Ines", "Halvarro", date(1993, 11, 5), days=10)
        self.trainee = self._person("Bastien", "Okonruiz", date(2003, 1, 23))
        self._appointed(self.trainee, "trainee", days_ago=60)
        self._worked(self.trainee, self.crane, "climbing", days_ago=70, days=4, capacity="trainee")
        self.rigger = self._person("Ephra", "Castellund", date(1988, 9, 30))
        self._worked(self.rigger, self.crane, "climbing", days_ago=210, days=6, capacity="rigger")
        self._assessed(self.rigger, "rigger", days_ago=190)
        self.signal_person = self._person("Noor", "Whitcomb-Sael", date(1991, 4, 11))
        self._taught(self.signal_person, "hand_and_radio_signals", days_ago=640)
        self._assessed(self.signal_person, "signal_person", days_ago=630)
        self.operator = self._operator("Calix", "Tremayn", date(1986, 6, 8), number="TO-33107", expires_in=420)
        self.assistant = self._person("Viggo", "Santavere", date(1982, 12, 1))
        self._taught(self.assistant, "operator_training", days_ago=1250)
        self._certified(self.assistant, "mobile crane operation", "MO-90412", issued=700, expires_in=900)
        self._worked(self.assistant, self.crane, "erection", days_ago=300, days=5, capacity="assist_crane_operator")
        self._assessed(self.assistant, "assist_crane_operator", days_ago=280)
        self.engineer = self._person("Thandeka", "Rosierre", date(1979, 2, 14))
        self._appointed(self.engineer, "overseeing_engineer", days_ago=400)
        self._certified(self.engineer, "professional engineer licence", "PE-5120", issued=1100, expires_in=365)

    def _people_who_fall_short(self) -> None:
        """One of each kind that a crew list on paper would let through."""
        self.novice = self._person("Jory", "Pennavale", date(2005, 5, 27), taught_days_ago=45)
        self._worked(self.novice, self.crane, "climbing", days_ago=30, days=1, hours=1)
        self._operator("Perpetua", "Nsiahm", date(1987, 10, 3), number="TO-28850", expires_in=4)
        ring = [
            self._person("Sef", "Amundarrin", date(1985, 8, 17)),
            self._person("Rurik", "Vasbøl", date(1983, 1, 9)),
        ]
        for one, another in (ring, ring[::-1]):
            self._worked(one, self.namesake_crane, "erection", days_ago=330, days=12, countersigner=another)
            self._worked(one, self.old_crane, "dismantling", days_ago=240, days=14, countersigner=another)
            self._assessed(one, "erector", days_ago=200, assessor=another, operations=ALL_OPERATIONS)
        mover = self._person("Amadou", "Wrenfell", date(1992, 3, 29), employer=self.other, until_days_ago=90)
        self._employed(mover, self.employer, days_ago=80)
        self._worked(
            mover,
            self.other_crane,
            "erection",
            days_ago=400,
            days=18,
            countersigner=self.other_assessor,
            employer=self.other,
        )
        self._worked(mover, self.crane, "climbing", days_ago=60, days=4)
        self._assessed(mover, "erector", days_ago=380, assessor=self.other_assessor, employer=self.other)
        barred = self._erector("Lotte", "Grimalsen", date(1989, 5, 6), days=10)
        evidence.stand_down(
            worker=barred,
            start=self._ago(20),
            reason="Left the pinned section before the second pin was in; retraining ordered.",
            recorded_at=self._ago(20),
            recorded_by=None,
        )
        similar = self._person("Delphine", "Maurizo", date(1994, 2, 22))
        self._worked(similar, self.namesake_crane, "dismantling", days_ago=150, days=16)
        self._assessed(similar, "erector", days_ago=120, model=self.namesake)

    def _founder(self, given_name: str, family_name: str, employer: Employer) -> Worker:
        founder = self._person(given_name, family_name, date(1970, 6, 15), employer=employer)
        letter = evidence.attach_document(
            name="Letter of the maker's training school.txt",
            media_type="text/plain",
            content=f"{given_name} {family_name} teaches and assesses on the UV 210 and UV 215.".encode(),
            recorded_at=self._ago(1480),
            recorded_by=None,
        )
        evidence.appoint(
            worker=founder,
            duty="assessor",
            kind="founding",
            employer=employer,
            start=self._ago(1470),
            appointed_by=employer.responsible_person,
            document=letter,
            recorded_at=self._ago(1469),
            recorded_by=None,
        )
        return founder

    def _person(
        self,
        given_name: str,
        family_name: str,
        born: date,
        *,
        employer: Employer | None = None,
        taught_days_ago: int = 1350,
        until_days_ago: int | None = None,
    ) -> Worker:
        """Somebody on the books, with the language and the instruction that everybody gets."""
        hired = self._ago(taught_days_ago + 10)
        worker = people.register_worker(
            given_name=given_name, family_name=family_name, date_of_birth=born, recorded_at=hired, recorded_by=None
        )
        self._employed(worker, employer or self.employer, days_ago=taught_days_ago + 10, until_days_ago=until_days_ago)
        people.record_language(worker=worker, language="en", recorded_at=hired, recorded_by=None)
        self._taught(worker, "crew_tasks_and_hazards", days_ago=taught_days_ago)
        self._taught(worker, "subpart_cc_training", days_ago=taught_days_ago - 1)
        for days_ago in (1000, 480):
            if days_ago < taught_days_ago:
                self._taught(worker, "model_instruction", days_ago=days_ago, by_maker=True)
        return worker

    def _employed(
        self, worker: Worker, employer: Employer, *, days_ago: int, until_days_ago: int | None = None
    ) -> None:
        people.employ(
            worker=worker,
            employer=employer,
            start=self._ago(days_ago).date(),
            end=None if until_days_ago is None else self._ago(until_days_ago).date(),
            recorded_at=self._ago(days_ago),
            recorded_by=None,
        )

    def _erector(self, given_name: str, family_name: str, born: date, *, days: int) -> Worker:
        worker = self._person(given_name, family_name, born)
        self._worked(worker, self.old_crane, "erection", days_ago=880, days=days)
        self._worked(worker, self.namesake_crane, "repositioning", days_ago=600, days=5)
        for operation, days_ago in (("climbing", 500), ("dismantling", 260), ("climbing", 70)):
            self._worked(worker, self.crane, operation, days_ago=days_ago, days=6, countersigner=self.director)
        self._assessed(worker, "erector", days_ago=240, operations=ALL_OPERATIONS)
        return worker

    def _operator(self, given_name: str, family_name: str, born: date, *, number: str, expires_in: int) -> Worker:
        worker = self._person(given_name, family_name, born)
        self._taught(worker, "operator_training", days_ago=1250)
        self._certified(worker, "tower crane operation", number, issued=1090, expires_in=expires_in)
        self._worked(worker, self.crane, "erection", days_ago=310, days=8, capacity="crane_operator")
        self._assessed(worker, "crane_operator", days_ago=290, operations=ALL_OPERATIONS)
        return worker

    # Records

    def _taught(self, worker: Worker, topic: str, *, days_ago: int, by_maker: bool = False) -> None:
        evidence.record_instruction(
            worker=worker,
            topic=topic,
            provider="maker" if by_maker else "employer",
            provider_name="Ulvarra training school" if by_maker else "",
            model=self.mast if by_maker else None,
            minutes=960 if by_maker else 240,
            completed_at=self._ago(days_ago),
            recorded_at=self._ago(days_ago - 1),
            recorded_by=None,
        )

    def _appointed(self, worker: Worker, duty: str, *, days_ago: int, stop_work_authority: bool = False) -> None:
        evidence.appoint(
            worker=worker,
            duty=duty,
            employer=self.employer,
            start=self._ago(days_ago),
            appointed_by=self.employer.responsible_person,
            stop_work_authority=stop_work_authority,
            recorded_at=self._ago(days_ago),
            recorded_by=None,
        )

    def _certified(self, worker: Worker, scheme: str, number: str, *, issued: int, expires_in: int) -> None:
        evidence.record_certification(
            worker=worker,
            scheme=scheme,
            number=number,
            issuer="Orrin Bureau of Trade Certificates",
            issued=self._ago(issued).date(),
            expires=(self.now.astimezone(ZONE) + expires_in * DAY).date(),
            classes=[CRANE_CLASS],
            recorded_at=self._ago(issued - 5),
            recorded_by=None,
        )

    def _assessed(
        self,
        worker: Worker,
        role: str,
        *,
        days_ago: int,
        assessor: Worker | None = None,
        employer: Employer | None = None,
        model: CraneModel | None = None,
        operations: tuple[str, ...] = ("dismantling",),
    ) -> None:
        tasks = ("reads the maker's sequence aloud", "names the stop signal", "shows the task unaided")
        evidence.record_assessment(
            worker=worker,
            role=role,
            model=model or self.mast,
            operations=operations,
            assessed_at=self._ago(days_ago),
            outcome="pass",
            assessor=assessor or self.assessor,
            employer=employer or self.employer,
            tasks=[{"task": each, "met": True} for each in tasks],
            recorded_at=self._ago(days_ago - 1),
            recorded_by=None,
        )

    def _worked(
        self,
        worker: Worker,
        crane: Crane,
        operation: str,
        *,
        days_ago: int,
        days: int,
        hours: int = 8,
        capacity: str = "erector",
        countersigner: Worker | None = None,
        employer: Employer | None = None,
    ) -> None:
        """So many working days in a row, countersigned on each week's Friday evening."""
        day = self._ago(days_ago).date()
        site = {self.crane: self.site, self.other_crane: self.other_site}.get(crane, self.old_site)
        while days:
            if day.weekday() < 5:
                friday = day + (4 - day.weekday()) * DAY
                signed = datetime.combine(friday, time(18), ZONE)
                start = datetime.combine(day, time(7), ZONE)
                self.weeks[signed].append(
                    evidence.NewHours(
                        worker=worker,
                        model=crane.model,
                        operation=operation,
                        capacity=capacity,
                        start=start,
                        end=start + timedelta(hours=hours),
                        employer=employer or self.employer,
                        site=site,
                        crane=crane,
                        countersigner=countersigner or self.assessor,
                        countersigned_at=signed,
                    )
                )
                days -= 1
            day += DAY

    def _record_weeks(self) -> None:
        for signed, rows in sorted(self.weeks.items()):
            evidence.record_hours_in_bulk(rows=rows, recorded_at=signed + timedelta(hours=1), recorded_by=None)

    # Accounts, the job and its crew

    def _accounts(self) -> None:
        def opened(given: DemoAccount, **what: object) -> Account:
            return people.open_account(username=given.username, password=given.password, **what)  # type: ignore[arg-type]

        self.dispatcher = opened(DISPATCHER, kind="employer", employer=self.employer)
        self.other_dispatcher = opened(OTHER_DISPATCHER, kind="employer", employer=self.other)
        opened(INSPECTOR, kind="inspector")
        opened(WORKER, kind="worker", worker=self.novice)

    def _job(self) -> Job:
        job = self._planned(
            "dismantling",
            in_days=3,
            lasting=4,
            roles=[
                "erection_supervisor",
                "erector",
                "erector",
                "trainee",
                "rigger",
                "signal_person",
                "crane_operator",
                "assist_crane_operator",
                "overseeing_engineer",
            ],
            description="Take down the UV 210 at the north face, counter-jib first. Street closed from 06:00.",
        )
        places = {(each.role, each.position): each for each in job.slots.all()}
        self._assigned(places["erection_supervisor", 1], self.director)
        erector = self._assigned(places["erector", 1], self.erector)
        self._assigned(places["trainee", 1], self.trainee, paired_with=erector)
        self._assigned(places["rigger", 1], self.rigger)
        self._assigned(places["signal_person", 1], self.signal_person)
        self._assigned(places["assist_crane_operator", 1], self.assistant)
        self._assigned(places["overseeing_engineer", 1], self.engineer)
        self._try(places["erector", 2], self.novice)
        # A record that arrives after the assignment holds it until somebody decides again.
        self._taught(self.rigger, "rigging_refresher", days_ago=1)
        return job

    def _other_jobs(self) -> None:
        self._planned(
            "climbing",
            in_days=24,
            lasting=2,
            roles=["erection_supervisor", "erector", "erector", "signal_person", "overseeing_engineer"],
            description="Climb by two sections.",
            site=self.old_site,
            crane=self.old_crane,
        )
        self._planned(
            "dismantling",
            in_days=10,
            lasting=3,
            roles=["erection_supervisor", "erector", "rigger"],
            employer=self.other,
            account=self.other_dispatcher,
            site=self.other_site,
            crane=self.other_crane,
        )

    def _job_with_a_notice(self) -> None:
        """In British Columbia: told of in time, eight days ago; since then the mast is to stand higher."""
        past = self._ago(9)
        site = self._site("Lantern Slip, Quay Maronne", past, jurisdiction="CA-BC", zone="America/Vancouver")
        job = self._planned(
            "erection",
            in_days=9,
            lasting=4,
            roles=["erection_supervisor", "erector", "erector"],
            description="Erect the UV 210 beside the slip, free standing.",
            site=site,
            crane=self._crane(self.mast, "210-0611", site, 9),
            standard_key="ca-bc-tower-crane",
            recorded_at=past,
        )
        self._assigned(job.slots.get(role="erection_supervisor"), self.director)
        sent_at = self._ago(8)
        by: Any = {"recorded_at": sent_at, "recorded_by": self.dispatcher}
        for role, name, person, phone in (
            ("employer", EMPLOYER, "Hedda Skarnholt", "555 0141"),
            ("prime_contractor", "Maronne Quayside Builders", "Florian Astrup-Dey", "555 0177"),
            ("engineer", "Thandeka Rosierre", "", "555 0163"),
        ):
            notices.record_party(job=job, role=role, name=name, contact_person=person, phone=phone, **by)
        notices.record_particulars(
            job=job,
            site_address="12 Lantern Slip, Quay Maronne",
            configuration="Mast 42 m free standing, jib 50 m, base on cross frame",
            **by,
        )
        sequence = evidence.attach_document(
            name="erection sequence, Lantern Slip.txt",
            media_type="text/plain",
            content=b"1 Base and first mast section. 2 Climbing frame. 3 Slewing unit. 4 Counter-jib, jib, ballast.",
            **by,
        )
        notices.attach_procedure(job=job, title="Erection sequence for the slip", document=sequence, **by)
        notices.record_sent(
            job=job,
            seen=packet_of(job, at=sent_at).fingerprint,
            how="courier",
            sent_to="The authority's office for the region, notices of work",
            sent_at=sent_at,
            **by,
        )
        notices.record_particulars(
            job=job,
            site_address="12 Lantern Slip, Quay Maronne",
            configuration="Mast 48 m free standing, jib 50 m, base on cross frame",
            recorded_at=self._ago(1),
            recorded_by=self.dispatcher,
        )

    def _planned(
        self,
        operation: str,
        *,
        in_days: int,
        lasting: int,
        roles: list[str],
        description: str = "",
        employer: Employer | None = None,
        account: Account | None = None,
        site: Site | None = None,
        crane: Crane | None = None,
        standard_key: str = STANDARD,
        recorded_at: datetime | None = None,
    ) -> Job:
        first = (self.now.astimezone(ZONE) + in_days * DAY).date()
        return crews.plan_job(
            employer=employer or self.employer,
            site=site or self.site,
            crane=crane or self.crane,
            operation=operation,
            standard_key=standard_key,
            start=datetime.combine(first, time(7), ZONE),
            end=datetime.combine(first + (lasting - 1) * DAY, time(17), ZONE),
            minutes_per_day=540,
            roles=roles,
            description=description,
            recorded_at=recorded_at or self.now,
            recorded_by=account or self.dispatcher,
        )

    def _assigned(self, slot: Slot, worker: Worker, *, paired_with: Assignment | None = None) -> Assignment:
        outcome = self._try(slot, worker, paired_with=paired_with)
        if outcome.assignment is None:
            unmet = [each["sentence"] for each in outcome.decision.answer["requirements"] if each["needed"]]
            raise RuntimeError(f"{worker} as {slot} is refused: {'; '.join(unmet)}")
        return outcome.assignment

    def _try(self, slot: Slot, worker: Worker, *, paired_with: Assignment | None = None) -> crews.Outcome:
        return crews.assign(
            slot_id=slot.pk,
            worker_id=worker.pk,
            start=slot.job.start,
            end=slot.job.end,
            paired_with=paired_with,
            assigned_at=self.now,
            assigned_by=self.dispatcher,
        )

    def _ago(self, days: int) -> datetime:
        """Ten in the morning at the site, so many days before now, and never after now."""
        return min(datetime.combine(self.now.astimezone(ZONE).date() - days * DAY, time(10), ZONE), self.now)
