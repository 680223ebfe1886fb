from django.urls import path

from homedialysis.accounts.pages import people
from homedialysis.accounts.pages.language import account, choose_language, choose_units
from homedialysis.accounts.pages.person import person

app_name = "accounts"
urlpatterns = [
    path("join/<str:secret>/", people.join, name="join"),
    path("team/", people.team, name="team"),
    path("team/<int:user_id>/", person, name="person"),
    path("team/<int:user_id>/switch/", people.switch_person, name="switch-person"),
    path("unit/", people.unit, name="unit"),
    path("account/", account, name="account"),
    path("language/", choose_language, name="language"),
    path("account/units/", choose_units, name="own-units"),
    path("devices/", people.devices, name="devices"),
    path("devices/bedside/<uuid:bedside_id>/take-back/", people.take_bedside_back, name="take-bedside-back"),
    path("devices/<uuid:device_id>/revoke/", people.revoke_device, name="revoke-device"),
]
