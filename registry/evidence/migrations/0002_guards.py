from django.db import migrations

from registry.database.guards import living_guards


class Migration(migrations.Migration):
    dependencies = [
        ("evidence", "0001_initial"),
        ("equipment", "0002_guards"),
    ]
    operations = living_guards(
        __file__,
        "versions.sql",
        "records.sql",
        "own_people.sql",
        "bars.sql",
        "suspensions.sql",
        "requests.sql",
        "signing.sql",
        "readers.sql",
    )
