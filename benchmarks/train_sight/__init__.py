"""The small network that sees where trays are: drawing its training pictures, fitting it, writing its weights."""
