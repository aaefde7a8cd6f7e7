from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("kitting", "0013_bag_requests"),
    ]

    operations = [
        migrations.CreateModel(
            name="KeptLayout",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=120)),
                ("revision", models.PositiveIntegerField()),
                ("shape", models.CharField(max_length=64)),
                ("headings", models.JSONField()),
                ("text", models.TextField()),
                ("kept_by", models.CharField(max_length=120)),
                ("kept_at", models.DateTimeField()),
                ("live", models.BooleanField(default=True)),
                ("ended_by", models.CharField(blank=True, max_length=120)),
                ("ended_at", models.DateTimeField(blank=True, null=True)),
                ("ended_why", models.TextField(blank=True)),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("name", "revision"), name="layout_revision_once"),
                    models.UniqueConstraint(
                        condition=models.Q(("live", True)), fields=("shape",), name="one_layout_reads_a_shape"
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("live", True)), fields=("name",), name="one_live_layout_of_a_name"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("live", True),
                            models.Q(
                                ("ended_at__isnull", False),
                                models.Q(("ended_by", ""), _negated=True),
                                models.Q(("ended_why", ""), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="layout_ends_by_somebody_for_a_reason",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("name", ""), _negated=True), models.Q(("kept_by", ""), _negated=True)
                        ),
                        name="layout_has_a_name",
                    ),
                ],
            },
        ),
    ]
