"""The reasons of a no: the facts that block a boot on a pair, and the nearest change that unblocks it.

facts      what may block a hole at a place, one fact at a time
geometry   the smallest set of facts that together block every offset; what would unblock, nearest first
answer     the whole answers to `why`, `where` and `whatif`, what blocks before any geometry included
what_if    another spacing, window or mount convention: who gains and who loses positions
"""
