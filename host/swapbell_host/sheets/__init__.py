"""Sheets to print and records to hand over: the mixing sheet, the application record, the season report.

Nothing here speaks HTTP. Three functions in `issue` take the open books and give a finished file::

    mixing_sheet(service, stations, given, now, form=Form.PDF, paper=Paper.A4) -> Issued
    application_record(store, service, stations, now, form=Form.PDF, paper=Paper.A4) -> Issued
    season_report(store, service, site, now, span=(None, None), form=Form.PDF, paper=Paper.A4) -> Issued

`service` is a `Servicebook`, `store` a `Store`, `stations` a list of (site, station); `Issued` (in `form`) has
`content: bytes`, `media_type` and `name`. What cannot be done raises `Mistake` in one line: a mixing sheet without an
authority that is stated and in date, a control station on it, an unknown station, a record of a station that never
had toxic bait. `span` is from when to when, aware UTC; from the first entry until now where it is not said.

`given` holds what a person states for this mixing by the names in `stated.STATED` (portion, target, product,
product_strength, authority, authority_until, covers, directs, at_most, measure, on); what it leaves out is taken from
`Site.details` under the same names. Nothing is ever filled in that nobody stated.

`fields` is the table of all that an application record holds, as data. `fields.asked(act)` returns the fields that a
log form asks for with that act, each with its `key` (the name in `Draft.details`), `label` and `hint`;
`fields.of_site()` those of the site's details, asked once. What the draft itself holds (mass, weather, non-targets,
incident) is not among them.
"""
