import pytest
from django.db import connection, connections
from django.db.utils import ProgrammingError

from registry.database import roles
from registry.database.guards import Granted

pytestmark = pytest.mark.django_db


def one(query: str) -> tuple[object, ...]:
    with connection.cursor() as cursor:
        cursor.execute(query)
        row: tuple[object, ...] = cursor.fetchone()
        return row


def test_tests_run_as_the_application_role() -> None:
    assert one("SELECT current_user") == (roles.APPLICATION,)


def test_tests_run_in_a_database_of_their_own() -> None:
    assert str(one("SELECT current_database()")[0]).startswith("test_")


def test_application_has_no_powers_of_its_own() -> None:
    query = """
        SELECT rolsuper, rolbypassrls, rolcreatedb, rolcreaterole, rolreplication
        FROM pg_roles WHERE rolname = current_user
    """
    assert one(query) == (False,) * 5
    assert one("SELECT count(*) FROM pg_auth_members WHERE member = current_user::regrole") == (0,)


def test_application_owns_nothing() -> None:
    assert one("SELECT count(*) FROM pg_class WHERE relowner = current_user::regrole") == (0,)
    owner = connections["owner"].get_connection_params()["user"]
    assert one("SELECT datdba::regrole::text FROM pg_database WHERE datname = current_database()") == (owner,)
    assert owner != roles.APPLICATION


@pytest.mark.parametrize(
    "statement",
    [
        "CREATE TABLE mine (id int)",
        "CREATE SCHEMA mine",
        "TRUNCATE django_session",
        "ALTER TABLE django_session DISABLE TRIGGER ALL",
        "DELETE FROM django_migrations",
        "SET ROLE {owner}",
        "CREATE ROLE helper",
    ],
)
def test_application_may_not(statement: str) -> None:
    with pytest.raises(ProgrammingError, match="permission denied|must be owner"), connection.cursor() as cursor:
        cursor.execute(statement.format(owner=connections["owner"].get_connection_params()["user"]))


def test_application_may_use_the_tables_of_the_framework() -> None:
    for table in ("auth_group", "auth_permission", "django_content_type", "django_session"):
        for privilege in roles.PRIVILEGES:
            assert one(f"SELECT has_table_privilege('{table}', '{privilege}')") == (True,), (table, privilege)


@pytest.mark.parametrize("privileges", [["TRUNCATE"], ["ALL"], []])
def test_grant_refuses_what_the_application_must_never_have(privileges: list[str]) -> None:
    with pytest.raises(ValueError, match="never granted"):
        roles.grant_statement("evidence_hours", privileges)


def test_grant_refuses_a_name_that_is_more_than_a_name() -> None:
    with pytest.raises(ValueError, match="plain name"):
        list(Granted(("SELECT",)).statements('hours"; DROP TABLE x; --'))


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("attempt", ["first", "second"])
def test_committed_rows_do_not_reach_the_next_test(attempt: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute("INSERT INTO auth_group (name) VALUES ('left behind')")
    assert one("SELECT count(*) FROM auth_group") == (1,)
