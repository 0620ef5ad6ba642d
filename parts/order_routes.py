"""Addresses of suppliers, what they offer, and orders."""

from django.urls import path

from parts import offer_views, order_views

urlpatterns = [
    path("suppliers/", offer_views.suppliers, name="suppliers"),
    path("suppliers/<int:pk>/", offer_views.supplier, name="supplier"),
    path("offers/of/<int:pk>/", offer_views.part_offers, name="part-offers"),
    path("offers/<int:pk>/<str:act>/", offer_views.offer_act, name="offer-act"),
    path("orders/", order_views.orders, name="orders"),
    path("orders/late/", order_views.late, name="orders-late"),
    path("orders/add/", order_views.line_add, name="order-add"),
    path("orders/<int:pk>/", order_views.order, name="order"),
    path("orders/<int:pk>/paper/", order_views.paper, name="order-paper"),
    path("orders/<int:pk>/table/", order_views.table, name="order-table"),
    path("orders/<int:pk>/<str:act>/", order_views.order_act, name="order-act"),
    path("orders/lines/<int:pk>/<str:act>/", order_views.line_act, name="order-line-act"),
]
