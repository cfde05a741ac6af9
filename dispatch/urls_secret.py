"""Addresses that are their own key: feeds, the customer's page, the crew's phone."""

from django.urls import path

from dispatch.views import customer, feeds, phone

urlpatterns = [
    path("feeds/<str:token>.ics", feeds.feed, name="feed"),
    path("c/<str:token>/", customer.page, name="customer"),
    path("c/<str:token>/cannot/", customer.cannot, name="customer-cannot"),
    path("c/<str:token>/answer/", customer.answer, name="customer-answer"),
    path("c/<str:token>/ready/", customer.ready, name="customer-ready"),
    path("c/<str:token>/fewer/", customer.fewer, name="customer-fewer"),
    path("c/<str:token>/floor.ics", customer.download, name="customer-ics"),
    path("c/<str:token>/floor-<int:number>.ics", customer.download, name="customer-ics-visit"),
    path("p/<str:token>/", phone.crew, name="phone"),
    path("p/<str:token>/seen/<int:notice>/", phone.seen, name="phone-seen"),
    path("p/<str:token>/<int:stint>/", phone.sheet, name="phone-sheet"),
    path("p/<str:token>/<int:stint>/on-the-way/", phone.on_the_way, name="phone-on-the-way"),
    path("p/<str:token>/<int:stint>/stamp/", phone.stamp, name="phone-stamp"),
    path("p/<str:token>/<int:stint>/reading/", phone.reading, name="phone-reading"),
]
