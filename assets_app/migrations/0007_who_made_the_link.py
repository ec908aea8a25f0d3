from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('assets_app', '0006_accounts_that_are_shut'),
    ]

    operations = [
        migrations.AddField(
            model_name='person',
            name='link_made_by',
            field=models.CharField(blank=True, default='', help_text='name of who made that link, to be told at its use', max_length=160),
        ),
    ]
