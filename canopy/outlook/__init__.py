"""A farm's store and the tables that people keep come in; how trays grow, what is to come and what to cut go out.

The side of files and the store: `growth` and `plan` do the reckoning on plain tables.
"""
