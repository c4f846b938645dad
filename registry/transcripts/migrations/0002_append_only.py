from django.db import migrations

from registry.database.grants import grant
from registry.ledger.logging_of_tables import log_table

TABLE = "transcripts_issuedtranscript"


class Migration(migrations.Migration):
    dependencies = [("transcripts", "0001_initial"), ("evidence", "0003_guards"), ("ledger", "0003_logged_tables")]
    operations = [
        migrations.RunSQL(
            f"CREATE TRIGGER never_changed BEFORE UPDATE OR DELETE ON {TABLE} "
            "FOR EACH ROW EXECUTE FUNCTION evidence_refuse_change(); "
            f"CREATE TRIGGER recorded_now BEFORE INSERT ON {TABLE} "
            "FOR EACH ROW EXECUTE FUNCTION evidence_recorded_now()"
        ),
        grant(TABLE, ["SELECT", "INSERT"]),
        log_table(TABLE),
    ]
