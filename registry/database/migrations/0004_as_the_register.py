from django.db import migrations

from registry.database.grants import shown_instead
from registry.database.sql_files import run_sql_file


class Migration(migrations.Migration):
    dependencies = [("database", "0003_row_level_security")]
    operations = [
        run_sql_file(__file__, "as_the_register.sql"),
        shown_instead(
            "evidence_hoursentry",
            """
                employer_id = (SELECT registry_reader_employer()) OR {about_person}
                OR registry_shows_entry(id) OR supersedes_id IS NOT NULL AND registry_shows_entry(supersedes_id)
            """,
        ),
    ]
