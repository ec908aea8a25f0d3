from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("schedules", "0012_drop_due_by_day"),
    ]

    operations = [
        migrations.AddIndex(
            model_name="delivery",
            index=models.Index(condition=models.Q(("state", "failed")), fields=["-id"], name="deliveries_given_up"),
        ),
    ]
