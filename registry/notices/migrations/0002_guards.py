from django.db import migrations

from registry.database.guards import living_guards


class Migration(migrations.Migration):
    dependencies = [
        ("notices", "0001_initial"),
        ("crews", "0002_guards"),
    ]
    operations = living_guards(__file__, "notices.sql")
