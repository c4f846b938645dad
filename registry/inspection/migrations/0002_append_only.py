from django.db import migrations

from registry.database.grants import grant
from registry.ledger.logging_of_tables import log_table

TABLES = ["inspection_inspectionfile", "inspection_look"]


def guards(table: str) -> migrations.RunSQL:
    return migrations.RunSQL(
        f"CREATE TRIGGER never_changed BEFORE UPDATE OR DELETE ON {table} "
        "FOR EACH ROW EXECUTE FUNCTION evidence_refuse_change(); "
        f"CREATE TRIGGER recorded_now BEFORE INSERT ON {table} "
        "FOR EACH ROW EXECUTE FUNCTION evidence_recorded_now()"
    )


class Migration(migrations.Migration):
    dependencies = [("inspection", "0001_initial"), ("evidence", "0003_guards"), ("ledger", "0003_logged_tables")]
    operations = [
        *(guards(table) for table in TABLES),
        *(grant(table, ["SELECT", "INSERT"]) for table in TABLES),
        *(log_table(table) for table in TABLES),
    ]
