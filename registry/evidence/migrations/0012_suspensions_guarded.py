from django.db import migrations

from registry.database.grants import grant, shown_to
from registry.database.sql_files import run_sql_file
from registry.ledger.logging_of_tables import log_table

TABLE = "evidence_standdownsuspension"


class Migration(migrations.Migration):
    """A suspension is the registrar's, and changes what the worker can show."""

    dependencies = [
        ("evidence", "0011_stand_downs"),
        ("people", "0009_employment_guarded"),
        ("database", "0004_as_the_register"),
    ]
    operations = [
        run_sql_file(__file__, "suspensions.sql"),
        migrations.RunSQL(
            f"""
            CREATE TRIGGER never_changed BEFORE UPDATE OR DELETE ON {TABLE}
                FOR EACH ROW EXECUTE FUNCTION evidence_refuse_change();
            CREATE TRIGGER recorded_now BEFORE INSERT ON {TABLE}
                FOR EACH ROW EXECUTE FUNCTION evidence_recorded_now();
            CREATE TRIGGER worker_is_not_erased AFTER INSERT ON {TABLE} REFERENCING NEW TABLE AS added
                FOR EACH STATEMENT EXECUTE FUNCTION retention_worker_is_not_erased();
            INSERT INTO retention_erasable (table_name, columns) VALUES ('{TABLE}', '{{reason}}');
            """  # noqa: S608 (put together from constants alone)
        ),
        grant(TABLE, ["SELECT", "INSERT"]),
        log_table(TABLE),
        shown_to(TABLE, "{about_person}"),
    ]
