"""The bench weeks: a day, person and jig for every order, with every cure kept.

`values` what a bench, a job and a timed plan are; `calendar` open hours as UTC minutes; `jobs` work orders
and proposals as jobs; `day_model` which day each visit stands on, and a bound of what is late, `late_model`
another; `day_fill` packs those days by jig with the clock, `day_pack` a full day to the minute,
`day_teams` that of many people in teams; `dispatch` a list read by the hour; `interval_model` the exact
search for small benches; `judge` the check that knows no solver; `weeks` puts them together; `progress` what
was done, moved and late.
"""
