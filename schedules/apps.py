from django.apps import AppConfig


class SchedulesConfig(AppConfig):
    name = "schedules"
    verbose_name = "Schedules"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from assets_app.inspections import hooks
        from assets_app.register import lists
        from schedules import receivers
        from schedules.due import crack_window
        from schedules.duty.counter_file import COUNTERS

        lists.offer(COUNTERS)
        hooks.register(window_used=crack_window.window_used, assessment_end=crack_window.assessment_end)
