import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("inventory", "0004_dated_kinds"),
        ("jobs", "0002_under_way"),
        ("kitting", "0009_retired_parts"),
    ]

    operations = [
        migrations.CreateModel(
            name="Storm",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.CharField(max_length=100, unique=True)),
                ("title", models.TextField()),
                (
                    "state",
                    models.CharField(
                        choices=[("asked", "asked"), ("open", "open"), ("closed", "closed")],
                        default="asked",
                        max_length=20,
                    ),
                ),
                ("asked_by", models.CharField(blank=True, max_length=120)),
                ("opened_by", models.CharField(blank=True, max_length=120)),
                ("opened_at", models.DateTimeField(blank=True, null=True)),
                ("closed_by", models.CharField(blank=True, max_length=120)),
                ("closed_at", models.DateTimeField(blank=True, null=True)),
            ],
        ),
        migrations.CreateModel(
            name="StormJob",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "job",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="storm_job", to="jobs.job"
                    ),
                ),
                (
                    "storm",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="storm_jobs", to="kitting.storm"
                    ),
                ),
            ],
        ),
        migrations.AddField(
            model_name="storm",
            name="jobs",
            field=models.ManyToManyField(related_name="storms", through="kitting.StormJob", to="jobs.job"),
        ),
        migrations.CreateModel(
            name="LotToFinish",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("quantity", models.BigIntegerField()),
                ("named_by", models.CharField(blank=True, max_length=120)),
                ("named_at", models.DateTimeField(blank=True, null=True)),
                (
                    "line",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="lots_to_finish", to="kitting.bagline"
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="taken_to_finish", to="inventory.lot"
                    ),
                ),
                (
                    "named",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="finished",
                        to="inventory.lot",
                    ),
                ),
                (
                    "place",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="lots_to_finish", to="inventory.place"
                    ),
                ),
                (
                    "storm",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="lots_to_finish", to="kitting.storm"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("quantity__gt", 0)), name="lot_to_finish_of_something"),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("named__isnull", True),
                            models.Q(models.Q(("named_by", ""), _negated=True), ("named_at__isnull", False)),
                            _connector="OR",
                        ),
                        name="lot_finished_by_somebody",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="KeptKit",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "protection",
                    models.CharField(
                        choices=[
                            ("never", "never"),
                            ("only with planner", "only with planner"),
                            ("free to break", "free to break"),
                        ],
                        max_length=20,
                    ),
                ),
                ("why", models.TextField()),
                ("by", models.CharField(max_length=120)),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="kept_in_storms", to="jobs.job"
                    ),
                ),
                (
                    "storm",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="kept_kits", to="kitting.storm"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("storm", "job"), name="kit_kept_once_a_storm"),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("protection__in", ("never", "only with planner", "free to break")),
                            models.Q(("why", ""), _negated=True),
                            models.Q(("by", ""), _negated=True),
                        ),
                        name="kit_kept_for_a_reason",
                    ),
                ],
            },
        ),
        migrations.AddConstraint(
            model_name="storm",
            constraint=models.CheckConstraint(
                condition=models.Q(("state__in", ("asked", "open", "closed")), models.Q(("title", ""), _negated=True)),
                name="storm_in_a_known_state",
            ),
        ),
        migrations.AddConstraint(
            model_name="storm",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("state", "asked"),
                    models.Q(models.Q(("opened_by", ""), _negated=True), ("opened_at__isnull", False)),
                    _connector="OR",
                ),
                name="storm_opened_by_somebody",
            ),
        ),
        migrations.AddConstraint(
            model_name="storm",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("state", "closed"), _negated=True),
                    models.Q(models.Q(("closed_by", ""), _negated=True), ("closed_at__isnull", False)),
                    _connector="OR",
                ),
                name="storm_closed_by_somebody",
            ),
        ),
    ]
