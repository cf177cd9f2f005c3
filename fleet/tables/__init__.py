"""The ledger file's tables: connection, schema, layout, and the fleet as it stands in them."""
