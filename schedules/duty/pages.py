"""The pages of this capability, relative to the root."""

urlpatterns: list = []
