from django.db import migrations, models
from django.db.models import Q

from registry.database.grants import grant


class Migration(migrations.Migration):
    dependencies = [("database", "0004_as_the_register")]
    operations = [
        migrations.CreateModel(
            name="Register",
            fields=[
                ("only", models.BooleanField(default=True, primary_key=True, serialize=False)),
                ("number", models.TextField()),
                ("demonstration", models.BooleanField()),
                ("begun_at", models.DateTimeField()),
            ],
        ),
        migrations.AddConstraint(
            model_name="register",
            constraint=models.CheckConstraint(condition=Q(only=True), name="a_database_holds_one_register"),
        ),
        migrations.AddConstraint(
            model_name="register",
            constraint=models.CheckConstraint(condition=~Q(number=""), name="a_register_has_a_number"),
        ),
        grant("database_register", ["SELECT"]),
    ]
