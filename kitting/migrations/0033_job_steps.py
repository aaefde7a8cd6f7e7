import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0003_feeder_and_owner"),
        ("kitting", "0032_depots_of_kept_scans"),
    ]

    operations = [
        migrations.CreateModel(
            name="JobStep",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "kind",
                    models.CharField(
                        choices=[("confirmed", "confirmed"), ("outage", "outage"), ("energised", "energised")],
                        max_length=20,
                    ),
                ),
                ("cutover", models.CharField(blank=True, max_length=16)),
                ("happened_at", models.DateTimeField()),
                ("said_by", models.CharField(max_length=120)),
                ("said_at", models.DateTimeField()),
                ("why", models.TextField(blank=True)),
                ("over", models.BooleanField(default=False)),
                (
                    "job",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="steps", to="jobs.job"),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("over", False)), fields=("job", "kind"), name="job_step_holds_once"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("said_by", ""), _negated=True), name="job_step_has_a_name"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("kind__in", ("confirmed", "outage", "energised"))),
                        name="job_step_of_a_known_kind",
                    ),
                ],
            },
        ),
    ]
