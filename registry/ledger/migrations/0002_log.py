from django.db import migrations

from registry.database.grants import grant, grant_execute
from registry.database.sql_files import run_sql_file


class Migration(migrations.Migration):
    dependencies = [("database", "0001_initial"), ("ledger", "0001_initial")]
    operations = [
        run_sql_file(__file__, "log.sql"),
        # Entries and their places are made by triggers and functions alone.
        grant("ledger_entry", ["SELECT"]),
        grant("ledger_pending", ["SELECT"]),
        grant("ledger_leaf", ["SELECT"]),
        grant("ledger_node", ["SELECT", "INSERT"]),
        grant("ledger_checkpoint", ["SELECT", "INSERT"]),
        grant("ledger_signingkey", ["SELECT", "INSERT"]),
        grant("ledger_erasure", ["SELECT"]),
        grant_execute("ledger_sequence(integer)"),
    ]
