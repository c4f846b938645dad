from django.db import migrations

from registry.database.guards import living_guards


class Migration(migrations.Migration):
    dependencies = [
        ("database", "0001_initial"),
        ("ledger", "0001_initial"),
    ]
    operations = living_guards(__file__, "log.sql")
