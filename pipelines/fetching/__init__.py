"""Elevation out of open catalogues: which tiles a line needs, fetched whole or in pieces, checked and kept."""
