"""The API of this capability, relative to /api/v1/."""

urlpatterns: list = []
