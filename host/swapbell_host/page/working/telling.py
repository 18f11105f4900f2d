"""Whether people are reached: what keeps the host or an address from telling, and a test message at a button."""

from datetime import timedelta

from swapbell_host.alerting.people import People
from swapbell_host.alerting.trial import send_test
from swapbell_host.alerting.trouble import pulse_words, unreached_words
from swapbell_host.books.tellingbook import Tellingbook
from swapbell_host.jobs.account import Right
from swapbell_host.page.door import Door
from swapbell_host.page.visit import Go, Visit
from swapbell_models.fault import Mistake

# Our choice: the page waits for whoever pressed the button, and everybody else waits with it.
PATIENCE = timedelta(seconds=5)


def troubles(visit: Visit) -> list[str]:
    """Return what keeps people from being told, in words; nothing if all works."""
    book = Tellingbook(visit.house.store)
    pulse = book.pulse()
    found = [words] if pulse and (words := pulse_words(pulse, visit.at)) else []
    return [*found, *map(unreached_words, book.unreached())]


def try_out(visit: Visit) -> Go:
    """Send a contact a test message."""
    house = visit.house
    sites, stations = house.servicebook.sites(visit.at), house.servicebook.stations(visit.at)
    people = People(house.config.alerts, house.planbook.contacts(), stations, sites)
    try:
        trials = send_test(people, visit.at, visit.form.get("known", ""), PATIENCE)
    except Mistake as mistake:
        return Go("/plan", said=f"{mistake}.")
    return Go("/plan", said=" ".join(f"{trial.words}." for trial in trials))


DOORS = (Door("/plan/contact/test", try_out, Right.WORK, "POST"),)
