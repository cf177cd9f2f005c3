"""The end of a season: what to keep, sell and buy, and single skis made pairs again."""
