from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('assets_app', '0005_link_to_set_a_password'),
    ]

    operations = [
        migrations.AddField(
            model_name='person',
            name='shut_at',
            field=models.DateTimeField(blank=True, help_text='when the account was last shut; no session from before lives on', null=True),
        ),
    ]
