"""Addresses of the shelf: its parts, their ledger and batches."""

from django.urls import path

from parts import count_views, goods_views, label_views, outlook_views, shelf_views

urlpatterns = [
    path("parts/<int:pk>/movements/", shelf_views.part_moves, name="part-moves"),
    path("parts/<int:pk>/forecast/", outlook_views.forecast, name="part-forecast"),
    path("parts/<int:pk>/cars/", outlook_views.cars, name="part-cars"),
    path("parts/<int:pk>/do/<str:act>/", shelf_views.part_act, name="part-act"),
    path("movements/<int:pk>/undo/", shelf_views.move_undo, name="move-undo"),
    path("shelf/goods-in/", goods_views.goods_in, name="goods-in"),
    path("shelf/barcode/", goods_views.barcode, name="barcode"),
    path("shelf/counts/", count_views.counts, name="counts"),
    path("shelf/counts/<int:pk>/", count_views.count, name="count"),
    path("shelf/counts/<int:pk>/close/", count_views.count_close, name="count-close"),
    path("shelf/count-lines/<int:pk>/strike/", count_views.count_strike, name="count-strike"),
    path("shelf/labels/", label_views.labels, name="labels"),
    path("batches/<int:pk>/", shelf_views.lot, name="lot"),
    # A number may have a slash in it: this one takes what no other address below shelf/ took, so it stays the last.
    path("shelf/<path:number>/", shelf_views.part, name="part"),
]
