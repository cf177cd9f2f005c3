"""The things that vans take from shop to shop: sent and taken in, entered in both ledgers."""
