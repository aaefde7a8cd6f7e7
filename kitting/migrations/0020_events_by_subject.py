from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("kitting", "0019_losses_taken_back")]

    operations = [
        migrations.AddIndex(model_name="event", index=models.Index(fields=["subject"], name="event_by_subject")),
    ]
