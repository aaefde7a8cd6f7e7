import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("inventory", "0004_dated_kinds"),
        ("jobs", "0002_under_way"),
        ("kitting", "0010_storms"),
    ]

    operations = [
        migrations.CreateModel(
            name="Recipe",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=100, unique=True)),
                ("location", models.CharField(max_length=40)),
                ("interface", models.CharField(blank=True, max_length=40)),
                ("revision", models.CharField(max_length=10)),
                ("lines", models.JSONField()),
                ("why_open", models.TextField(blank=True)),
                (
                    "cable_type",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="recipes", to="jobs.cabletype"
                    ),
                ),
                (
                    "job",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="recipe", to="jobs.job"
                    ),
                ),
                (
                    "system",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="recipes", to="jobs.system"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="KitLevel",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("minimum", models.PositiveSmallIntegerField()),
                ("maximum", models.PositiveSmallIntegerField()),
                (
                    "depot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="kit_levels", to="inventory.depot"
                    ),
                ),
                (
                    "recipe",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="levels", to="kitting.recipe"
                    ),
                ),
            ],
        ),
        migrations.AddConstraint(
            model_name="recipe",
            constraint=models.CheckConstraint(
                condition=models.Q(("revision", ""), _negated=True), name="recipe_has_a_revision"
            ),
        ),
        migrations.AddConstraint(
            model_name="kitlevel",
            constraint=models.UniqueConstraint(fields=("recipe", "depot"), name="kit_level_once"),
        ),
        migrations.AddConstraint(
            model_name="kitlevel",
            constraint=models.CheckConstraint(
                condition=models.Q(("maximum__gte", models.F("minimum"))), name="kit_level_least_to_greatest"
            ),
        ),
    ]
