"""Addresses that are their own key: feeds, the customer's page, the crew's phone."""

from django.urls import path

from dispatch.views import feeds

urlpatterns = [
    path("feeds/<str:token>.ics", feeds.feed, name="feed"),
]
