from django.apps import AppConfig


class AssetsAppConfig(AppConfig):
    name = "assets_app"
    verbose_name = "Assets and inspections"
    default_auto_field = "django.db.models.BigAutoField"
