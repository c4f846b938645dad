from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import RangeOperators
from django.db import migrations, models

from registry.database.sql_files import run_sql_file


class Migration(migrations.Migration):
    dependencies = [("crews", "0002_guard")]
    operations = [
        migrations.AddField(
            model_name="assignmentstate",
            name="role",
            field=models.CharField(default="", max_length=30),
            preserve_default=False,
        ),
        run_sql_file(__file__, "one_place_of_a_role.sql"),
        migrations.AddConstraint(
            model_name="assignmentstate",
            constraint=ExclusionConstraint(
                name="nobody_fills_two_places_of_one_role",
                expressions=[
                    ("job", RangeOperators.EQUAL),
                    ("worker", RangeOperators.EQUAL),
                    ("role", RangeOperators.EQUAL),
                    ("during", RangeOperators.OVERLAPS),
                ],
                condition=models.Q(("standing", "ended"), _negated=True),
            ),
        ),
    ]
