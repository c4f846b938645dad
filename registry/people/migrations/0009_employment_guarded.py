from django.db import migrations

from registry.database.grants import grant, shown_to
from registry.database.sql_files import run_sql_file
from registry.ledger.logging_of_tables import log_table

TABLES = [
    "people_employmentrequest",
    "people_employmentdecline",
    "people_employmentcode",
    "people_employmentconsent",
]


def guards(table: str) -> migrations.RunSQL:
    return migrations.RunSQL(
        f"CREATE TRIGGER never_changed BEFORE UPDATE OR DELETE ON {table} "
        "FOR EACH ROW EXECUTE FUNCTION evidence_refuse_change(); "
        f"CREATE TRIGGER recorded_now BEFORE INSERT ON {table} "
        "FOR EACH ROW EXECUTE FUNCTION evidence_recorded_now()"
    )


def not_erased(table: str) -> migrations.RunSQL:
    return migrations.RunSQL(
        f"CREATE TRIGGER worker_is_not_erased AFTER INSERT ON {table} REFERENCING NEW TABLE AS added "
        "FOR EACH STATEMENT EXECUTE FUNCTION retention_worker_is_not_erased()"
    )


class Migration(migrations.Migration):
    """Consent is the person's own; without it nobody who is registered comes onto an employer's books."""

    dependencies = [
        ("people", "0008_employment"),
        ("people", "0006_closed_account_guarded"),
        ("evidence", "0009_own_people"),
        ("database", "0004_as_the_register"),
    ]
    operations = [
        run_sql_file(__file__, "consent.sql"),
        *(guards(table) for table in TABLES),
        *(not_erased(table) for table in TABLES if table != "people_employmentdecline"),
        *(grant(table, ["SELECT", "INSERT"]) for table in TABLES),
        *(log_table(table) for table in TABLES),
        migrations.RunSQL(
            "INSERT INTO retention_erasable (table_name, columns) VALUES "
            "('people_employmentrequest', '{number}'), ('people_employmentconsent', '{code_typed,reason}')"
        ),
        # Whether anybody fitted what an employer typed is the person's and the registrar's to know.
        shown_to("people_employmentrequest", "worker_id = (SELECT registry_reader_worker())"),
        shown_to(
            "people_employmentdecline",
            """
                EXISTS (SELECT FROM people_employmentrequest request
                        WHERE request.id = people_employmentdecline.request_id)
            """,
        ),
        shown_to("people_employmentcode", "worker_id = (SELECT registry_reader_worker())"),
        shown_to(
            "people_employmentconsent",
            "worker_id = (SELECT registry_reader_worker()) OR employer_id = (SELECT registry_reader_employer())",
        ),
    ]
