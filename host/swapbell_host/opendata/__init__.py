"""What was counted, as open data: CSV and Parquet with the effort beside the counts, and Camtrap DP.

For a page, which has an open `store` and gives bytes away::

    from swapbell_host.opendata import extracts
    from swapbell_host.opendata.choosing import Choice, choose
    from swapbell_host.opendata.export import text

    chosen = choose(store, Choice(site="orchard", station="north", begin="2026-03-01", end=None))
    content = b"".join(text(extracts.counts(store, chosen, timedelta(minutes=5))))  # CSV, UTF-8
    content = b"".join(text(extracts.crossings(store, chosen)))
    content = b"".join(text(extracts.tallies(store, chosen)))

Whatever cannot be done raises `Mistake` with one line for the person. `begin` and `end` are texts as a person types
them, by the site's clock. `extract.remarks` are lines that belong beside the download. Files are written by
`export.write(extract, path, now, tick)`; a Camtrap DP folder by `camtrap`.
"""
