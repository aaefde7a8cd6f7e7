import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0002_under_way"),
        ("kitting", "0017_short_lines"),
    ]

    operations = [
        migrations.CreateModel(
            name="Freeze",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("cutover", models.CharField(max_length=40)),
                ("frozen_by", models.CharField(max_length=120)),
                ("frozen_at", models.DateTimeField()),
                ("over", models.BooleanField(default=False)),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="freezes", to="jobs.job"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("over", False)), fields=("job",), name="job_frozen_once"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("frozen_by", ""), _negated=True), models.Q(("cutover", ""), _negated=True)
                        ),
                        name="freeze_has_a_name_and_a_date",
                    ),
                ],
            },
        ),
    ]
