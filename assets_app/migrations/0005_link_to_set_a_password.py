from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('assets_app', '0004_checks_of_the_record'),
    ]

    operations = [
        migrations.AddField(
            model_name='person',
            name='link_made_at',
            field=models.DateTimeField(blank=True, help_text='when the link to set a password was made; none: no link leads anywhere', null=True),
        ),
    ]
