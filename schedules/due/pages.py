"""The pages of this capability, relative to the root."""

from django.urls import path

from schedules.due.sum_page import the_sum

urlpatterns = [path("joints/<int:pk>/sum/", the_sum, name="joint-sum")]
