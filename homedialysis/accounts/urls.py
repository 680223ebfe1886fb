from django.urls import path

from homedialysis.accounts import pages

app_name = "accounts"
urlpatterns = [
    path("join/<str:secret>/", pages.join, name="join"),
    path("team/", pages.team, name="team"),
    path("team/<int:user_id>/switch/", pages.switch_person, name="switch-person"),
    path("unit/", pages.unit, name="unit"),
    path("devices/", pages.devices, name="devices"),
    path("devices/<uuid:device_id>/revoke/", pages.revoke_device, name="revoke-device"),
]
