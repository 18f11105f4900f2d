"""The service log's photos, by the names that their content made."""

import re

from swapbell_host.page.door import Door
from swapbell_host.page.visit import Answer, Download, Visit
from swapbell_models.fault import Mistake

# What `books.photos` calls them; nothing else reaches the disk.
NAME = re.compile(r"[0-9a-f]{64}\.(jpg|png|webp|heic)")
KINDS = {"jpg": "image/jpeg", "png": "image/png", "webp": "image/webp", "heic": "image/heic"}


def show(visit: Visit) -> Answer:
    """Show one photo."""
    named = NAME.fullmatch(visit.path["name"])
    path = visit.house.photos / visit.path["name"]
    if named is None or not path.is_file():
        raise Mistake("photo: there is none of that name")
    return Download(path.read_bytes(), KINDS[named[1]], path.name, inline=True)


DOORS = (Door("/photo/{name}", show),)
