from django.db import migrations

from registry.database.sql_files import run_sql_file


class Migration(migrations.Migration):
    dependencies = [("evidence", "0007_time_zones")]
    operations = [run_sql_file(__file__, "bars.sql")]
