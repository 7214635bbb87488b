"""What can be asked for, one module for each kind of page."""
