"""Is what guards the records in the database what this version needs?

``schema.sql`` says what it needs, object by object; the roles stand outside of any schema and are asked about here.
"""

from __future__ import annotations

from collections import Counter

from registry.database import roles
from registry.database.schema import Cursor, differences, objects, wanted

MOST_NAMED = 10
MOST_LINES = 2
LONGEST_LINE = 120
EXTRA = "not of this version: "
POWERS = ("rolsuper", "rolcreaterole", "rolcreatedb", "rolreplication", "rolbypassrls")
UNDERMINING = ("session_replication_role", "row_security", "search_path", "registry.reader", "registry.erasing")
"""Settings of a session that switch a guard off or lead round it."""

ROLE = f"SELECT {', '.join(POWERS)} FROM pg_roles WHERE rolname = %s"  # noqa: S608 (constants alone)
MEMBER = "SELECT roleid::regrole::text FROM pg_auth_members WHERE member = %s::regrole ORDER BY 1"
OWNED = "SELECT oid::regclass::text FROM pg_class WHERE relowner = %s::regrole ORDER BY 1"
MAY_CREATE = "SELECT has_schema_privilege(%s, 'public', 'CREATE')"
SETTINGS = """
SELECT split_part(setting, '=', 1) FROM pg_db_role_setting, unnest(setconfig) setting
WHERE setrole IN (0, %s::regrole)
    AND setdatabase IN (0, (SELECT oid FROM pg_database WHERE datname = current_database()))
ORDER BY 1
"""


def differing(cursor: Cursor) -> list[str]:
    """What the database holds otherwise than this version needs: each object by name, tables with their lines."""
    found, needed = objects(cursor), wanted()
    named = [f"{each}{_lines(each.partition(': ')[2], found, needed)}" for each in differences(found, needed)]
    return [*named, *_of_the_role(cursor)]


def weakened(differing: list[str]) -> list[str]:
    """Of :func:`differing`, what does not merely stand beside what this version needs."""
    return [each for each in differing if not each.startswith(EXTRA)]


def sentence(differing: list[str]) -> str:
    """What :func:`differing` found, for a person."""
    more = len(differing) - MOST_NAMED
    named = "; ".join(differing[:MOST_NAMED]) + (f"; and {more} more" if more > 0 else "")
    return (
        f"The tables, functions, triggers, policies or grants in the database are not those of this version: {named}. "
        "If this version was just put in place, run `python3 manage.py prepare`. If it says this itself, somebody has "
        "changed them by hand: find out who and why, run `python3 manage.py verify`, and have the owner of the tables "
        "bring back what registry/database/schema.sql says."
    )


def _lines(name: str, found: dict[str, str], needed: dict[str, str]) -> str:
    """For a changed table, the lines by which it differs."""
    if not name.startswith("table ") or name not in found or name not in needed:
        return ""
    there, should_be = (Counter(line.strip(" ,") for line in text[name].splitlines()) for text in (found, needed))
    told = [
        *(f"without “{_cut(each)}”" for each in should_be - there),
        *(f"with “{_cut(each)}”" for each in there - should_be),
    ]
    more = len(told) - MOST_LINES
    return f" ({', '.join(told[:MOST_LINES])}{f' and {more} more' if more > 0 else ''})"


def _cut(line: str) -> str:
    # How it begins says what it is; how it ends, often what is different.
    return line if len(line) <= LONGEST_LINE else f"{line[: LONGEST_LINE - 40]} … {line[-40:]}"


def _of_the_role(cursor: Cursor) -> list[str]:
    role = roles.APPLICATION
    cursor.execute(ROLE, [role])
    powers = cursor.fetchall()
    if not powers:
        return [f"missing: role {role}"]
    told = [f"changed: role {role} has {power}" for power, has in zip(POWERS, powers[0], strict=True) if has]
    cursor.execute(MEMBER, [role])
    told += [f"changed: role {role} is a member of {name}" for (name,) in cursor.fetchall()]
    cursor.execute(OWNED, [role])
    told += [f"changed: role {role} owns {name}" for (name,) in cursor.fetchall()]
    cursor.execute(MAY_CREATE, [role])
    told += [f"changed: role {role} may create in the schema public" for (may,) in cursor.fetchall() if may]
    cursor.execute(SETTINGS, [role])
    return told + [f"changed: {name} is set for role {role}" for (name,) in cursor.fetchall() if name in UNDERMINING]
