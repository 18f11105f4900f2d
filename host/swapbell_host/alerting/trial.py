"""A test message, to see whether an alert would arrive."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from swapbell_host.alerting.channel import channel
from swapbell_host.alerting.courier import Courier, Errand
from swapbell_host.alerting.people import People
from swapbell_host.jobs.plan import shown
from swapbell_models.fault import Mistake

TITLE = "swapbell: test"
# Our choice: a slow mail server takes a quarter of a minute, and a person looks at the command for little longer.
PATIENCE = timedelta(seconds=20)


@dataclass(frozen=True, slots=True)
class Trial:
    """What became of one test message.

    Attributes
    ----------
    shown
        The person, with the kind of the address.
    taken
        Whether the address took it: that is no proof that somebody reads it.
    """

    shown: str
    taken: bool

    @property
    def words(self) -> str:
        """The outcome in a line."""
        return f"{self.shown}: {'taken; see whether it has arrived' if self.taken else 'not taken'}"


def send_test(people: People, at: datetime, only: str | None = None, patience: timedelta = PATIENCE) -> list[Trial]:
    """Send a test message to everyone, or to one contact or channel, and wait for a moment to see who takes it.

    Parameters
    ----------
    people : People
        Who there is.
    at : datetime
        Now, aware UTC.
    only : str, optional
        The name of a contact or of a channel.
    patience : timedelta
        How long to wait, all together.

    Raises
    ------
    Mistake
        If there is nobody, or none of that name.
    """
    names = people.everyone()
    if only is not None:
        if people.url(only) is None or "://" in only:
            raise Mistake(
                f"contact {shown(only)}: there is none of that name; there are: {', '.join(names) or 'none'}"
            )
        names = [only]
    if not names:
        raise Mistake("nobody to tell: `swapbell-host contact set`, or alerts.urls in the configuration, says whom")
    courier, text = Courier(), f"A test at {at:%Y-%m-%d %H:%M} UTC: if you read this, alerts arrive here."
    errands = {name: Errand(0, name, TITLE, text, at) for name in names}
    for name, errand in errands.items():
        _carry(courier, errand, people.url(name))
    courier.close(patience.total_seconds())
    return [Trial(people.shown(name), bool(errand.taken)) for name, errand in errands.items()]


def _carry(courier: Courier, errand: Errand, url: str | None) -> None:
    try:
        courier.carry(errand, channel(url or ""))
    except ValueError:
        errand.taken = False
