"""Holds what people were told against what they were promised: how much, how often of a station, and not at night."""

from collections import defaultdict
from collections.abc import Iterable, Set

from alertload.play import Play
from alertload.report import Report, Word
from alertload.world import ZONE
from swapbell_host.alerting.outbox import Why
from swapbell_host.alerting.schedule import NIGHT, SWAPS, course, day_of
from swapbell_host.judging.bait import DUE_AHEAD
from swapbell_host.judging.waiting import FORECAST_LASTS
from swapbell_models.notice import SUPERSEDES, URGENCY, NoticeKind, Urgency

# A forecast reaches a day and a half ahead, and so long before toxic bait is said to be due out: what was heard in
# that time is what a call rises from.
HEARD = max(FORECAST_LASTS, DUE_AHEAD)
ACTS = [kind for kind, urgency in URGENCY.items() if urgency is Urgency.ACT]
# What asks for less in the same matter.
BELOW = {kind: SUPERSEDES[kind] | {NoticeKind.VISITORS} if kind in SWAPS else SUPERSEDES[kind] for kind in ACTS}


def weigh(play: Play, words: list[Word], report: Report) -> None:
    """Note how many messages there were, and each that a person should have been spared."""
    _count(play, words, report)
    _nights(play, words, report)


def _count(play: Play, words: list[Word], report: Report) -> None:
    days = defaultdict[tuple[str, int], set[int]](set)
    named = defaultdict[tuple[str, str], dict[int, list[Word]]](lambda: defaultdict(list))
    for word in words:
        days[word.person, _day(play, word)].add(word.telling)
        named[word.person, word.station][word.telling].append(word)
    for (person, _), tellings_of_day in days.items():
        report.messages[person] += len(tellings_of_day)
        report.busiest[person] = max(report.busiest.get(person, 0), len(tellings_of_day))
    for messages in named.values():
        for earlier, message in zip(messages.values(), list(messages.values())[1:], strict=False):
            if _day(play, earlier[0]) == _day(play, message[0]):
                _once_more([word for each in messages.values() for word in each], message, report)


def _nights(play: Play, words: list[Word], report: Report) -> None:
    """See whether anybody was told in quiet hours what could have waited."""
    message = defaultdict[int, list[Word]](list)
    for word in words:
        message[word.telling].append(word)
    for each in message.values():
        quiet = play.keepers[each[0].person].quiet
        if quiet and quiet.holds(each[0].at, ZONE) and not any(course(word.kind).any_hour for word in each):
            report.woken.append(f"{each[0].person}, {each[0].at}: {_listed({word.kind for word in each})}")


def _day(play: Play, word: Word) -> int:
    """Return in which of the person's days a word came."""
    return day_of(word.at, play.keepers[word.person].quiet or NIGHT, ZONE)


def _once_more(words: list[Word], message: list[Word], report: Report) -> None:
    """Note why a message names a station of which the person has heard that day."""
    last, kinds = message[0], {word.kind for word in message}
    heard = {word.kind for word in words if last.at - HEARD < word.at < last.at}
    if whys := [why for word in message if (why := _escalates(word, heard))]:
        report.escalations[whys[0]] += 1
    else:
        found = report.repeats if kinds.isdisjoint(ACTS) else report.besides
        found.append(f"{last.person}, {last.station}, {last.at}: {_listed(heard)}, then {_listed(kinds)}")


def _escalates(word: Word, heard: Set[NoticeKind]) -> str | None:
    """Tell in words whether a notice is more than what the person has heard of its matter; nothing if not."""
    if word.why is Why.BEHIND:
        return "to whoever stands behind"
    if word.kind in ACTS and (risen := BELOW[word.kind] & heard):
        return f"{word.kind.value}, risen from {_listed(risen)}"
    if word.kind in ACTS and word.kind in heard:
        return f"{word.kind.value}, which nobody has seen to"
    if word.kind is NoticeKind.VISITORS and heard & SWAPS:
        return "a warning against a swap that is called for"
    return None


def _listed(kinds: Iterable[NoticeKind]) -> str:
    return " and ".join(sorted(kind.value for kind in kinds))
