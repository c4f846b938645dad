from django.db import migrations

from registry.database.grants import grant
from registry.database.sql_files import run_sql_file
from registry.ledger.logging_of_tables import log_table

TABLES = [
    "notices_jobparty",
    "notices_noticeparticulars",
    "notices_attachedprocedure",
    "notices_sentnotice",
    "notices_namedsupervisor",
]


class Migration(migrations.Migration):
    """Records of notices are append-only and logged, and an erasure reaches them."""

    dependencies = [
        ("notices", "0001_initial"),
        ("evidence", "0005_erased_documents"),
        ("ledger", "0003_logged_tables"),
        ("retention", "0001_erasure"),
    ]
    operations = [
        run_sql_file(__file__, "append_only.sql"),
        *(grant(each, ["SELECT", "INSERT"]) for each in TABLES),
        *(log_table(each) for each in TABLES),
    ]
