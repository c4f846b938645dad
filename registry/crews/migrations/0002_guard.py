from django.db import migrations

from registry.database.grants import grant
from registry.database.sql_files import run_sql_file

APPENDED = ["job", "slot", "decision", "refusal", "assignment", "assignmentevent"]


def never_changed(table: str) -> migrations.RunSQL:
    return migrations.RunSQL(
        f"CREATE TRIGGER never_changed BEFORE UPDATE OR DELETE ON crews_{table} "
        "FOR EACH ROW EXECUTE FUNCTION evidence_refuse_change()"
    )


class Migration(migrations.Migration):
    dependencies = [("crews", "0001_initial"), ("evidence", "0003_guards"), ("standards", "0001_initial")]
    operations = [
        run_sql_file(__file__, "guard.sql"),
        *(grant(f"crews_{table}", ["SELECT", "INSERT"]) for table in APPENDED),
        *(never_changed(table) for table in [*APPENDED, "decisiondependency"]),
        # Kept by triggers; the application only reads them.
        grant("crews_decisiondependency", ["SELECT"]),
        grant("crews_assignmentstate", ["SELECT"]),
    ]
