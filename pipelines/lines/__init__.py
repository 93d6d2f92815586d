"""Lines out of mapped ways: one track of a corridor, joined from junction to junction or between stations."""
