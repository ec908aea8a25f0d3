from django.apps import AppConfig


class SchedulesConfig(AppConfig):
    name = "schedules"
    verbose_name = "Schedules"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from schedules import receivers
