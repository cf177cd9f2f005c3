"""Parts and tools that orders use: counted, compared with the stock list, and bought where they run short.

`needs` counts the parts of each order; `stock` reads the shop's lists from csv; `shortage` compares the two
and makes the shopping list.
"""
