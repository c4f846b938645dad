from django.urls import path

from registry.web.equipment import views

urlpatterns = [
    path("employers/new/", views.new_employer, name="new_employer"),
    path("equipment/", views.cranes, name="equipment"),
    path("equipment/sites/", views.sites, name="equipment_sites"),
    path("equipment/models/", views.makers, name="equipment_models"),
    path("equipment/makers/new/", views.new_maker, name="new_maker"),
    path("equipment/makers/<int:maker_id>/family/", views.new_family, name="new_family"),
    path("equipment/models/new/", views.new_model, name="new_model"),
    path("equipment/sites/new/", views.new_site, name="new_site"),
    path("equipment/cranes/new/", views.new_crane, name="new_crane"),
    path("equipment/cranes/<int:crane_id>/", views.place_crane, name="place_crane"),
    path("equipment/placements/<int:placement_id>/", views.correct_placement, name="correct_placement"),
]
