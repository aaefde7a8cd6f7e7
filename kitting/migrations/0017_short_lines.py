import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0002_under_way"),
        ("kitting", "0016_readiness_history"),
    ]

    operations = [
        migrations.CreateModel(
            name="ShortLine",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("line", models.CharField(max_length=300)),
                ("since", models.DateField()),
                ("ended", models.DateField(blank=True, null=True)),
                ("owner", models.CharField(blank=True, max_length=120)),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="short_lines", to="jobs.job"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("ended__isnull", True)), fields=("line",), name="short_line_once_at_a_time"
                    )
                ],
            },
        ),
    ]
