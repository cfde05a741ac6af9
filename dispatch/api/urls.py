"""Addresses of the API, below /api/v1/."""

from django.urls import path

from dispatch.api import bookings, exchanges, floors, overview, quick, staff

urlpatterns = [
    path("schema", overview.Schema.as_view(), name="api-schema"),
    path("docs", overview.docs, name="api-docs"),
    path("quick-answer", quick.QuickAnswer.as_view(), name="api-quick-answer"),
    path("floors", floors.Floors.as_view(), name="api-floors"),
    path("floors/<int:pk>/offers", floors.FloorOffers.as_view(), name="api-floor-offers"),
    path("floors/<int:pk>/bookings", floors.FloorBookings.as_view(), name="api-floor-bookings"),
    path("bookings/<int:pk>", bookings.BookingOne.as_view(), name="api-booking"),
    path("bookings/<int:pk>/offers", bookings.BookingOffers.as_view(), name="api-booking-offers"),
    path("bookings/<int:pk>/move", bookings.BookingMove.as_view(), name="api-move"),
    path("bookings/<int:pk>/confirm", bookings.BookingConfirm.as_view(), name="api-confirm"),
    path("bookings/<int:pk>/call-off", bookings.BookingCallOff.as_view(), name="api-call-off"),
    path("bookings/<int:pk>/swap", exchanges.BookingSwap.as_view(), name="api-swap"),
    path("bookings/<int:pk>/hand-over", exchanges.BookingHandOver.as_view(), name="api-hand-over"),
    path("bookings/<int:pk>/undo", exchanges.BookingUndo.as_view(), name="api-undo"),
    path("staff", staff.Staff.as_view(), name="api-staff"),
    path("crews/<int:pk>/people", staff.CrewPeople.as_view(), name="api-crew-people"),
    path("absences", staff.Absences.as_view(), name="api-absences"),
    path("absences/<int:pk>/end", staff.AbsenceEnd.as_view(), name="api-absence-end"),
    path("week", overview.WeekOne.as_view(), name="api-week"),
    path("verdicts", overview.Verdicts.as_view(), name="api-verdicts"),
    path("<path:rest>", overview.Nowhere.as_view(), name="api-nowhere"),
]
