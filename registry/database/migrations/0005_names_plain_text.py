from django.db import migrations

from registry.database.sql_files import run_sql_file


class Migration(migrations.Migration):
    dependencies = [("database", "0004_as_the_register")]
    operations = [run_sql_file(__file__, "plain_text.sql")]
