"""Background work of the weather. Tasks take ids and may run twice."""

from celery import shared_task
from django.utils import timezone

from weather import services
from weather.models import Place


@shared_task  # type: ignore[untyped-decorator]
def refresh_place(place_id: int) -> str:
    """Fetch one place now, as for an address that was never asked about."""
    place = Place.objects.filter(pk=place_id).first()
    if place is None:
        return "gone"
    return services.refresh(place, now=timezone.now()).outcome.value
