from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0002_under_way"),
        ("kitting", "0011_premade_kits"),
    ]

    operations = [
        migrations.AddField(model_name="recipe", name="to_come", field=models.TextField(blank=True)),
        migrations.AddField(model_name="recipe", name="to_come_on", field=models.DateField(blank=True, null=True)),
        migrations.AddConstraint(
            model_name="recipe",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("to_come", ""), ("to_come_on__isnull", True)),
                    models.Q(("to_come_on__isnull", False), models.Q(("to_come", ""), _negated=True)),
                    _connector="OR",
                ),
                name="recipe_to_come_on_a_day",
            ),
        ),
    ]
