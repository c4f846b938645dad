from __future__ import annotations

from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView
from rest_framework.routers import DefaultRouter

from api import views

router = DefaultRouter()
router.register("jobs", views.JobViewSet, basename="job")
router.register("slots", views.SlotViewSet, basename="slot")
router.register("assignments", views.AssignmentViewSet, basename="assignment")
router.register("decisions", views.DecisionViewSet, basename="decision")

urlpatterns = [
    path("schema/", SpectacularAPIView.as_view(), name="schema"),
    path("", include(router.urls)),
]
