"""The commands `site` and `station`: the plan, and each station's enrolment."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from swapbell_host.desk.listing import Listed

HOST_TOML = Path("host.toml")
ConfigOption = Annotated[Path, typer.Option("--config", help="The host's configuration.", show_default=True)]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON array instead of lines.")]
DetailOption = Annotated[
    list[str] | None, typer.Option("--detail", help="NAME=TEXT that a record asks for; may be repeated.")
]
SiteArgument = Annotated[str, typer.Argument(metavar="SITE", help="The site's name.", show_default=False)]
StationArgument = Annotated[str, typer.Argument(metavar="SITE/STATION", help="Which one.", show_default=False)]
ZoneOption = Annotated[str | None, typer.Option("--zone", help="Its time zone, such as Pacific/Auckland.")]
OwnerOption = Annotated[str | None, typer.Option("--owner", help="Whose it is.")]
LureOption = Annotated[float | None, typer.Option("--lure-days", help="How long a lure stays fresh [d].")]
ToxicOption = Annotated[float | None, typer.Option("--toxic-days", help="How long toxic bait stays out [d].")]
IdleOption = Annotated[
    float | None, typer.Option("--idle-days", help="How soon after it fresh lure hangs and the rest is gone [d].")
]
WatchOption = Annotated[float | None, typer.Option("--watch-days", help="How long after a swap to watch [d].")]
PlaceOption = Annotated[
    str | None, typer.Option("--place", help="Where it hangs: '42.8821 S 147.3272 E' or '-42.8821, 147.3272'.")
]
RoleOption = Annotated[
    str | None, typer.Option("--role", help="bait, or control: one that never gets toxic bait.", show_default=False)
]
BaitOption = Annotated[str | None, typer.Option("--bait", help="What lures there.")]
CameraOption = Annotated[str | None, typer.Option("--camera", help="What watches.")]
ContactOption = Annotated[str | None, typer.Option("--contact", help="Who is told first, by name.")]


def group(words: str) -> typer.Typer:
    """Return a group of commands."""
    return typer.Typer(
        help=words, add_completion=False, pretty_exceptions_enable=False, rich_markup_mode=None, no_args_is_help=True
    )


SITE = group("Sites: places with one owner.\n\nExample: swapbell-host site add orchard --zone Pacific/Auckland")
STATION = group(
    "Stations: bait containers with a counter each.\n\nExample: swapbell-host station add orchard/north --bait fish"
)
GROUPS = {"site": SITE, "station": STATION}


@SITE.command("add")
def add_site(
    name: SiteArgument,
    zone: ZoneOption = "UTC",
    owner: OwnerOption = None,
    lure_days: LureOption = None,
    toxic_days: ToxicOption = None,
    idle_days: IdleOption = None,
    watch_days: WatchOption = None,
    detail: DetailOption = None,
    config: ConfigOption = HOST_TOML,
) -> None:
    """Add a site; the label and the permit say how long toxic bait may stay out.

    Example: swapbell-host site add orchard --zone Pacific/Auckland --toxic-days 3
    """
    from swapbell_host.desk.opening import given, opened, pairs
    from swapbell_host.jobs import filling
    from swapbell_host.jobs.plan import Site

    said = given(zone=zone, owner=owner, lure=lure_days, toxic=toxic_days, idle=idle_days, watch=watch_days)
    with opened(config, making=True) as desk:
        desk.plan.add_site(filling.site(Site(name), said, pairs(detail or ())))
    typer.echo(f"site {name} added")


@SITE.command("change")
def change_site(
    name: SiteArgument,
    zone: ZoneOption = None,
    owner: OwnerOption = None,
    lure_days: LureOption = None,
    toxic_days: ToxicOption = None,
    idle_days: IdleOption = None,
    watch_days: WatchOption = None,
    detail: DetailOption = None,
    config: ConfigOption = HOST_TOML,
) -> None:
    """Change what is given of a site; an empty text takes it away.

    Example: swapbell-host site change orchard --owner "Orchard Ltd" --detail crop=apples
    """
    from swapbell_host.desk.opening import given, opened, pairs
    from swapbell_host.jobs import filling

    said = given(zone=zone, owner=owner, lure=lure_days, toxic=toxic_days, idle=idle_days, watch=watch_days)
    with opened(config, writing=True) as desk:
        desk.plan.change_site(filling.site(desk.plan.site(name), said, pairs(detail or ())))
    typer.echo(f"site {name} changed")


@SITE.command("list")
def list_sites(json: JsonOption = False, config: ConfigOption = HOST_TOML) -> None:
    """List the sites.

    Example: swapbell-host site list --json
    """
    from swapbell_host.desk import listing
    from swapbell_host.desk.opening import opened

    with opened(config) as desk:
        show(listing.sites(desk), json)


@STATION.command("add")
def add_station(
    station: StationArgument,
    place: PlaceOption = None,
    role: RoleOption = None,
    bait: BaitOption = None,
    camera: CameraOption = None,
    contact: ContactOption = None,
    config: ConfigOption = HOST_TOML,
) -> None:
    """Add a station to a site.

    Example: swapbell-host station add orchard/north --place "42.8821 S 147.3272 E" --bait fish
    """
    from swapbell_host.desk.opening import given, key, opened
    from swapbell_host.jobs import filling
    from swapbell_host.jobs.plan import Station

    said = given(place=place, role=role, bait=bait, camera=camera, contact=contact)
    with opened(config, writing=True) as desk:
        desk.plan.add_station(filling.station(Station(*key(station), desk.now), said))
    typer.echo(f"station {station} added")


@STATION.command("change")
def change_station(
    station: StationArgument,
    place: PlaceOption = None,
    role: RoleOption = None,
    bait: BaitOption = None,
    camera: CameraOption = None,
    contact: ContactOption = None,
    config: ConfigOption = HOST_TOML,
) -> None:
    """Change what is given of a station; an empty text takes it away. One that was moved is logged as moved instead.

    Example: swapbell-host station change orchard/north --contact Kim
    """
    from swapbell_host.desk.opening import given, key, opened
    from swapbell_host.jobs import filling

    said = given(place=place, role=role, bait=bait, camera=camera, contact=contact)
    with opened(config, writing=True) as desk:
        desk.plan.change_station(filling.station(desk.plan.station(*key(station)), said))
    typer.echo(f"station {station} changed")


@STATION.command("list")
def list_stations(json: JsonOption = False, config: ConfigOption = HOST_TOML) -> None:
    """List the stations: where each stands, what is due, and the way to the nearest other one.

    Example: swapbell-host station list
    """
    from swapbell_host.desk import listing
    from swapbell_host.desk.opening import opened

    with opened(config) as desk:
        show(listing.stations(desk), json)


@STATION.command("enrol")
def enrol_station(
    station: StationArgument,
    folder: Annotated[Path, typer.Option("--dir", help="Where the station's own folder is made.")] = Path("enrolled"),
    broker: Annotated[
        str | None, typer.Option("--broker", help="The broker's name or address as the station reaches it.")
    ] = None,
    clip: Annotated[
        str | None, typer.Option("--clip", help="A clip that its counter counts, in place of a camera.")
    ] = None,
    config: ConfigOption = HOST_TOML,
) -> None:
    """Make a station's configuration and its password, and show what the broker needs to know of it.

    Example: swapbell-host station enrol orchard/north --dir enrolled
    """
    from swapbell_host.desk import enrolling
    from swapbell_host.desk.opening import key, opened

    with opened(config, writing=True) as desk:
        typer.echo(enrolling.enrol(desk, key(station), folder, broker, clip))


def show(found: "Sequence[Listed]", json: bool) -> None:
    """Print what was listed, as lines for a person or as JSON for a program."""
    import msgspec

    if json:
        typer.echo(msgspec.json.encode(found))
    else:
        for each in found:
            typer.echo(each.words)
