"""The address book of a branch: who is known already and who is new, for one write."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import TypeVar

from django.db.models import Q
from django.db.models.functions import Lower

from jobs import audit
from jobs.access import Actor
from jobs.models import Branch, Customer, Site
from jobs.rules.new_jobs import NewJob
from jobs.services.checking import CheckedJob
from weather.models import Place
from weather.services import place_for

Spot = tuple[Decimal, Decimal, str]
Row = TypeVar("Row", Customer, Site)


@dataclass
class AddressBook:
    """Customers and sites of a branch, by what tells that it is them.

    Rows that are new have no key yet, so a site is kept under the identity of its customer's
    object; `customers` holds every one of them, and keeps them alive.
    """

    branch: Branch
    customers: list[Customer] = field(default_factory=list)
    by_email: dict[str, Customer] = field(default_factory=dict)
    by_telephone: dict[tuple[str, str], Customer] = field(default_factory=dict)
    sites: dict[tuple[int, str, str], Site] = field(default_factory=dict)
    places: dict[Spot, Place] = field(default_factory=dict)
    changed: dict[str, Customer | Site] = field(default_factory=dict)

    @classmethod
    def for_orders(cls, branch: Branch, orders: Sequence[CheckedJob]) -> "AddressBook":
        """The book, opened at everybody whom one of `orders` might be from."""
        book = cls(branch)
        emails = {order.new.email.lower() for order in orders if order.new.email}
        names = {order.new.customer_name for order in orders}
        known = Customer.objects.of_branch(branch).annotate(small_email=Lower("email"))
        for customer in known.filter(Q(small_email__in=emails) | Q(name__in=names)).order_by("pk"):
            book._enter(customer)
        owners = {customer.pk: customer for customer in book.customers}
        for site in Site.objects.filter(customer__in=owners).order_by("pk"):
            site.customer = owners[site.customer_id]
            book.sites.setdefault(_site_key(site.customer, site.street, site.town), site)
        return book

    def site_of(self, order: CheckedJob) -> Site:
        """The site of an order, with its customer: known, or one that `save` will write."""
        customer = self._customer_of(order.new)
        key = _site_key(customer, order.new.street, order.new.town)
        site = self.sites.get(key)
        if site is None:
            site = self.sites[key] = self._new_site(order, customer)
        elif site.pk is not None:
            self._bring_up_to_date(site, order)
        return site

    def save(self, *, by: Actor, now: datetime) -> None:
        """Write whoever is new, and what became known of the others."""
        Customer.objects.bulk_create(_without_key(self.customers))
        Site.objects.bulk_create(_without_key(self.sites.values()))
        for row in self.changed.values():
            row.save()
            names = (
                *("email", "telephone", "latitude", "longitude", "zone"),
                *("access", "power", "way_in_m", "volts", "amps"),
            )
            audit.record(
                branch=self.branch,
                by=by,
                subject="customer" if isinstance(row, Customer) else "site",
                subject_id=row.pk,
                action="complete",
                now=now,
                after={name: getattr(row, name) for name in names if hasattr(row, name)},
            )

    def _enter(self, customer: Customer) -> None:
        """Put a customer into the book; whoever was there first stays the one that is found."""
        self.customers.append(customer)
        if customer.email:
            self.by_email.setdefault(customer.email.lower(), customer)
        if customer.telephone:
            self.by_telephone.setdefault(
                _telephone_key(customer.name, customer.telephone), customer
            )

    def _customer_of(self, new: NewJob) -> Customer:
        known = self.by_email.get(new.email.lower()) if new.email else None
        if known is None and new.telephone:
            known = self.by_telephone.get(_telephone_key(new.customer_name, new.telephone))
        if known is None:
            known = Customer(
                branch=self.branch,
                name=new.customer_name,
                email=new.email,
                telephone=new.telephone,
            )
            self._enter(known)
            return known
        for name in ("email", "telephone"):
            if getattr(new, name) and not getattr(known, name):
                setattr(known, name, getattr(new, name))
                if known.pk is not None:
                    self.changed[f"customer {known.pk}"] = known
        return known

    def _new_site(self, order: CheckedJob, customer: Customer) -> Site:
        new, where = order.new, order.where
        return Site(
            customer=customer,
            street=new.street,
            town=new.town,
            region=new.region,
            postal_code=new.postal_code,
            latitude=float(where.latitude),
            longitude=float(where.longitude),
            zone=where.zone,
            place=self._place(order),
            access=new.access,
            power=new.power,
            only_way_in=new.only_way_in,
            way_in_m=new.way_in_m,
            volts=new.volts,
            amps=new.amps,
        )

    def _bring_up_to_date(self, site: Site, order: CheckedJob) -> None:
        """What was typed by hand is better than what the site was first given."""
        new, where = order.new, order.where
        wanted: dict[str, object] = {
            name: getattr(new, name)
            for name in ("access", "power", "way_in_m", "volts", "amps")
            if getattr(new, name)
        }
        if new.only_way_in:
            wanted["only_way_in"] = True
        if new.placed_by_hand:
            wanted |= {
                "latitude": float(where.latitude),
                "longitude": float(where.longitude),
                "zone": where.zone,
                "place": self._place(order),
            }
        for name, value in wanted.items():
            if getattr(site, name) != value:
                setattr(site, name, value)
                self.changed[f"site {site.pk}"] = site

    def _place(self, order: CheckedJob) -> Place:
        where = order.where
        spot = (where.latitude, where.longitude, where.zone)
        if spot not in self.places:
            # Named for the town: a place is shared, and no customer's name belongs on it.
            self.places[spot] = place_for(
                latitude=where.latitude,
                longitude=where.longitude,
                zone=where.zone,
                name=where.name,
            )
        return self.places[spot]


def _without_key(rows: Iterable[Row]) -> list[Row]:
    return [row for row in rows if not row.pk]


def _telephone_key(name: str, telephone: str) -> tuple[str, str]:
    return name.casefold(), "".join(each for each in telephone if each in "0123456789")


def _site_key(customer: Customer, street: str, town: str) -> tuple[int, str, str]:
    return id(customer), street.casefold(), town.casefold()
