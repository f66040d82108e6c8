"""What goes into a bag: dry matter, water, nitrogen, volumes, money."""
