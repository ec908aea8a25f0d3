from django.db import migrations

from assets_app.record import triggers


def install(apps, schema_editor):
    triggers.install(schema_editor.connection)


def lift(apps, schema_editor):
    triggers.lift(schema_editor.connection)


class Migration(migrations.Migration):
    dependencies = [("assets_app", "0001_initial")]

    operations = [migrations.RunPython(install, lift)]
