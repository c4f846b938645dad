from django.db import migrations

from registry.database.sql_files import run_sql_file


class Migration(migrations.Migration):
    dependencies = [("crews", "0005_plans_change"), ("evidence", "0012_suspensions_guarded")]
    operations = [run_sql_file(__file__, "stand_downs.sql")]
