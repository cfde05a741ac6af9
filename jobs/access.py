"""Who acts, and what their role lets them do. Pages, API, feeds and commands all ask here."""

from dataclasses import dataclass
from typing import Any

from jobs.models import ActorKind, Branch, Membership, Role, User
from jobs.refusals import NotAllowed, NotFound

# What each role may do; a later role never has more than an earlier one.
OFFICE_ROLES = frozenset({Role.OWNER, Role.OFFICE})
CREW_ROLES = frozenset({Role.OWNER, Role.OFFICE, Role.LEAD, Role.INSTALLER})


@dataclass(frozen=True)
class Actor:
    """Somebody who changes something, as the audit keeps them."""

    kind: ActorKind
    name: str
    user: User | None = None

    @property
    def key(self) -> str:
        """Names the actor among owners of idempotency keys."""
        return f"{self.kind}:{self.user.pk if self.user else self.name}"


PROGRAM = Actor(kind=ActorKind.SYSTEM, name="Slabcast")


def person(user: User) -> Actor:
    """The actor of a signed-in person."""
    return Actor(kind=ActorKind.USER, name=user.get_full_name() or user.username, user=user)


def role_in(user: Any, branch: Branch) -> Role | None:
    """The role of `user` in `branch`, asked of the database each time."""
    membership = Membership.objects.of(user).filter(branch=branch).first()
    return Role(membership.role) if membership else None


def require(user: Any, branch: Branch, roles: frozenset[Role]) -> None:
    """Refuse unless `user` has one of `roles` in `branch`; a stranger hears "not found"."""
    role = role_in(user, branch)
    if role is None:
        raise NotFound("There is no such branch.")
    if role not in roles:
        raise NotAllowed(f"Your role in {branch} ({role.label.lower()}) does not include this.")


def branches_of(user: Any) -> list[Branch]:
    """The branches in which `user` is a member, by name."""
    return list(
        Branch.objects.filter(pk__in=Membership.objects.of(user).values("branch")).order_by("name")
    )
