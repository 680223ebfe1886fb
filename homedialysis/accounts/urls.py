from django.urls import path

from homedialysis.accounts import pages
from homedialysis.accounts.language import choose_language

app_name = "accounts"
urlpatterns = [
    path("join/<str:secret>/", pages.join, name="join"),
    path("team/", pages.team, name="team"),
    path("team/<int:user_id>/switch/", pages.switch_person, name="switch-person"),
    path("unit/", pages.unit, name="unit"),
    path("language/", choose_language, name="language"),
    path("devices/", pages.devices, name="devices"),
    path("devices/bedside/<uuid:bedside_id>/take-back/", pages.take_bedside_back, name="take-bedside-back"),
    path("devices/<uuid:device_id>/revoke/", pages.revoke_device, name="revoke-device"),
]
