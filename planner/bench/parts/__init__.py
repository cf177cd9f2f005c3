"""Parts and tools that orders use: counted, held against a stock list, and what to buy.

`needs` what each order takes; `stock` the shop's lists read from csv; `shortage` what runs short, which order
is the first hit, the shopping list; `tables` the same for a workbook.
"""
