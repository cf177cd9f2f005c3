"""The assignment of boots to pairs of skis, and of a way to each: solved level by level, with a proof."""
