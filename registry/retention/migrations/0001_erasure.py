from django.db import migrations

from registry.database.sql_files import run_sql_file
from registry.ledger.logging_of_tables import log_table

LOGGED = [
    "evidence_assessmentsignature",
    "evidence_countersignaturerequest",
    "evidence_entryobjection",
    "evidence_objectionanswer",
    "evidence_correctionrequest",
    "evidence_correctionanswer",
]


class Migration(migrations.Migration):
    """Lawful erasure gets through the append-only triggers; what is said about records is logged too."""

    dependencies = [
        ("ledger", "0003_logged_tables"),
        ("people", "0003_sign_in"),
        ("evidence", "0005_erased_documents"),
        ("crews", "0002_guard"),
    ]
    operations = [
        *(log_table(each) for each in LOGGED),
        run_sql_file(__file__, "erasure.sql"),
    ]
