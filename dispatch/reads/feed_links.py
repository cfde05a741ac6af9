"""The calendars of a branch: who subscribes to what, and when each was fetched last."""

from dataclasses import dataclass, field

from dispatch.models import Crew, Link, LinkPurpose, Machine
from jobs.models import Branch


@dataclass
class Calendar:
    """One calendar that can be subscribed to; `of` names it in the form for a new link."""

    of: str
    title: str
    links: list[Link] = field(default_factory=list)


def calendars_of(branch: Branch) -> list[Calendar]:
    """The whole branch, then its crews and its machines, each with its live links."""
    crews = Crew.objects.of_branch(branch).working().order_by("name")
    machines = Machine.objects.filter(branch=branch).order_by("kind", "name")
    found = [Calendar("branch", f"{branch}: all crews")]
    found += [Calendar(f"crew-{crew.pk}", str(crew)) for crew in crews]
    found += [Calendar(f"machine-{machine.pk}", str(machine)) for machine in machines]
    by_name = {calendar.of: calendar for calendar in found}
    links = Link.objects.of_branch(branch).filter(purpose=LinkPurpose.FEED, revoked_at=None)
    for link in links.order_by("created_at", "pk"):
        owner = f"crew-{link.crew_id}" if link.crew_id else "branch"
        owner = f"machine-{link.machine_id}" if link.machine_id else owner
        if owner in by_name:
            by_name[owner].links.append(link)
    return found
