from django.db import migrations

from registry.database.sql_files import run_sql_file


class Migration(migrations.Migration):
    dependencies = [("evidence", "0006_what_ends")]
    operations = [run_sql_file(__file__, "time_zones.sql")]
