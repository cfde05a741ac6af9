"""Addresses of the office. Secret addresses of crews and customers are in urls_secret.py."""

from django.contrib.auth.views import LogoutView
from django.urls import path

from dispatch.views import (
    bookings,
    crew_links,
    dryness,
    exchanges,
    intake,
    mails,
    office,
    phone,
    staff,
    weather,
)

urlpatterns = [
    path("", office.week, name="week"),
    path("needs/", office.needs, name="needs"),
    path("needs/<int:pk>/told/", office.told, name="told"),
    path("crews/", staff.staff, name="crews"),
    path("crews/change/<slug:kind>/", staff.change, name="staff-change"),
    path("absences/<int:pk>/end/", staff.back, name="staff-back"),
    path("crews/<int:pk>/links/", crew_links.make, name="link-make"),
    path("links/<int:pk>/replace/", crew_links.replace, name="link-replace"),
    path("links/<int:pk>/stop/", crew_links.stop, name="link-stop"),
    path("branch/", office.choose_branch, name="choose-branch"),
    path("floors/", intake.waiting, name="waiting"),
    path("floors/new/", intake.take_in, name="take-in"),
    path("floors/import/", intake.import_backlog, name="import-backlog"),
    path("floors/<int:pk>/days/", bookings.offers, name="offers"),
    path("floors/<int:pk>/book/", bookings.book, name="book"),
    path("bookings/<int:pk>/", bookings.booking, name="booking"),
    path("bookings/<int:pk>/move/", bookings.move, name="move"),
    path("bookings/<int:pk>/confirm/", bookings.confirm, name="confirm"),
    path("bookings/<int:pk>/call-off/", bookings.call_off, name="call-off"),
    path("bookings/<int:pk>/undo/", bookings.undo, name="undo"),
    path("bookings/<int:pk>/exchange/", exchanges.exchange, name="exchange"),
    path("bookings/<int:pk>/swap/", exchanges.swap, name="swap"),
    path("bookings/<int:pk>/hand-over/", exchanges.hand_over, name="hand-over"),
    path("bookings/<int:pk>/dryness/", dryness.note_dryness, name="note-dryness"),
    path("stints/<int:pk>/sheet/", phone.day_sheet, name="day-sheet"),
    path("mail/", mails.mails, name="mails"),
    path("mail/<int:pk>/", mails.mail, name="mail"),
    path("weather/", weather.services, name="weather-services"),
    path("weather/months/", weather.wet_months, name="wet-months"),
    path("sign-in/", office.SignIn.as_view(), name="sign-in"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
]
