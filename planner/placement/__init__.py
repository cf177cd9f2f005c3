"""Where a binding may be screwed down: exact geometry in whole micrometres, no solver, no printer.

frames     one reference for both skis, and what to do about marks that lie
rule       the shop's policy as the numbers that the geometry needs
intervals  closed sets of whole numbers
sweep      where one piece may stand on one ski, hole by hole reused or drilled
stance     which place of the boot lies where: mid-sole or pin line on the mark
legal      the legal offsets of a whole pattern on a pair, as closed intervals
best_fit   where a reused piece really stands
settle     from a set of legal stands to one set of coordinates
ways       the best way of each rung of the ladder
"""
