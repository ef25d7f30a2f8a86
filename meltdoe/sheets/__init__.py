"""At the bench: sheets to print, one page a melt, with settings, boxes to tick, and the cautions of the work."""
