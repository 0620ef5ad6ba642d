"""Addresses of bays, bookings, days away and calendars; part of shop/routes.py."""

from django.urls import path

from shop.views import bays, calendar

addresses = [
    path("floor/week/", bays.week, name="week"),
    path("floor/bookings/", bays.booking_new, name="booking-new"),
    path("floor/bookings/take-back/", bays.booking_undo, name="booking-undo"),
    path("floor/bookings/<int:pk>/", bays.booking, name="booking"),
    path("floor/bookings/<int:pk>/drop/", bays.booking_drop, name="booking-drop"),
    path("floor/bays/", bays.bays, name="bays"),
    path("floor/bays/<int:pk>/rename/", bays.bay_rename, name="bay-rename"),
    path("floor/bays/<int:pk>/give-up/", bays.bay_give_up, name="bay-give-up"),
    path("floor/bays/<int:pk>/take-up/", bays.bay_take_up, name="bay-take-up"),
    path("floor/away/", bays.away, name="away"),
    path("floor/away/<int:pk>/remove/", bays.away_remove, name="away-remove"),
    path("calendar/", calendar.links, name="calendars"),
    path("calendar/make/", calendar.make, name="calendar-make"),
    path("calendar/<int:pk>/revoke/", calendar.revoke, name="calendar-revoke"),
    path("calendar/<str:token>.ics", calendar.calendar, name="calendar"),
]
