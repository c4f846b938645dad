from django.db import migrations

from registry.database.grants import grant
from registry.database.sql_files import run_sql_file
from registry.ledger.logging_of_tables import log_table

TABLES = ["transcripts_sharedlink", "transcripts_endedlink", "transcripts_linkopening"]


class Migration(migrations.Migration):
    """Shared links are append-only and logged, are the worker's own, and an erasure reaches them."""

    dependencies = [
        ("transcripts", "0003_shared_links"),
        ("evidence", "0005_erased_documents"),
        ("ledger", "0003_logged_tables"),
        ("retention", "0001_erasure"),
    ]
    operations = [
        run_sql_file(__file__, "sharing.sql"),
        *(grant(each, ["SELECT", "INSERT"]) for each in TABLES),
        *(log_table(each) for each in TABLES),
    ]
