"""URLs of comparisons, lifetimes and costs, and the track record."""

from __future__ import annotations

from django.urls import URLPattern, path

from wearlog.web.reports.views import best, compare, costs, fitted, ordering, reliability, stopping, track

urlpatterns: list[URLPattern] = [
    path("compare/", compare.compare, name="compare"),
    path("compare/with/", fitted.fitted, name="compare-with"),
    path("presses/<int:pk>/settings/", best.best, name="press-settings"),
    path("costs/", costs.costs, name="costs"),
    path("worth/", reliability.part_lives, name="worth"),
    path("worth/work/", reliability.repeated_work, name="worth-work"),
    path("worth/pays/", reliability.costs, name="worth-pays"),
    path("parts/<int:pk>/stop/", stopping.part_stop, name="part-stop"),
    path("order/", ordering.to_order, name="to-order"),
    path("order/new/", ordering.order_new, name="order-new"),
    path("order/<int:pk>/arrived/", ordering.order_arrived, name="order-arrived"),
    path("order/<int:pk>/correct/", ordering.order_correct, name="order-correct"),
    path("order/<int:pk>/not-arrived/", ordering.order_arrival_undo, name="order-arrival-undo"),
    path("order/<int:pk>/void/", ordering.order_void, name="order-void"),
    path("track-record/", track.track, name="track-record"),
]
