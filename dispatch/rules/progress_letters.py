"""Letters along the way: a week before, on the way, coated, drive-on reached."""

from dispatch.rules.customer_words import after_care, arrival, use_word
from dispatch.rules.letters import (
    Block,
    Facts,
    Letter,
    before_we_come,
    letter,
    pass_on,
    promises_of,
)
from jobs.rules.clock import say_moment


def week_before(facts: Facts) -> Letter:
    """The confirmed day once more, with all there is to prepare."""
    visits = tuple(f"The crew arrives {arrival(start, facts.zone)}." for start in facts.starts)
    blocks = (
        Block(f"We coat your floor ({facts.floors}) at {facts.address} on {facts.when}.", visits),
        Block("Afterwards:", promises_of(facts)),
        *before_we_come(facts),
        *pass_on(facts),
    )
    return letter(facts, f"Your floor is next week: {facts.when}", blocks, reminder=True)


def on_the_way(facts: Facts) -> Letter:
    """The crew has left for the site."""
    contact = f" We ask for {facts.contact}." if facts.contact else ""
    opening = Block(f"The crew is on its way to {facts.address}.{contact}")
    clear = Block("Please have the floor empty and the way to it free.")
    return letter(facts, "Your floor: the crew is on its way", (opening, clear), reminder=True)


def floor_done(facts: Facts) -> Letter:
    """The last coat is down: the times as they stand, and how the floor is treated."""
    drive = f", {_drive(facts)}" if facts.drive_on_at else ""
    blocks = (
        Block("The last coat is down and the crew has left. The times as they stand now:",
              promises_of(facts)),
        *pass_on(facts),
        Block("In the first days:", after_care(facts.exposures)),
    )  # fmt: skip
    return letter(facts, f"Your floor is coated{drive}", blocks, reminder=True)


def drive_on_reached(facts: Facts) -> Letter:
    """The promised time has come: a time by the sheet and the slab, not a test of the floor."""
    at = say_moment(facts.drive_on_at, facts.zone) if facts.drive_on_at else ""
    opening = Block(
        f"The time we named has come: {_drive(facts)}. It rests on "
        f"{facts.drive_on_basis.rstrip('.') or 'the data sheet'}."
    )
    doubt = Block(
        "Press a fingernail into an edge first. If it leaves a mark or the floor is tacky, "
        "wait and ring us."
    )
    blocks = (opening, doubt, Block("In the first days:", after_care(facts.exposures)))
    return letter(facts, f"Your floor: drive-on time reached, {at}", blocks, reminder=True)


def _drive(facts: Facts) -> str:
    at = say_moment(facts.drive_on_at, facts.zone) if facts.drive_on_at else "not known yet"
    use = use_word(facts.exposures)
    return f"{use[0].lower()}{use[1:]} from {at}"
