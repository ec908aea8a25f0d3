
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("schedules", "0002_run_of_a_report_by_its_last_sign_of_life"),
    ]

    operations = [
        migrations.AddField(
            model_name="rating",
            name="impossible",
            field=models.BooleanField(
                db_default=False, default=False, help_text="a figure cannot be right: a look is owed today"
            ),
        ),
    ]
