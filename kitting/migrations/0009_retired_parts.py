import django.db.models.deletion
from django.db import migrations, models

from inventory.migrations._append_only import laying, lifting, on_tables


class Migration(migrations.Migration):
    dependencies = [
        ("inventory", "0004_dated_kinds"),
        ("kitting", "0008_count_lists"),
    ]

    operations = [
        migrations.CreateModel(
            name="Retired",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("quantity", models.BigIntegerField()),
                ("why", models.TextField()),
                (
                    "fate",
                    models.CharField(
                        choices=[("scrap metal", "scrap metal"), ("failure study", "failure study")], max_length=20
                    ),
                ),
                (
                    "action",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="retired", to="inventory.action"
                    ),
                ),
                (
                    "entry",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="retired", to="kitting.bagentry"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("quantity__gt", 0), models.Q(("why", ""), _negated=True)),
                        name="retired_something_for_a_reason",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("fate__in", ("scrap metal", "failure study"))),
                        name="retired_to_a_known_fate",
                    ),
                ],
            },
        ),
        migrations.RunPython(on_tables(laying, "kitting_retired"), on_tables(lifting, "kitting_retired")),
    ]
