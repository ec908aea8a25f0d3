import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('assets_app', '0008_bolt_readings'),
        ('schedules', '0014_shares_and_looks_that_give_days'),
    ]

    operations = [
        migrations.RemoveIndex(
            model_name='duedate',
            name='due_by_site',
        ),
        migrations.RemoveIndex(
            model_name='duedate',
            name='due_by_method',
        ),
        migrations.AlterField(
            model_name='duedate',
            name='joint',
            field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='due_dates', to='assets_app.joint'),
        ),
        migrations.AddIndex(
            model_name='duedate',
            index=models.Index(fields=['site', 'due_on', 'programme', 'method'], name='due_by_site_with_method'),
        ),
        migrations.AddIndex(
            model_name='duedate',
            index=models.Index(condition=models.Q(('method__in', ['PT', 'UT', 'ET', 'RT', 'BC'])), fields=['site', 'method', 'due_on', 'programme'], name='due_by_rarer_method'),
        ),
    ]
