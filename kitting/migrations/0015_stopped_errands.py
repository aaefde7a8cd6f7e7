from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("kitting", "0014_column_layouts"),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name="errand",
            name="errand_in_a_known_state",
        ),
        migrations.AlterField(
            model_name="errand",
            name="state",
            field=models.CharField(
                choices=[
                    ("waiting", "waiting"),
                    ("running", "running"),
                    ("done", "done"),
                    ("refused", "refused"),
                    ("failed", "failed"),
                    ("stopped", "stopped"),
                ],
                default="waiting",
                max_length=20,
            ),
        ),
        migrations.AddConstraint(
            model_name="errand",
            constraint=models.CheckConstraint(
                condition=models.Q(("state__in", ("waiting", "running", "done", "refused", "failed", "stopped"))),
                name="errand_in_a_known_state",
            ),
        ),
    ]
