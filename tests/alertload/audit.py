"""Holds what people were told against what happened: what was missed, and what came late."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import datetime, timedelta

from sqlalchemy import select

from alertload.keepers import Keeper
from alertload.load import weigh
from alertload.play import STEP, Play
from alertload.report import Event, Report, Word
from alertload.world import DAY, HOUR, SITE, ZONE
from swapbell_host.alerting.alerts import RETRY_AFTER
from swapbell_host.alerting.outbox import Why
from swapbell_host.alerting.schedule import (
    FLAPPING,
    FLAPS,
    GATHER,
    NIGHT,
    REMEMBERED,
    SPACING,
    UNREACHED,
    UNREACHED_LOOK,
    course,
    day_of,
)
from swapbell_host.books.schema import notices
from swapbell_host.books.tellingtables import tellings, told
from swapbell_host.jobs.quiet import waking
from swapbell_models.notice import SUPERSEDES, NoticeKind


def audit(play: Play) -> Report:
    """Return what came of a season."""
    words, events, report = _words(play), _events(play), Report(play.season.days)
    _reach(play, events, words, report)
    _unanswered(play, events, words, report)
    _flaps(play, events, words, report)
    weigh(play, words, report)
    return report


def _words(play: Play) -> list[Word]:
    wanted = (
        select(
            told.c.telling_id,
            tellings.c.person,
            notices.c.id,
            notices.c.station,
            notices.c.kind,
            told.c.why,
            tellings.c.taken_at,
        )
        .join(tellings, tellings.c.id == told.c.telling_id)
        .join(notices, notices.c.id == told.c.notice_id)
        .where(tellings.c.taken_at.is_not(None))
        .order_by(tellings.c.taken_at)
    )
    with play.store.reading() as connection:
        return [Word(a, b, c, d, NoticeKind(e), Why(f), g) for a, b, c, d, e, f, g in connection.execute(wanted)]


def _events(play: Play) -> list[Event]:
    with play.store.reading() as connection:
        rows = connection.execute(select(notices).order_by(notices.c.id)).all()
    found = list[Event]()
    for row in rows:
        kind = NoticeKind(row.kind)
        raised_at = play.raised_at[row.station, kind, row.raised_at]
        closed_at = row.acknowledged_at or row.ended_at or datetime.max.replace(tzinfo=raised_at.tzinfo)
        found.append(
            Event(row.id, row.station, kind, raised_at, closed_at, _by_at(play, row.station, kind, raised_at))
        )
    of_station = defaultdict[str, list[Event]](list)
    for each in found:
        of_station[each.station].append(each)
    for each in found:
        each.closed_at = min([each.closed_at, *_superseded(each, of_station[each.station])])
    return found


def _superseded(each: Event, events: list[Event]) -> Iterator[datetime]:
    for later in events:
        if (
            later.station == each.station
            and each.kind in SUPERSEDES.get(later.kind, ())
            and later.closed_at > each.raised_at
        ):
            yield max(later.raised_at, each.raised_at)


def _by_at(play: Play, station: str, kind: NoticeKind, raised_at: datetime) -> datetime:
    """Return by when somebody has to know: by the rules' own figures, given the outages and the hours of each."""
    first, second = _watchers(play, station)
    if course(kind).call:
        called_at = waking(first.quiet, raised_at, UNREACHED, ZONE)
    else:
        called_at = _morning(first, raised_at) + UNREACHED_LOOK
    behind_at = _due_at(play, second, kind, called_at)
    return min(_due_at(play, first, kind, raised_at), behind_at)


def _watchers(play: Play, station: str) -> tuple[Keeper, Keeper]:
    """Return who is told of a station first, and who stands behind."""
    watchers = play.people.watchers(SITE, station)
    return play.keepers[watchers.first[0].name], play.keepers[watchers.behind[0].name]


def _due_at(play: Play, keeper: Keeper, kind: NoticeKind, at: datetime) -> datetime:
    """Return when a person has been reachable for as long as the rules allow, and a dead address was tried again."""
    left = _latest(kind) + STEP if course(kind).call else 2 * STEP
    at = at if course(kind).call else _morning(keeper, at)
    was_away = False
    while left > timedelta():
        away = _is_away(play, keeper, at) or _is_away(play, keeper, at + STEP)
        at += STEP
        quiet = keeper.quiet is not None and keeper.quiet.holds(at, ZONE) and not course(kind).any_hour
        if away and not was_away:
            left, was_away = max(left, RETRY_AFTER[-1] + STEP), True
        left -= timedelta() if away or quiet else STEP
    return at


