from django.db import migrations

from registry.database.guards import living_guards


class Migration(migrations.Migration):
    dependencies = [
        ("crews", "0001_initial"),
        ("standards", "0002_guards"),
    ]
    operations = living_guards(__file__, "guard.sql", "standing.sql", "plans.sql", "names.sql", "stand_downs.sql")
