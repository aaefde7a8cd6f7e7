import django.db.models.deletion
from django.db import migrations, models

from inventory.migrations._append_only import laying, lifting, on_tables

TABLES = ("kitting_printing",)


class Migration(migrations.Migration):
    dependencies = [
        ("inventory", "0004_dated_kinds"),
        ("kitting", "0005_sent_orders"),
    ]

    operations = [
        migrations.CreateModel(
            name="Printing",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("document", models.CharField(max_length=40)),
                ("subject", models.CharField(max_length=120)),
                ("revision", models.CharField(blank=True, max_length=40)),
                ("number", models.PositiveIntegerField()),
                ("by", models.CharField(max_length=120)),
                ("at", models.DateTimeField()),
                (
                    "action",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="printing", to="inventory.action"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("document", "subject", "revision", "number"), name="printing_once"),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("document", ""), _negated=True),
                            models.Q(("subject", ""), _negated=True),
                            models.Q(("by", ""), _negated=True),
                        ),
                        name="printing_names_paper_and_person",
                    ),
                ],
            },
        ),
        migrations.RunPython(on_tables(laying, *TABLES), on_tables(lifting, *TABLES)),
    ]
