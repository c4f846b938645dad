from django.db import migrations

from registry.database.sql_files import run_sql_file


class Migration(migrations.Migration):
    # The policies stand on tables of all packages; in Python this one knows none of them.
    dependencies = [
        ("database", "0002_cache"),
        ("people", "0004_what_ends"),
        ("evidence", "0006_what_ends"),
        ("crews", "0002_guard"),
        ("transcripts", "0004_shared_links_guarded"),
        ("notices", "0002_append_only"),
        ("inspection", "0002_append_only"),
    ]
    operations = [run_sql_file(__file__, "row_level_security.sql", undone_by="no_row_level_security.sql")]
