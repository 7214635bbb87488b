"""Folders, tray lists and settings files in; every photo worked through, one bad photo never stopping the rest."""
