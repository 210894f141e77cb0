"""URLs of the set-up pages, people, and the import and export of logbooks."""

from __future__ import annotations

from django.urls import URLPattern, path

from wearlog.web.setup.views import crops, devices, exchange, parts, people, presses, rules, whole_press

urlpatterns: list[URLPattern] = [
    path("presses/new/", whole_press.press_new, name="press-new"),
    path("presses/new/bare/", presses.press_new, name="press-bare"),
    path("presses/<int:pk>/what-sits/", whole_press.what_sits, name="what-sits"),
    path("presses/<int:pk>/edit/", presses.press_edit, name="press-edit"),
    path("presses/<int:press>/positions/new/", presses.position_new, name="position-new"),
    path("positions/<int:pk>/", presses.position_edit, name="position-edit"),
    path("presses/<int:pk>/energy/", presses.energy, name="energy"),
    path("presses/<int:press>/energy/new/", presses.energy_new, name="energy-new"),
    path("energy/<int:pk>/", presses.energy_edit, name="energy-edit"),
    path("parts/new/", parts.parts_new, name="parts-new"),
    path("parts/<int:pk>/edit/", parts.part_edit, name="part-edit"),
    path("part-types/", parts.part_types, name="part-types"),
    path("part-types/new/", parts.part_type_new, name="part-type-new"),
    path("part-types/<int:pk>/", parts.part_type_edit, name="part-type-edit"),
    path("crops/", presses.crops, name="crops"),
    path("crops/pick/", crops.crops_pick, name="crops-pick"),
    path("crops/new/", presses.crop_new, name="crop-new"),
    path("crops/<int:pk>/", presses.crop_edit, name="crop-edit"),
    path("rules/", rules.rules, name="rules"),
    path("rules/new/", rules.rule_new, name="rule-new"),
    path("rules/<int:pk>/", rules.rule_edit, name="rule-edit"),
    path("plan/", rules.plan, name="plan"),
    path("plan/new/", rules.plan_new, name="plan-new"),
    path("plan/<int:pk>/", rules.plan_edit, name="plan-edit"),
    path("prices/", rules.prices, name="prices"),
    path("prices/new/", rules.price_new, name="price-new"),
    path("prices/<int:pk>/", rules.price_edit, name="price-edit"),
    path("people/", people.people, name="people"),
    path("people/new/", people.person_new, name="person-new"),
    path("people/<int:pk>/", people.person_edit, name="person-edit"),
    path("people/<int:pk>/link/", people.person_link, name="person-link"),
    path("people/<int:pk>/devices/", devices.person_devices, name="person-devices"),
    path("me/devices/", devices.my_devices, name="my-devices"),
    path("me/devices/in-use/", devices.in_use, name="in-use"),
    path("me/", people.my_settings, name="my-settings"),
    path("settings/", people.settings, name="settings"),
    path("exchange/", exchange.exchange, name="exchange"),
    path("exchange/logbook.zip", exchange.export, name="export"),
    path("exchange/imports/<int:pk>/", exchange.import_job, name="import-job"),
    path("exchange/imports/<int:pk>/cancel/", exchange.import_cancel, name="import-cancel"),
    path("exchange/imports/<int:pk>/problems.csv", exchange.import_problems, name="import-problems"),
]