def _is_away(play: Play, keeper: Keeper, at: datetime) -> bool:
    return not keeper.is_reached(at) or any(begin <= at < end for begin, end in play.outages.host)


def _latest(kind: NoticeKind) -> timedelta:
    """Return within which time, of the hours in which the person may be called, a call is told at the latest."""
    return (SPACING[0] if course(kind).any_hour else SPACING[-1]) + GATHER


def _morning(keeper: Keeper, at: datetime) -> datetime:
    """Return when the person's next day begins, with its round-up."""
    hours = keeper.quiet or NIGHT
    day = day_of(at, hours, ZONE)
    while day_of(at, hours, ZONE) == day:
        at += STEP
    return at


def _reach(play: Play, events: list[Event], words: list[Word], report: Report) -> None:
    keyed = defaultdict[tuple[str, NoticeKind], list[Event]](list)
    for each in events:
        keyed[each.station, each.kind].append(each)
    of_notice, of_key = defaultdict[int, list[Word]](list), defaultdict[tuple[str, NoticeKind], list[Word]](list)
    for word in words:
        of_notice[word.notice].append(word)
        of_key[word.station, word.kind].append(word)
    end_at = play.now
    for each in events:
        name = each.kind.value
        report.raised[name] += 1
        before = [
            word.at for word in of_key[each.station, each.kind] if each.raised_at - DAY < word.at < each.raised_at
        ]
        if before and course(each.kind).call:  # a reminder, by the pace of reminders
            first, _ = _watchers(play, each.station)
            pace_at = waking(first.quiet, max(before), course(each.kind).again_after[0], ZONE)
            each.by_at = max(each.by_at, _due_at(play, first, NoticeKind.READY, pace_at))
        first_at = min((word.at for word in of_notice[each.id]), default=None)
        if first_at is not None:
            report.waits_h[name].append((first_at - each.raised_at) / HOUR)
        if first_at is not None and first_at <= each.by_at:
            report.told[name] += 1
        elif each.closed_at <= each.by_at or each.by_at > end_at:
            report.over[name] += 1
        elif _said_to_flap(each, keyed[each.station, each.kind], of_key[each.station, each.kind]):
            report.told[name] += 1
        else:
            report.missed.append(
                f"{name} {each.id} at {each.station}: raised {each.raised_at}, due {each.by_at}, told {first_at}"
            )


def _said_to_flap(each: Event, alike: list[Event], words: list[Word]) -> bool:
    """Tell whether it was one of many spells, of which the person knew."""
    spells = [other for other in alike if each.by_at - FLAPPING - DAY < other.closed_at <= each.by_at]
    return len(spells) >= FLAPS and any(each.raised_at - REMEMBERED <= word.at <= each.by_at for word in words)


def _unanswered(play: Play, events: list[Event], words: list[Word], report: Report) -> None:
    """See whether whoever stands behind heard of each call that nobody answered."""
    heard = defaultdict[tuple[int, str], list[datetime]](list)
    for word in words:
        heard[word.notice, word.person].append(word.at)
    for each in events:
        first, second = _watchers(play, each.station)
        behind_after, told_at = course(each.kind).behind_after, heard[each.id, first.name]
        if behind_after is None or not told_at:
            continue
        hours = None if course(each.kind).any_hour else first.quiet
        by_at = _due_at(play, second, each.kind, waking(hours, told_at[0], behind_after, ZONE))
        if each.closed_at > by_at and by_at < play.now and not any(at <= by_at for at in heard[each.id, second.name]):
            report.missed.append(f"{each.kind.value} {each.id} at {each.station}: unanswered, {second.name} not told")


def _flaps(play: Play, events: list[Event], words: list[Word], report: Report) -> None:
    """See whether somebody heard of everything that came and went, even where no spell lasted until a morning."""
    spells = defaultdict[tuple[str, NoticeKind], list[datetime]](list)
    for each in events:
        if not course(each.kind).call and each.closed_at < play.now:
            spells[each.station, each.kind].append(each.closed_at)
    for (station, kind), closed in spells.items():
        for earlier, later in zip(closed, closed[FLAPS - 1 :], strict=False):
            by_at = _by_at(play, station, kind, later)
            if later - earlier >= FLAPPING - HOUR or by_at > earlier + FLAPPING or by_at > play.now:
                continue  # it had stopped before the morning
            if not any(
                word.station == station and word.kind is kind and later - REMEMBERED <= word.at <= by_at
                for word in words
            ):
                report.missed.append(f"{kind.value} at {station} came and went until {later}, untold by {by_at}")
