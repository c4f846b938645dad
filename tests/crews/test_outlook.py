"""How roles are covered, by the answers already given."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from registry.crews.outlook import RoleCoverage, coverage_of_roles, people_employed
from registry.evidence import services as evidence
from tests.world import World


@pytest.fixture
def world(db: None) -> World:
    return World(datetime(2026, 11, 25, 12, tzinfo=UTC))


def erectors(world: World, at: datetime | None = None) -> RoleCoverage:
    covered = coverage_of_roles(world.employer, day=world.now.date(), at=at or world.now)
    return next(each for each in covered if each.role == "erector")


def test_a_role_is_covered_by_answers_that_hold_and_rest_on_the_records_as_they_are(world: World) -> None:
    mira, tomas = world.worker("Mira", "Sandoval"), world.worker("Tomas", "Ferreira")
    world.make_erector(mira)
    job = world.job(["erector", "rigger"])
    slot = job.slots.get(role="erector")
    # The assessor is on the books too, and nobody has asked about anybody yet.
    assert erectors(world) == RoleCoverage("erector", 0, 0, 0, 3)
    world.assign(slot, tomas)
    until = world.assign(slot, mira).decision.holds_until
    assert until is not None
    assert erectors(world) == RoleCoverage("erector", standing=1, changed=0, refused=1, not_asked=1)
    assert erectors(world, at=until - timedelta(minutes=1)).standing == 1
    assert erectors(world, at=until) == RoleCoverage("erector", 0, 0, 2, 1)
    world.instruct(mira, "rigging_refresher", world.now)
    assert erectors(world) == RoleCoverage("erector", standing=0, changed=1, refused=1, not_asked=1)
    riggers = next(
        each for each in coverage_of_roles(world.employer, day=world.now.date(), at=world.now) if each.role == "rigger"
    )
    assert riggers == RoleCoverage("rigger", 0, 0, 0, 3)


def test_somebody_who_left_covers_no_role(world: World) -> None:
    mira = world.worker("Mira", "Sandoval")
    world.make_erector(mira)
    assert world.assign(world.job(["erector"]).slots.get(), mira).permitted
    employment = mira.employments.get()
    evidence.correct(employment, recorded_at=world.now, recorded_by=None, end=(world.now - timedelta(days=1)).date())
    assert not people_employed(world.employer, day=world.now.date()).filter(pk=mira.pk).exists()
    assert erectors(world) == RoleCoverage("erector", 0, 0, 0, 1)
