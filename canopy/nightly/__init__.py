"""A folder that cameras fill in; every new photo worked through once and its readings put into the store, out."""
