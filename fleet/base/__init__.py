"""The ground: errors, units, days, words, files and entries; knows nothing of skis."""
