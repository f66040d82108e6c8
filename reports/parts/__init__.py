"""The parts of the page, as blocks that any format can print."""
