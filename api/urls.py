from __future__ import annotations

from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView
from rest_framework.routers import DefaultRouter

from api import inspection, notices, views

router = DefaultRouter()
router.register("jobs", views.JobViewSet, basename="job")
router.register("slots", views.SlotViewSet, basename="slot")
router.register("assignments", views.AssignmentViewSet, basename="assignment")
router.register("decisions", views.DecisionViewSet, basename="decision")

urlpatterns = [
    path("schema/", SpectacularAPIView.as_view(), name="schema"),
    path("slots/<int:slot_id>/as-known-at/", inspection.SlotAsKnownAt.as_view(), name="slot-as-known-at"),
    path("jobs/<int:job_id>/as-known-at/", inspection.JobAsKnownAt.as_view(), name="job-as-known-at"),
    path("jobs/<int:job_id>/notice/", notices.JobNotice.as_view(), name="job-notice"),
    path("log/", include("api.log")),
    path("", include(router.urls)),
]
