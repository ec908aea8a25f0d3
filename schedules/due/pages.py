"""The pages of this capability, relative to the root."""

from django.urls import path

from schedules.due.alike_page import like_joints
from schedules.due.growth_page import growth
from schedules.due.office_pages import office_table, office_tables, policy, sweeps_page
from schedules.due.programme_page import programme
from schedules.due.sum_page import the_sum

urlpatterns = [
    path("findings/<int:finding_id>/growth/", growth, name="finding-growth"),
    path("joints/<int:pk>/sum/", the_sum, name="joint-sum"),
    path("joints/<int:pk>/like/", like_joints, name="like-joints"),
    path("joints/<int:pk>/programme/", programme, name="programme"),
    path("sites/<slug:slug>/policy/", policy, name="policy"),
    path("sites/<slug:slug>/tables/<str:name>/", office_table, name="office-table"),
    path("tables/", office_tables, name="office-tables"),
    path("recomputes/", sweeps_page, name="sweeps"),
]
