import django.contrib.postgres.constraints
import django.contrib.postgres.fields.ranges
import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("equipment", "0001_initial"),
        ("people", "0001_initial"),
        ("standards", "0001_initial"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="Assignment",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("start", models.DateTimeField()),
                ("end", models.DateTimeField()),
                ("assigned_at", models.DateTimeField()),
                (
                    "assigned_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "paired_with",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="trainees",
                        to="crews.assignment",
                    ),
                ),
                (
                    "worker",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="assignments", to="people.worker"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Decision",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("statement", models.TextField()),
                ("seal", models.BinaryField()),
                ("role", models.CharField(max_length=30)),
                ("configuration", models.CharField(blank=True, max_length=100)),
                ("operation", models.CharField(max_length=20)),
                ("jurisdiction", models.CharField(max_length=20)),
                ("start", models.DateTimeField()),
                ("end", models.DateTimeField()),
                ("known_at", models.DateTimeField(null=True)),
                ("outcome", models.CharField(max_length=10)),
                ("holds_until", models.DateTimeField(null=True)),
                ("evidence_versions", models.JSONField()),
                ("decided_at", models.DateTimeField()),
                (
                    "decided_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "employer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="people.employer"
                    ),
                ),
                (
                    "model",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="equipment.cranemodel"
                    ),
                ),
                (
                    "standard",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="standards.standardversion"
                    ),
                ),
                (
                    "worker",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="decisions", to="people.worker"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="AssignmentEvent",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "kind",
                    models.CharField(
                        choices=[("held", "held"), ("confirmed", "confirmed"), ("ended", "ended")], max_length=10
                    ),
                ),
                ("happened_at", models.DateTimeField()),
                ("reason", models.TextField(blank=True)),
                ("recorded_at", models.DateTimeField()),
                (
                    "assignment",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="events", to="crews.assignment"
                    ),
                ),
                (
                    "recorded_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "decision",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="assignment_event",
                        to="crews.decision",
                    ),
                ),
            ],
        ),
        migrations.AddField(
            model_name="assignment",
            name="decision",
            field=models.OneToOneField(
                on_delete=django.db.models.deletion.PROTECT, related_name="assignment", to="crews.decision"
            ),
        ),
        migrations.CreateModel(
            name="DecisionDependency",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("subject", models.TextField()),
                ("version", models.BigIntegerField()),
                (
                    "decision",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="dependencies", to="crews.decision"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Job",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "operation",
                    models.CharField(
                        choices=[
                            ("erection", "erection"),
                            ("climbing", "climbing"),
                            ("repositioning", "repositioning"),
                            ("dismantling", "dismantling"),
                        ],
                        max_length=20,
                    ),
                ),
                ("configuration", models.CharField(blank=True, max_length=100)),
                ("standard_key", models.CharField(max_length=100)),
                ("start", models.DateTimeField()),
                ("end", models.DateTimeField()),
                ("minutes_per_day", models.PositiveIntegerField(default=480)),
                ("description", models.TextField(blank=True)),
                ("withdrawn", models.BooleanField(default=False)),
                ("recorded_at", models.DateTimeField()),
                (
                    "crane",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="jobs", to="equipment.crane"
                    ),
                ),
                (
                    "employer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="jobs", to="people.employer"
                    ),
                ),
                (
                    "recorded_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="jobs", to="equipment.site"
                    ),
                ),
                (
                    "supersedes",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="superseded_by",
                        to="crews.job",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Slot",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "role",
                    models.CharField(
                        choices=[
                            ("erector", "erector"),
                            ("trainee", "trainee"),
                            ("erection_supervisor", "erection supervisor"),
                            ("overseeing_engineer", "overseeing engineer"),
                            ("rigger", "rigger"),
                            ("signal_person", "signal person"),
                            ("crane_operator", "crane operator"),
                            ("assist_crane_operator", "assist-crane operator"),
                            ("assessor", "assessor"),
                        ],
                        max_length=30,
                    ),
                ),
                ("position", models.PositiveSmallIntegerField(default=1)),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="slots", to="crews.job"
                    ),
                ),
            ],
            options={
                "ordering": ["job_id", "id"],
            },
        ),
        migrations.CreateModel(
            name="Refusal",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("refused_at", models.DateTimeField()),
                (
                    "decision",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="refusal", to="crews.decision"
                    ),
                ),
                (
                    "refused_to",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "slot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="refusals", to="crews.slot"
                    ),
                ),
            ],
        ),
        migrations.AddField(
            model_name="assignment",
            name="slot",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="assignments", to="crews.slot"
            ),
        ),
        migrations.CreateModel(
            name="AssignmentState",
            fields=[
                (
                    "assignment",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        primary_key=True,
                        related_name="state",
                        serialize=False,
                        to="crews.assignment",
                    ),
                ),
                ("role", models.CharField(max_length=30)),
                ("supervises", models.SmallIntegerField()),
                ("during", django.contrib.postgres.fields.ranges.DateTimeRangeField()),
                ("standing", models.CharField(max_length=10)),
                ("reason", models.TextField(blank=True)),
                (
                    "decision",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="crews.decision"
                    ),
                ),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="assignment_states", to="crews.job"
                    ),
                ),
                (
                    "slot",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="crews.slot"),
                ),
                (
                    "worker",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="people.worker"
                    ),
                ),
            ],
        ),
        migrations.AddIndex(
            model_name="decision",
            index=models.Index(fields=["worker", "decided_at"], name="crews_decis_worker__c7c030_idx"),
        ),
        migrations.AddConstraint(
            model_name="decision",
            constraint=models.UniqueConstraint(
                condition=models.Q(("seal", b""), _negated=True), fields=("seal",), name="a_decision_is_recorded_once"
            ),
        ),
        migrations.AddConstraint(
            model_name="assignmentevent",
            constraint=models.CheckConstraint(
                condition=models.Q(("kind__in", ["held", "confirmed", "ended"])), name="assignment_event_kind_is_known"
            ),
        ),
        migrations.AddConstraint(
            model_name="assignmentevent",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("decision__isnull", False), ("kind", "confirmed")),
                    models.Q(models.Q(("kind", "confirmed"), _negated=True), ("decision__isnull", True)),
                    _connector="OR",
                ),
                name="a_confirmation_needs_a_decision",
            ),
        ),
        migrations.AddIndex(
            model_name="decisiondependency",
            index=models.Index(fields=["subject", "decision"], name="crews_decis_subject_6159d8_idx"),
        ),
        migrations.AddConstraint(
            model_name="decisiondependency",
            constraint=models.UniqueConstraint(
                fields=("decision", "subject"), name="decision_depends_on_a_subject_once"
            ),
        ),
        migrations.AddIndex(
            model_name="job",
            index=models.Index(fields=["employer", "start"], name="crews_job_employe_50c4f2_idx"),
        ),
        migrations.AddConstraint(
            model_name="job",
            constraint=models.CheckConstraint(
                condition=models.Q(("end__gt", models.F("start"))), name="job_end_is_after_start"
            ),
        ),
        migrations.AddConstraint(
            model_name="job",
            constraint=models.CheckConstraint(
                condition=models.Q(("operation__in", ("erection", "climbing", "repositioning", "dismantling"))),
                name="job_operation_is_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="job",
            constraint=models.CheckConstraint(
                condition=models.Q(("minutes_per_day__gte", 1), ("minutes_per_day__lte", 1440)),
                name="job_minutes_per_day_fit_a_day",
            ),
        ),
        migrations.AddConstraint(
            model_name="job",
            constraint=models.CheckConstraint(
                condition=models.Q(("withdrawn", False), ("supersedes__isnull", False), _connector="OR"),
                name="job_withdrawal_supersedes_a_job",
            ),
        ),
        migrations.AddConstraint(
            model_name="slot",
            constraint=models.UniqueConstraint(
                fields=("job", "role", "position"), name="slot_position_is_unique_for_job_and_role"
            ),
        ),
        migrations.AddConstraint(
            model_name="slot",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    (
                        "role__in",
                        (
                            "erector",
                            "trainee",
                            "erection_supervisor",
                            "overseeing_engineer",
                            "rigger",
                            "signal_person",
                            "crane_operator",
                            "assist_crane_operator",
                            "assessor",
                        ),
                    )
                ),
                name="slot_role_is_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="assignment",
            constraint=models.CheckConstraint(
                condition=models.Q(("end__gt", models.F("start"))), name="assignment_end_is_after_start"
            ),
        ),
        migrations.AddIndex(
            model_name="assignmentstate",
            index=models.Index(
                condition=models.Q(("standing", "standing")), fields=["decision"], name="standing_decision"
            ),
        ),
        migrations.AddConstraint(
            model_name="assignmentstate",
            constraint=django.contrib.postgres.constraints.ExclusionConstraint(
                condition=models.Q(("standing", "ended"), _negated=True),
                expressions=[("slot", "="), ("during", "&&")],
                name="one_person_in_a_slot_at_a_time",
            ),
        ),
        migrations.AddConstraint(
            model_name="assignmentstate",
            constraint=django.contrib.postgres.constraints.ExclusionConstraint(
                condition=models.Q(("standing", "ended"), _negated=True),
                expressions=[("worker", "="), ("job", "<>"), ("during", "&&")],
                name="nobody_is_on_two_overlapping_jobs",
            ),
        ),
        migrations.AddConstraint(
            model_name="assignmentstate",
            constraint=django.contrib.postgres.constraints.ExclusionConstraint(
                condition=models.Q(("standing", "ended"), _negated=True),
                expressions=[("job", "="), ("worker", "="), ("role", "="), ("during", "&&")],
                name="nobody_fills_two_places_of_one_role",
            ),
        ),
        migrations.AddConstraint(
            model_name="assignmentstate",
            constraint=django.contrib.postgres.constraints.ExclusionConstraint(
                condition=models.Q(("standing", "ended"), _negated=True),
                expressions=[("job", "="), ("worker", "="), ("supervises", "<>"), ("during", "&&")],
                name="the_supervisor_fills_no_other_role",
            ),
        ),
    ]
