"""The places where a binding may be screwed down: exact geometry in whole micrometres.

frames       one reference for both skis, and the mount convention: mid-sole or pin line on the mark
rule         the shop's policy as the numbers that the geometry needs
intervals    interval sets: closed sets of whole numbers
sweep        the stretches of one piece on one ski, each hole reused or drilled
legal        the legal offsets of a whole pattern on a pair, new holes of its pieces apart
stands       the stands of one piece on both skis as they are planned, by its recorded holes where reused
settle       the offset of a range that is taken
room         the room of a planned hole beyond the asked distance
jig          the jig setting that drills the new holes, if there is one
untouched    a settled placement as the values of a plan; the ways that touch no screw
ways         the best way of each rung of the ladder
hole_table   the holes of many skis and pairs as arrays
"""
