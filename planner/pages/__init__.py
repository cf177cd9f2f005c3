"""Pages for the counter, the bench and the evening, served by the one machine that holds the ledger.

`table` lists the pages; each is a module with its routes and a template. `served` holds the ledger: every
page reads and acts through it, by the functions that the commands call. `app` puts them together, `door`
lets requests in, `asked` reads one, `shown` draws the answer, `listening` runs it all.
"""
