"""What stands in the way of a plan. Every message is a sentence for a person."""


class CannotPlan(Exception):
    """The stages cannot be put on the clock; the message says why."""


class Unknown(CannotPlan):
    """A slab hour that the plan needs is not known."""


class TooCold(CannotPlan):
    """The card has no row for a slab as cold as this."""


class NeedsTwo(CannotPlan):
    """Resin is never laid alone."""
