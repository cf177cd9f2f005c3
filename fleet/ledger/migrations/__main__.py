"""``python -m fleet.ledger.migrations`` prints the statements of the present layout, to be kept as a file."""

import sys

from fleet.tables.layout import layout_statements

sys.stdout.write("".join(f"{statement};\n" for statement in layout_statements()))
